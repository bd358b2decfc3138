"""The steps by which an arrival becomes rows, all within the caller's one transaction."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, and_, insert, select, update

from battery.errors import ChangedMeanwhileError, HandoverError
from battery.recording import canonical_json
from battery.store import schema
from battery.store.arrival import Arrival, Outcome, Rows
from battery.store.form import hold_to_form
from battery.store.quarantine import set_aside, was_left_out
from battery.store.reach import delete_reached, tables_beside
from battery.store.visit_insertion import insert_visit, meet_device, put_in_order, stored_sha256

ACCEPTED = "handover.accepted"  # settings that let another enrolment under a code pass
MERGE_KEY = 0x_C00D_0003  # one program at a time merges into a server's store


def admit(
    connection: Connection, arrival: Arrival, at_utc: str, stored: Arrival | None
) -> Outcome:
    """Take an arrival in; `stored` is the visit of that identifier that is here already."""
    one_at_a_time(connection)
    hold_to_form(arrival)
    if connection.execute(
        select(schema.received.c.number).where(same_received(arrival))
    ).first():
        return _again(connection, arrival)
    tablet = select(schema.tablets.c.public_key).where(
        schema.tablets.c.fingerprint == arrival.fingerprint
    )
    if connection.execute(tablet).scalar() != arrival.public_key:
        if was_left_out(connection, arrival):
            return "left out"
        set_aside(connection, arrival, "device", at_utc)
        return "device"
    erased = select(schema.tombstones.c.code).where(
        schema.tombstones.c.code == arrival.person.code
    )
    if connection.execute(erased).first():
        _note(connection, arrival, at_utc, erased=True)
        return "erased"
    _note(connection, arrival, at_utc)
    if not _people_are_known(connection, arrival):
        set_aside(connection, arrival, "person", at_utc)
        return "person"
    return _merge(connection, arrival, at_utc, stored)


def one_at_a_time(connection: Connection) -> None:
    """Wait until no other program merges into a server's store; a file has a lock anyway."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({MERGE_KEY})")


def _again(connection: Connection, arrival: Arrival) -> Outcome:
    """Say what became of the very same bundle earlier."""
    waits = select(schema.quarantine.c.reason).where(
        schema.quarantine.c.sha256 == arrival.sha256,
        schema.quarantine.c.fingerprint == arrival.fingerprint,
        schema.quarantine.c.decision.is_(None),
    )
    reason: Outcome | None = connection.execute(waits).scalar()
    if reason is not None:
        return reason
    return "left out" if was_left_out(connection, arrival) else "same"


def _merge(
    connection: Connection, arrival: Arrival, at_utc: str, stored: Arrival | None
) -> Outcome:
    meet_device(connection, arrival)
    n_added = merge_rows(connection, arrival.beside.person)
    n_added += merge_rows(connection, arrival.beside.device)
    visit = arrival.visit
    if visit is None:
        return "added" if n_added else "same"
    visit_id, content = visit.header.visit_id, visit.content_sha256
    held = stored_sha256(connection, visit_id)
    if held == content:
        n_added += merge_rows(connection, arrival.beside.visit)
        return "added" if n_added else "same"
    versions = select(schema.quarantine.c.content_sha256, schema.quarantine.c.decision).where(
        schema.quarantine.c.visit_id == visit_id, schema.quarantine.c.reason == "conflict"
    )
    known = {(row.content_sha256, row.decision) for row in connection.execute(versions)}
    if (content, "left out") in known:
        return "left out"
    if held is not None:
        whose = connection.execute(
            select(schema.visits.c.person).where(schema.visits.c.visit_id == visit_id)
        ).scalar()
        if whose != visit.header.person:
            msg = f"visit.visit_id is {visit_id!r}: that is a visit of another person here"
            raise HandoverError(msg)
        if stored is None or stored.visit is None or stored.visit.content_sha256 != held:
            msg = "the store changed while this was received; receive again"
            raise ChangedMeanwhileError(msg)
        delete_reached(connection, {schema.visits.c.visit_id: {visit_id}})
        put_in_order(connection, stored.visit.header.person)
        set_aside(connection, stored, "conflict", at_utc)
    if held is not None or any(decision is None for _, decision in known):
        set_aside(connection, arrival, "conflict", at_utc)
        return "conflict"
    insert_visit(connection, arrival)
    merge_rows(connection, arrival.beside.visit)
    return "new"


def merge_rows(connection: Connection, rows: Rows) -> int:
    """Add rows that lie beside; of two with one key the later one holds. Return how many."""
    n_changed = 0
    for table in tables_beside():
        for row in rows.get(table.name, []):
            n_changed += _merge_row(connection, table, row)
    return n_changed


def _merge_row(connection: Connection, table: Table, row: Mapping[str, Any]) -> int:
    same = and_(*(key == row[key.name] for key in table.primary_key.columns))
    held = connection.execute(select(table).where(same)).mappings().first()
    if held is None:
        connection.execute(insert(table).values(**row))
        return 1
    for key in table.foreign_keys:
        if held[key.parent.name] != row[key.parent.name]:
            msg = f"{table.name}.{key.parent.name}: a row of this identifier is of another here"
            raise HandoverError(msg)
    if _age(dict(held)) >= _age(row):
        return 0
    connection.execute(update(table).where(same).values(**row))
    return 1


def _age(row: Mapping[str, Any]) -> tuple[str, str]:
    return str(row.get("at_utc", "")), canonical_json(dict(row))


def _people_are_known(connection: Connection, arrival: Arrival) -> bool:
    """Whether everybody it speaks of is enrolled here, and as the same."""
    codes = {arrival.person.code}
    for part in (arrival.beside.visit, arrival.beside.person):
        for name, rows in part.items():
            for key in schema.metadata.tables[name].foreign_keys:
                if key.column.table.name == "people":
                    codes |= {row[key.parent.name] for row in rows}
            if name == "amendments":
                codes |= {row["new"] for row in rows if row["field"] == "person"}
    codes.discard(None)
    found = {
        row["code"]: dict(row)
        for row in connection.execute(
            select(schema.people).where(schema.people.c.code.in_(sorted(codes)))
        ).mappings()
    }
    if set(found) != codes:
        return False
    if found[arrival.person.code] == asdict(arrival.person):
        return True
    name = f"{ACCEPTED}.{arrival.person.code}"
    passes = connection.execute(
        select(schema.settings.c.json).where(schema.settings.c.name == name)
    ).scalar()
    return arrival.fingerprint in json.loads(passes or "[]")


def _note(
    connection: Connection, arrival: Arrival, at_utc: str, *, erased: bool = False
) -> None:
    visit = None if erased else arrival.visit
    connection.execute(
        insert(schema.received).values(
            fingerprint=arrival.fingerprint,
            number=arrival.number,
            sha256=arrival.sha256,
            replaces_json=json.dumps(list(arrival.replaces)),
            previous_sha256=arrival.previous_sha256,
            person=None if erased else arrival.person.code,
            visit_id=None if visit is None else visit.header.visit_id,
            content_sha256=None if visit is None else visit.content_sha256,
            received_utc=at_utc,
        )
    )


def same_received(arrival: Arrival) -> ColumnElement[bool]:
    """Return the condition for the line that says this very bundle was taken in."""
    table = schema.received
    return and_(
        table.c.fingerprint == arrival.fingerprint,
        table.c.number == arrival.number,
        table.c.sha256 == arrival.sha256,
    )
