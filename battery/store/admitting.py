"""The steps by which an arrival becomes rows, all within the caller's one transaction."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from itertools import pairwise
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Table,
    and_,
    delete,
    insert,
    select,
    update,
)

from battery.errors import ChangedMeanwhileError, HandoverError
from battery.recording import canonical_json, header_to_dict, visit_header_to_dict
from battery.store import rebuild, schema
from battery.store.arrival import Arrival, Outcome, Rows, WholeVisit, visit_sha256
from battery.store.form import hold_to_form
from battery.store.reach import delete_reached, tables_beside
from battery.store.trial_rows import trial_values
from battery.store.writer import save_whole

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
        if _was_left_out(connection, arrival):
            return "left out"
        _set_aside(connection, arrival, "device", at_utc)
        return "device"
    erased = select(schema.tombstones.c.code).where(
        schema.tombstones.c.code == arrival.person.code
    )
    if connection.execute(erased).first():
        _note(connection, arrival, at_utc, erased=True)
        return "erased"
    _note(connection, arrival, at_utc)
    if not _people_are_known(connection, arrival):
        _set_aside(connection, arrival, "person", at_utc)
        return "person"
    return _merge(connection, arrival, at_utc, stored)


def one_at_a_time(connection: Connection) -> None:
    """Wait until no other program merges into a server's store; a file has a lock anyway."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({MERGE_KEY})")


def _was_left_out(connection: Connection, arrival: Arrival) -> bool:
    table = schema.quarantine
    same = (
        table.c.sha256 == arrival.sha256,
        table.c.fingerprint == arrival.fingerprint,
        table.c.decision == "left out",
    )
    return connection.execute(select(table.c.item_id).where(*same)).first() is not None


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
    return "left out" if _was_left_out(connection, arrival) else "same"


def _merge(
    connection: Connection, arrival: Arrival, at_utc: str, stored: Arrival | None
) -> Outcome:
    _meet_device(connection, arrival)
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
        _put_in_order(connection, stored.visit.header.person)
        _set_aside(connection, stored, "conflict", at_utc)
    if held is not None or any(decision is None for _, decision in known):
        _set_aside(connection, arrival, "conflict", at_utc)
        return "conflict"
    insert_visit(connection, arrival)
    merge_rows(connection, arrival.beside.visit)
    return "new"


def insert_visit(connection: Connection, arrival: Arrival) -> None:
    """Write a visit with its raw blocks and their scores."""
    visit = arrival.visit
    if visit is None:
        msg = "there is no visit in it"
        raise ValueError(msg)
    _meet_device(connection, arrival)
    _meet_plan(connection, visit)
    header = visit.header
    connection.execute(
        insert(schema.visits).values(
            visit_id=header.visit_id,
            person=header.person,
            sequence=free_sequence(connection, header.person, header.sequence),
            plan_hash=header.plan_hash,
            device=header.device.alias,
            started_utc=header.started_utc,
            ending=visit.ending,
            header_json=json.dumps(visit_header_to_dict(header)),
        )
    )
    for block in visit.blocks:
        told = block.header
        connection.execute(
            insert(schema.blocks).values(
                block_id=told.block_id,
                visit_id=told.visit_id,
                number=told.index,
                task=told.task,
                hand=told.hand,
                phase=told.phase,
                layout_hash=told.layout_hash,
                header_json=json.dumps(header_to_dict(told)),
            )
        )
        save_whole(connection, block)
        rows = [
            rebuild.score_values(told.block_id, s)
            for s in arrival.scores.get(told.block_id, ())
        ]
        if rows:
            connection.execute(insert(schema.scores), rows)
        trials = arrival.trials.get(told.block_id)
        if trials is not None:
            connection.execute(insert(schema.trials), trial_values(told.block_id, trials))
    _put_in_order(connection, header.person)


def free_sequence(connection: Connection, person: str, wanted: int) -> int:
    """Return the wanted place among a person's visits, or the one after the last if taken."""
    taken = set(
        connection.execute(
            select(schema.visits.c.sequence).where(schema.visits.c.person == person)
        ).scalars()
    )
    return wanted if wanted not in taken else max(taken) + 1


def _put_in_order(connection: Connection, person: str) -> None:
    """Give a person's visits numbers by time, if two tablets used the same numbers.

    The header keeps the number a visit was recorded with; this is its place among all.
    """
    table = schema.visits
    rows = connection.execute(
        select(table.c.visit_id, table.c.sequence, table.c.header_json)
        .where(table.c.person == person)
        .order_by(table.c.started_utc, table.c.visit_id)
    ).all()
    recorded = [_recorded_number(row.header_json, row.sequence) for row in rows]
    wanted = recorded if _rises(recorded) else list(range(1, len(rows) + 1))
    # First below zero, since no two visits may have one number for a moment either.
    for sign in (-1, 1):
        for row, number in zip(rows, wanted, strict=True):
            if row.sequence != number:
                connection.execute(
                    update(table)
                    .where(table.c.visit_id == row.visit_id)
                    .values(sequence=sign * number)
                )


