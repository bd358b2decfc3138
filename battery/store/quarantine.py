"""Arrivals that are set aside until somebody chooses, and what was chosen."""

from __future__ import annotations

import uuid
from collections.abc import Iterable

from sqlalchemy import Connection, delete, insert, select, update

from battery.store import schema
from battery.store.arrival import Arrival


def was_left_out(connection: Connection, arrival: Arrival) -> bool:
    """Whether somebody chose earlier to leave this very bundle out."""
    table = schema.quarantine
    same = (
        table.c.sha256 == arrival.sha256,
        table.c.fingerprint == arrival.fingerprint,
        table.c.decision == "left out",
    )
    return connection.execute(select(table.c.item_id).where(*same)).first() is not None


def set_aside(connection: Connection, arrival: Arrival, reason: str, at_utc: str) -> None:
    """Keep an arrival apart, with the reason; once only while it waits."""
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
