"""Which rows hang on a person or a visit, found by the foreign keys of the schema.

So a table that is added later is handed over and erased with what it refers to, without a
word about it here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, Table, or_, select

from battery.store import schema
from battery.store.arrival import Rows

Known = dict[Column[Any], set[Any]]

# The raw record and what it stands on; everything else that refers to them lies beside.
RECORD = frozenset({"people", "devices", "plans", "visits", "blocks", "payloads", "chunks"})
COMPUTED = frozenset({"scores", "trials", "kept_readings"})
AT_ONCE = 500  # values in one question; a database allows so many only


def tables_beside() -> list[Table]:
    """List the tables that lie beside the record, those that are referred to first."""
    return [
        table
        for table in schema.metadata.sorted_tables
        if table.foreign_keys and table.name not in RECORD | COMPUTED
    ]


def rows_beside_visit(connection: Connection, visit_id: str) -> Rows:
    """Return what lies beside a visit and its blocks, by table, in order of the key."""
    blocks = connection.execute(
        select(schema.blocks.c.block_id).where(schema.blocks.c.visit_id == visit_id)
    ).scalars()
    known: Known = {schema.visits.c.visit_id: {visit_id}, schema.blocks.c.block_id: set(blocks)}
    return _reached(connection, known)


def rows_beside_person(connection: Connection, code: str) -> Rows:
    """Return what lies beside a person and no visit, by table, in order of the key."""
    return _apart_from_visits(_reached(connection, {schema.people.c.code: {code}}))


def rows_beside_device(connection: Connection, alias: str) -> Rows:
    """Return what lies beside a device and no visit, by table, in order of the key."""
    return _apart_from_visits(_reached(connection, {schema.devices.c.alias: {alias}}))


def _apart_from_visits(found: Rows) -> Rows:
    kept: Rows = {}
    for name, rows in found.items():
        keys = schema.metadata.tables[name].foreign_keys
        to_visits = [k.parent.name for k in keys if k.column.table.name in ("visits", "blocks")]
        apart = [row for row in rows if all(row[column] is None for column in to_visits)]
        if apart:
            kept[name] = apart
    return kept


def delete_reached(
    connection: Connection, seeds: Mapping[Column[Any], Iterable[Any]]
) -> dict[str, int]:
    """Delete all rows that hang on the seeds, and the seeds; return how many of each table."""
    known: Known = {column: set(values) for column, values in seeds.items()}
    tables = schema.metadata.sorted_tables
    doomed: list[tuple[Table, list[tuple[Any, ...]]]] = []
    for table in tables:
        keys = list(table.primary_key.columns)
        rows = set()
        for condition in _conditions(table, known, own=True):
            found = connection.execute(select(*keys).where(condition)).all()
            rows |= {tuple(row) for row in found}
        doomed.append((table, sorted(rows)))
        for place, key in enumerate(keys):
            known.setdefault(key, set()).update(row[place] for row in rows)
    counts = {}
    for table, rows_ in reversed(doomed):
        keys = list(table.primary_key.columns)
        for row in rows_:
            same = [key == value for key, value in zip(keys, row, strict=True)]
            connection.execute(table.delete().where(*same))
        if rows_:
            counts[table.name] = len(rows_)
    return counts


def order_of(table: Table) -> list[Column[Any]]:
    """Columns that put the rows of a table in one order."""
    return list(table.primary_key.columns)


def _reached(connection: Connection, known: Known) -> Rows:
    found: Rows = {}
    for table in tables_beside():
        conditions = list(_conditions(table, known))
        if not conditions:
            continue
        query = select(table).where(or_(*conditions)).order_by(*order_of(table))
        rows = [dict(row) for row in connection.execute(query).mappings()]
        if rows:
            found[table.name] = rows
        for key in table.primary_key.columns:
            known.setdefault(key, set()).update(row[key.name] for row in rows)
    return found


def _conditions(
    table: Table, known: Known, *, own: bool = False
) -> Iterator[ColumnElement[bool]]:
    pairs = [(key.parent, known.get(key.column, set())) for key in table.foreign_keys]
    if own:
        pairs += [(key, known.get(key, set())) for key in table.primary_key.columns]
    for column, values in pairs:
        ordered = sorted(values)
        for start in range(0, len(ordered), AT_ONCE):
            yield column.in_(ordered[start : start + AT_ONCE])
