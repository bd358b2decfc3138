"""The gate: what a bundle says, held to its form before anything of it reaches a table.

What is read here was signed by somebody, and is whole; that makes it neither true nor harmless.
Every field is held to its type, range and pattern, the parts to each other, and rows beside to
the visit and person they came with. A bundle that does not pass waits, with the field named.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from battery import forms
from battery.plan import told_hash
from battery.recording import VisitHeader
from battery.store import schema
from battery.store.arrival import Beside, Rows
from battery.store.fitting import hold_row
from battery.store.form import complete, wait_for_update
from battery.store.reach import tables_beside
from tasks.registry import task_of

MAX_NAME = 200
MAX_ROWS = 100_000  # beside one visit, person or device


def name(value: Any) -> str:
    """Return a short text that can be shown.

    Raises
    ------
    ValueError
        If it is none.
    """
    if not isinstance(value, str) or len(value) > MAX_NAME:
        msg = f"ending is {ascii(value)[:60]}: no short text"
        raise ValueError(msg)
    return forms.words(value)


def hold_record(record: Mapping[str, Any]) -> None:
    """Hold who and what a bundle is about to its form.

    Raises
    ------
    ValueError
        In one line, with the field.
    """
    _wait_for_tasks(record)
    forms.hold(forms.PersonForm, record["person"], "person")
    forms.hold(forms.DeviceForm, record["device"], "device")
    if "visit" not in record:
        return
    forms.hold(forms.VisitForm, record["visit"], "visit")
    if not isinstance(record["blocks"], list) or len(record["blocks"]) > forms.MAX_BLOCKS:
        msg = f"blocks is no list of at most {forms.MAX_BLOCKS}"
        raise ValueError(msg)
    for place, facts in enumerate(record["blocks"]):
        forms.hold(forms.FactsForm, facts, f"blocks.{place}")


def _wait_for_tasks(record: Mapping[str, Any]) -> None:
    """Let a bundle wait whose tasks this program does not have, or not by those rules."""
    for facts in record.get("blocks", []):
        header = facts["header"]
        name, version = header["task"], header.get("task_version", 1)
        if not isinstance(name, str) or not isinstance(version, int):
            continue
        if task_of(name, version) is None:
            wait_for_update(f"a block of the task {ascii(name)[:40]}, version {version}")


def hold_plan(text: str, visit: VisitHeader) -> None:
    """Hold a plan to its form, and to the hash and name the visit has of it.

    One that says more than this program knows is of a later one; its hash cannot be told here.

    Raises
    ------
    ValueError
        If it is none, or another.
    """
    found = told_hash(json.loads(text))
    if found not in (None, visit.plan_hash):
        msg = f"plan_hash is {visit.plan_hash!r}: the plan in it has {found!r}"
        raise ValueError(msg)


def hold_beside(
    beside: Beside, person: str, device: str, visit_id: str | None, blocks: Iterable[str]
) -> None:
    """Hold rows that lie beside to their tables, and to the visit and person they came with.

    Rows of tables that this program does not know are left to whoever says so.

    Raises
    ------
    ValueError
        In one line, with table and field.
    """
    moved = {
        str(row.get("new"))
        for row in beside.visit.get("amendments", ())
        if row.get("field") == "person"
    }
    own: dict[str, set[Any]] = {
        "people": {person, *moved},
        "devices": {device},
        "visits": {visit_id} - {None},
        "blocks": set(blocks),
    }
    _hold_rows(beside.visit, "beside.visit", own)
    _hold_rows(beside.person, "beside.person", {**own, "people": {person}, "visits": set(),
                                                "blocks": set()})  # fmt: skip
    _hold_rows(beside.device, "beside.device", {**own, "people": set(), "visits": set(),
                                                "blocks": set()})  # fmt: skip


def _hold_rows(rows: Rows, where: str, own: Mapping[str, set[Any]]) -> None:
    known = {name: set(values) for name, values in own.items()}
    tables = {table.name: table for table in tables_beside()}
    if sum(len(of_table) for of_table in rows.values()) > MAX_ROWS:
        msg = f"{where} has more than {MAX_ROWS} rows"
        raise ValueError(msg)
    for name in [table.name for table in tables_beside() if table.name in rows]:
        table = tables[name]
        for row in rows[name]:
            complete(table, row)
            try:
                hold_row(name, row)
            except ValueError as error:
                msg = f"{where}.{name}: {error}"
                raise ValueError(msg) from error
            for key in table.foreign_keys:
                value = row[key.parent.name]
                if value is not None and value not in known.get(key.column.table.name, set()):
                    field = f"{where}.{name}.{key.parent.name}"
                    msg = f"{field} is {ascii(value)[:60]}: the bundle is about something else"
                    raise ValueError(msg)
        keys = list(schema.metadata.tables[name].primary_key.columns)
        known[name] = {row.get(keys[0].name) for row in rows[name]}
