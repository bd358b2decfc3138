"""Whose a visit is now, whatever it was recorded under: the record with what was amended."""

from __future__ import annotations

from dataclasses import dataclass

from battery.errors import UsageError
from battery.store import Amended, BlockRecord, Store, VisitRecord


@dataclass(frozen=True, slots=True)
class HeldBlock:
    """A block with the hand and the exclusion that hold."""

    record: BlockRecord
    hand: str
    excluded: bool


def visits_of(store: Store, code: str, amended: Amended | None = None) -> list[VisitRecord]:
    """List the visits that are this person's now, in the order of the page.

    Parameters
    ----------
    store : Store
    code : str
    amended : Amended, optional
        What holds, if it was read already.
    """
    held = amended or Amended(store.annotations.amendments())
    return store.visits.of_holder(code, held)


def visit_meant(store: Store, code: str, number: int) -> VisitRecord:
    """Return a person's visit by its number on the page, from 1.

    Raises
    ------
    UsageError
        If there is no such visit.
    """
    visits = visits_of(store, code)
    if not 1 <= number <= len(visits):
        msg = f"{code} has no visit {number}; there are {len(visits)}. Nothing was changed"
        raise UsageError(msg)
    return visits[number - 1]


def blocks_of(store: Store, visit_id: str) -> list[HeldBlock]:
    """List the blocks of a visit with what holds for each."""
    amended = Amended(store.annotations.amendments())
    return [
        HeldBlock(
            record,
            amended.hand(record.header.block_id, record.header.hand),
            amended.excluded(record.header.block_id),
        )
        for record in store.records.of_visit(visit_id)
    ]


def block_meant(store: Store, visit_id: str, number: int) -> HeldBlock:
    """Return a block of a visit by its place, from 1.

    Raises
    ------
    UsageError
        If there is no such block.
    """
    blocks = blocks_of(store, visit_id)
    if not 1 <= number <= len(blocks):
        msg = f"the visit has no block {number}; there are {len(blocks)}. Nothing was changed"
        raise UsageError(msg)
    return blocks[number - 1]