def _recorded_number(header_json: str, place: int) -> int:
    try:
        return int(json.loads(header_json)["sequence"])
    except (ValueError, TypeError, KeyError):  # damaged; it keeps the place it has
        return place


def _rises(numbers: list[int]) -> bool:
    return all(a < b for a, b in pairwise([0, *numbers]))


def _meet_device(connection: Connection, arrival: Arrival) -> None:
    """Keep the device as the latest of its visits had it, whichever came first."""
    alias, table = arrival.device.alias, schema.devices
    told = json.dumps(asdict(arrival.device))
    held = connection.execute(select(table.c.json).where(table.c.alias == alias)).scalar()
    if held is None:
        connection.execute(insert(table).values(alias=alias, json=told))
        return
    if arrival.visit is None or held == told:
        return
    latest = connection.execute(
        select(schema.visits.c.started_utc, schema.visits.c.visit_id)
        .where(schema.visits.c.device == alias)
        .order_by(schema.visits.c.started_utc.desc(), schema.visits.c.visit_id.desc())
    ).first()
    own = (arrival.visit.header.started_utc, arrival.visit.header.visit_id)
    if latest is None or own >= tuple(latest):
        connection.execute(update(table).where(table.c.alias == alias).values(json=told))


def _meet_plan(connection: Connection, visit: WholeVisit) -> None:
    table, plan_hash = schema.plans, visit.header.plan_hash
    held = connection.execute(
        select(table.c.json).where(table.c.plan_hash == plan_hash)
    ).scalar()
    if held is None:
        connection.execute(insert(table).values(plan_hash=plan_hash, json=visit.plan))
    elif json.loads(held) != json.loads(visit.plan):
        msg = f"its plan {plan_hash} is not the plan that has this hash here; it was refused"
        raise HandoverError(msg)


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


def stored_sha256(connection: Connection, visit_id: str) -> str | None:
    """Return the hash of the content of a stored visit; None if it is not there."""
    row = connection.execute(
        select(schema.visits.c.header_json, schema.visits.c.ending).where(
            schema.visits.c.visit_id == visit_id
        )
    ).first()
    if row is None:
        return None
    blocks = connection.execute(
        select(schema.blocks)
        .where(schema.blocks.c.visit_id == visit_id, schema.blocks.c.ending.is_not(None))
        .order_by(schema.blocks.c.number)
    ).mappings()
    facts = [
        {
            "header": header_to_dict(rebuild.block_header(b["header_json"])),
            "ending": b["ending"],
            "reason": b["reason"] or "",
            "ended_ns": b["ended_ns"],
            "audit": json.loads(b["audit_json"] or "{}"),
            "sha256": b["sha256"],
        }
        for b in blocks
    ]
    return visit_sha256(rebuild.visit_header(row.header_json), row.ending, facts)


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


def _set_aside(connection: Connection, arrival: Arrival, reason: str, at_utc: str) -> None:
    table = schema.quarantine
    same = (
        table.c.sha256 == arrival.sha256,
        table.c.fingerprint == arrival.fingerprint,
        table.c.reason == reason,
        table.c.decision.is_(None),
    )
    if connection.execute(select(table.c.item_id).where(*same)).first():
        return
    connection.execute(
        insert(table).values(
            item_id=str(uuid.uuid4()),
            reason=reason,
            fingerprint=arrival.fingerprint,
            number=arrival.number,
            device=arrival.device.alias,
            public_key=arrival.public_key,
            person=arrival.person.code,
            visit_id=arrival.visit_id,
            content_sha256=None if arrival.visit is None else arrival.visit.content_sha256,
            sha256=arrival.sha256,
            content=arrival.content,
            arrived_utc=at_utc,
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


def decide(
    connection: Connection,
    items: Iterable[str],
    decision: str,
    *,
    author: str,
    why: str,
    at_utc: str,
) -> None:
    """Write down what was chosen about items of the quarantine."""
    values = {"decision": decision, "author": author, "why": why, "decided_utc": at_utc}
    for item in items:
        connection.execute(
            update(schema.quarantine)
            .where(schema.quarantine.c.item_id == item)
            .values(**values)
        )


def drop_item(connection: Connection, item_id: str) -> None:
    """Take an item out of the quarantine because it is admitted."""
    connection.execute(delete(schema.quarantine).where(schema.quarantine.c.item_id == item_id))
