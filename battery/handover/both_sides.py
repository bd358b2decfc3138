"""Both sides of a choice: what differs between what came and what is here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from battery.errors import BatteryError
from battery.handover.opening import opened
from battery.store import Person, Store
from battery.store.arrival import WholeVisit
from battery.store.base import UNREADABLE
from battery.store.merging import Waiting

PERSON_ROWS = {
    "writing hand": "dominant_hand",
    "more affected side": "affected_side",
    "hand tested first": "first_hand",
    "enrolled": "enrolled_utc",
    "visits to get used to the test": "n_familiarisation",
    "visits of the baseline": "n_baseline",
}
VERSION_ROWS = ("started", "ended", "blocks", "finished blocks", "tablet")
OPEN = "open"


@dataclass(frozen=True, slots=True)
class Row:
    """One thing as each side has it."""

    name: str  # of PERSON_ROWS or VERSION_ROWS
    sides: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Sides:
    """What a person compares before a choice.

    Parameters
    ----------
    heads : tuple of str
        Whose each side is: the tablet's and this clinic's, or the names of a visit's versions.
    rows : tuple of Row
        Each has as many sides as there are heads.
    """

    heads: tuple[str, ...]
    rows: tuple[Row, ...]

    def lines(self) -> list[str]:
        """Say it, one line a row."""
        return [
            f"{row.name}: "
            + " | ".join(
                f"{head}: {side}" for head, side in zip(self.heads, row.sides, strict=True)
            )
            for row in self.rows
        ]


def person_rows(theirs: Person, ours: Person | None) -> list[Row]:
    """Return what differs of one person; all of it where the person is not here (a dash)."""
    rows = []
    for name, field in PERSON_ROWS.items():
        sides = tuple("-" if p is None else str(getattr(p, field)) for p in (theirs, ours))
        if sides[0] != sides[1]:
            rows.append(Row(name, sides))
    return rows


def version_rows(versions: Sequence[WholeVisit]) -> list[Row]:
    """Return the versions of a visit beside each other; what they share is shown as well."""
    told = [
        (
            visit.header.started_utc,
            visit.ending or OPEN,
            str(len(visit.blocks)),
            str(sum(block.ending == "finished" for block in visit.blocks)),
            visit.header.device.alias,
        )
        for visit in versions
    ]
    return [
        Row(name, sides)
        for name, sides in zip(VERSION_ROWS, zip(*told, strict=True), strict=True)
    ]


def both_sides(store: Store, item: Waiting) -> Sides | None:
    """Return what a waiting bundle and this store say; None where nothing is to be compared."""
    try:
        if item.reason == "person":
            theirs = opened(store, item).person
            here = {person.code: person for person in store.people.all()}
            rows = person_rows(theirs, here.get(theirs.code))
            return Sides(("the tablet", "this clinic"), tuple(rows)) if rows else None
        if item.reason != "conflict":
            return None
        versions = {}
        for other in [item, *store.transfer.quarantine()]:
            sha = str(other.content_sha256)
            if other.visit_id == item.visit_id and other.reason == "conflict":
                visit = None if sha in versions else opened(store, other).visit
                if visit is not None:
                    versions[sha] = visit
    except (BatteryError, *UNREADABLE):
        return None  # the choice itself says why it cannot be opened
    if not versions:
        return None
    return Sides(tuple(sha[:8] for sha in versions), tuple(version_rows([*versions.values()])))
