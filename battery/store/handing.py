"""The tablet's side of handing over: which bundles were made, sent, and acknowledged."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from functools import partial
from hashlib import sha256
from typing import Any

from sqlalchemy import func, insert, select, update

from battery.recording import canonical_json
from battery.store import schema
from battery.store.arrival import Beside, Rows
from battery.store.base import Connected
from battery.store.fitting import fitted, hold_row
from battery.store.opening import Opened
from battery.store.reach import rows_beside_device, rows_beside_person, rows_beside_visit
from battery.store.setup import Setup

MAX_BUNDLES = 1_000_000  # of one tablet
SET_UP = "handover.clinics"  # the clinic keys this store seals to


@dataclass(frozen=True, slots=True)
class Sent:
    """A bundle this store has made.

    Parameters
    ----------
    number : int
        From 1, never used again.
    file_name, file_sha256, sha256 : str
        The sealed file, its hash, and the hash of what was signed in it.
    person : str or None
        None once the person was erased, as the two that follow.
    visit_id, content_sha256 : str or None
        The visit in it; None where only what lies beside visits was sent.
    beside_sha256 : str
        Hash of the rows beside.
    made_utc : str
    sent_utc : str or None
        None until it was read back from its folder.
    receipt_utc : str or None
        None until the clinic's signed receipt was read.
    """

    number: int
    file_name: str
    file_sha256: str
    sha256: str
    person: str | None
    visit_id: str | None
    content_sha256: str | None
    beside_sha256: str
    made_utc: str
    sent_utc: str | None = None
    receipt_utc: str | None = None


class Bundles(Connected):
    """Bundles made here. Nothing is ever deleted for having been handed over.

    Parameters
    ----------
    opened : Opened
    setup : Setup
        What says whether a clinic is set up.
    """

    def __init__(self, opened: Opened, setup: Setup) -> None:
        super().__init__(opened)
        self._setup = setup

    def not_handed_over(self) -> int | None:
        """Count the visits the clinic has not acknowledged; None where no clinic is set up."""
        if not self._setup.setting(SET_UP):
            return None
        known = select(schema.bundles.c.visit_id).where(
            schema.bundles.c.receipt_utc.is_not(None), schema.bundles.c.visit_id.is_not(None)
        )
        query = (
            select(func.count())
            .select_from(schema.visits)
            .where(schema.visits.c.visit_id.not_in(known))
        )
        with self._reading() as connection:
            return connection.execute(query).scalar_one()

    def all(self) -> list[Sent]:
        """List the bundles made here, in order."""
        query = select(schema.bundles).order_by(schema.bundles.c.number)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, partial(fitted, Sent), "bundle", "number")

    def last_number(self) -> int:
        """Return the highest number of a bundle made here, one that cannot be read included.

        Bundles are numbered from 1 without a gap, so a number beyond what any can have is
        damage, and how many there are stands for it.
        """
        column = schema.bundles.c.number
        query = select(func.max(column).filter(column <= MAX_BUNDLES), func.count())
        with self._reading() as connection:
            highest, count = connection.execute(query.select_from(schema.bundles)).one()
        return max(int(highest or 0), int(count))

    def add(self, sent: Sent) -> None:
        """Remember a bundle before its file is written, so that its number is used once."""
        with self._writing() as connection:
            connection.execute(insert(schema.bundles).values(**asdict(sent)))

    def mark_sent(self, number: int, *, at_utc: str) -> None:
        """Remember that a bundle's file was read back from its folder."""
        self._mark([number], sent_utc=at_utc)

    def mark_acknowledged(self, numbers: Iterable[int], *, at_utc: str) -> None:
        """Remember that the clinic's receipt names these bundles."""
        self._mark(numbers, receipt_utc=at_utc)

    def _mark(self, numbers: Iterable[int], **values: str) -> None:
        with self._writing() as connection:
            for number in numbers:
                connection.execute(
                    update(schema.bundles)
                    .where(schema.bundles.c.number == number)
                    .values(**values)
                )

    def beside_visit(self, visit_id: str, device: str) -> Beside:
        """Return what lies beside a visit, and beside the device it was done on.

        A row that is not of its form is left out, and named.
        """
        with self._reading() as connection:
            visit = rows_beside_visit(connection, visit_id)
            beside = rows_beside_device(connection, device)
        return Beside(visit=self._sound(visit), device=self._sound(beside))

    def beside_person(self, code: str) -> Beside:
        """Return what lies beside a person and no visit, as far as it is of its form."""
        with self._reading() as connection:
            found = rows_beside_person(connection, code)
        return Beside(person=self._sound(found))

    def _sound(self, found: Rows) -> Rows:
        """Return rows without those that no clinic would take in."""
        kept: Rows = {}
        for name, rows in found.items():
            table = schema.metadata.tables[name]
            key = next(iter(table.primary_key.columns)).name
            sound = self._built(rows, partial(_held, name), name, key)
            if sound:
                kept[name] = sound
        return kept


def _held(table: str, row: Mapping[Any, Any]) -> dict[str, Any]:
    hold_row(table, row)
    return dict(row)


def rows_sha256(rows: Rows) -> str:
    """Hash rows by table."""
    return sha256(canonical_json(rows).encode()).hexdigest()
