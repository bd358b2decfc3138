"""A whole visit written into the store: its place among others, device, plan, raw blocks."""

from __future__ import annotations

import json
from dataclasses import asdict
from itertools import pairwise

from sqlalchemy import Connection, insert, select, update

from battery.errors import HandoverError
from battery.recording import header_to_dict, visit_header_to_dict
from battery.store import rebuild, schema
from battery.store.arrival import Arrival, WholeVisit, visit_sha256
from battery.store.trial_rows import trial_values
from battery.store.writer import save_whole


def insert_visit(connection: Connection, arrival: Arrival) -> None:
    """Write a visit with its raw blocks and their scores."""
    visit = arrival.visit
    if visit is None:
        msg = "there is no visit in it"
        raise ValueError(msg)
    meet_device(connection, arrival)
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
    put_in_order(connection, header.person)


def free_sequence(connection: Connection, person: str, wanted: int) -> int:
    """Return the wanted place among a person's visits, or the one after the last if taken."""
    taken = set(
        connection.execute(
            select(schema.visits.c.sequence).where(schema.visits.c.person == person)
        ).scalars()
    )
    return wanted if wanted not in taken else max(taken) + 1


def put_in_order(connection: Connection, person: str) -> None:
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


def meet_device(connection: Connection, arrival: Arrival) -> None:
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
