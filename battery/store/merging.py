"""The clinic's side: what arrives is merged by visit and content, in any order, any times.

The same visit with the same content is nothing new. The same visit with another content takes
both out of the tables into quarantine until a person chooses, so that the end does not depend
on which came first. Each arrival is one transaction: it is in, or it is not.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from sqlalchemy import Connection, delete, func, insert, select
from sqlalchemy.exc import DataError, IntegrityError

from battery.errors import BatteryError, HandoverError, RecordError, StoreError, UsageError
from battery.store import schema
from battery.store.admitting import ACCEPTED, admit, merge_rows, one_at_a_time, same_received
from battery.store.arrival import Arrival, Outcome, Rows, WholeVisit
from battery.store.base import UNREADABLE, Connected
from battery.store.fitting import fitted
from battery.store.opening import Opened, cause_of
from battery.store.quarantine import decide, drop_item
from battery.store.records import Records
from battery.store.rows.recorded import Person
from battery.store.setup import Setup
from battery.store.visit_insertion import insert_visit, stored_sha256
from battery.store.visits import Visits

MAX_FALSE = 200  # bundles of one tablet that are kept though they say what cannot be


@dataclass(frozen=True, slots=True)
class Waiting:
    """Something in quarantine, without its content."""

    item_id: str
    reason: str  # conflict, device, person, false
    fingerprint: str
    number: int
    device: str
    person: str
    visit_id: str | None
    content_sha256: str | None
    arrived_utc: str
    decision: str | None
    author: str | None
    why: str | None
    decided_utc: str | None


@dataclass(frozen=True, slots=True)
class Tablet:
    """A tablet whose key a person has accepted."""

    fingerprint: str
    public_key: str
    device: str
    author: str
    accepted_utc: str


@dataclass(frozen=True, slots=True)
class Received:
    """What a tablet has sent and this store has taken in."""

    fingerprint: str
    number: int
    sha256: str
    replaces: tuple[int, ...]
    previous_sha256: str
    person: str | None
    visit_id: str | None
    content_sha256: str | None
    received_utc: str


def _waiting(row: Mapping[Any, Any]) -> Waiting:
    return fitted(Waiting, row, may_be_empty={"person", "device", "fingerprint"})


def _received(row: Mapping[Any, Any]) -> Received:
    told = dict(row)
    told["replaces"] = tuple(json.loads(told.pop("replaces_json")))
    return fitted(Received, told, may_be_empty={"previous_sha256"})


class Transfer(Connected):
    """Admission of arrivals, quarantine, accepted tablets.

    Parameters
    ----------
    opened : Opened
    setup : Setup
    visits : Visits
    records : Records
    """

    def __init__(self, opened: Opened, setup: Setup, visits: Visits, records: Records) -> None:
        super().__init__(opened)
        self._setup, self._visits, self._records = setup, visits, records

    def admit(self, arrival: Arrival, *, at_utc: str, stored: Arrival | None = None) -> Outcome:
        """Take an arrival in, all of it or nothing.

        Parameters
        ----------
        arrival : Arrival
            The scores of its blocks are stored as it has them.
        stored : Arrival, optional
            The visit of the same identifier that is here already, packed, if it differs.

        Raises
        ------
        HandoverError
            If it contradicts what is here in a way that no choice can settle.
        """
        with self._merging() as connection:
            return admit(connection, arrival, at_utc, stored)

    @contextmanager
    def _merging(self) -> Iterator[Connection]:
        """Write; what contradicts the database is the fault of what arrived."""
        try:
            with self._writing() as connection:
                yield connection
        except UNREADABLE as error:
            if isinstance(error, BatteryError):
                raise
            msg = f"what is stored beside it cannot be read ({error}); it was not taken in"
            raise HandoverError(msg) from error
        except StoreError as error:
            if not isinstance(error.__cause__, IntegrityError | DataError):
                raise
            msg = f"it contradicts what is stored ({cause_of(error.__cause__)}); not taken in"
            raise HandoverError(msg) from error

    def visit_sha256(self, visit_id: str) -> str | None:
        """Return the hash of the content of a visit; None if it is not there.

        Raises
        ------
        RecordError
            If it cannot be read.
        """
        try:
            with self._reading() as connection:
                return stored_sha256(connection, visit_id)
        except UNREADABLE as error:
            msg = f"visit {visit_id} cannot be read: {error}"
            raise RecordError(msg) from error

    def tablets(self) -> list[Tablet]:
        """List the tablets whose keys were accepted."""
        query = select(schema.tablets).order_by(schema.tablets.c.fingerprint)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, partial(fitted, Tablet), "tablet", "fingerprint")

    def accept_tablet(
        self, fingerprint: str, public_key: str, device: str, *, author: str, at_utc: str
    ) -> None:
        """Accept a tablet's key from now on; one that is accepted stays as it is.

        Raises
        ------
        UsageError
            If another key of the same fingerprint is accepted.
        """
        table, row = schema.tablets, Tablet(fingerprint, public_key, device, author, at_utc)
        query = select(table.c.public_key).where(table.c.fingerprint == fingerprint)
        with self._writing() as connection:
            one_at_a_time(connection)  # two may accept it at once
            held = connection.execute(query).scalar()
            if held is None:
                connection.execute(insert(table).values(**asdict(row)))
        if held not in (None, public_key):
            msg = f"another tablet's key has the fingerprint {fingerprint!r}; not accepted"
            raise UsageError(msg)

    def drop_tablet(self, fingerprint: str) -> None:
        """Accept a tablet's key no longer; what it has sent before stays.

        Raises
        ------
        UsageError
            If no accepted tablet has this key.
        """
        table = schema.tablets
        with self._writing() as connection:
            done = connection.execute(delete(table).where(table.c.fingerprint == fingerprint))
        if done.rowcount == 0:
            known = ", ".join(repr(t.fingerprint) for t in self.tablets())
            msg = f"no accepted tablet has key {fingerprint!r}; accepted are {known}"
            if not known:
                msg = f"no accepted tablet has key {fingerprint!r}; none is accepted"
            raise UsageError(msg, field="tablet")

    def received(self) -> list[Received]:
        """List what was taken in, by tablet and number."""
        table = schema.received
        query = select(table).order_by(table.c.fingerprint, table.c.number, table.c.sha256)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, _received, "a received bundle of tablet", "fingerprint")

    def quarantine(self, *, decided: bool = False) -> list[Waiting]:
        """List what waits for a choice, oldest first; with `decided` also what was chosen."""
        table = schema.quarantine
        columns = [table.c[name] for name in Waiting.__slots__]
        query = select(*columns).order_by(table.c.arrived_utc, table.c.item_id)
        if not decided:
            query = query.where(table.c.decision.is_(None))
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, _waiting, "what waits,", "item_id")

    def quarantined_content(self, item_id: str) -> tuple[bytes, str]:
        """Return what was signed, and the public key it was signed with.

        Raises
        ------
        RecordError
            If they cannot be read.
        """
        table = schema.quarantine
        query = select(table.c.content, table.c.public_key).where(table.c.item_id == item_id)
        with self._reading() as connection:
            row = connection.execute(query).one()
        if not isinstance(row.content, bytes | memoryview):
            msg = (
                f"what waits as {item_id} cannot be read: it is not a bundle; it was left there"
            )
            raise RecordError(msg)
        return bytes(row.content), str(row.public_key)

    def decide(
        self, items: Iterable[str], decision: str, *, author: str, why: str, at_utc: str
    ) -> None:
        """Write down what was chosen about items, which stay."""
        with self._writing() as connection:
            decide(connection, items, decision, author=author, why=why, at_utc=at_utc)

    def choose_version(
        self,
        chosen: Sequence[tuple[str, Arrival]],
        others: Iterable[str],
        *,
        author: str,
        why: str,
        at_utc: str,
    ) -> None:
        """Put one version of a visit into the tables; the others stay aside.

        Parameters
        ----------
        chosen : sequence of (str, Arrival)
            The items that have the version that holds, with what is in them.
        others : iterable of str
            The items that have other versions.
        """
        with self._merging() as connection:
            for item, arrival in chosen:
                if stored_sha256(connection, str(arrival.visit_id)) is None:
                    insert_visit(connection, arrival)
                merge_rows(connection, arrival.beside.visit)
                decide(connection, [item], "taken", author=author, why=why, at_utc=at_utc)
            decide(connection, others, "left out", author=author, why=why, at_utc=at_utc)

    def set_aside_false(
        self,
        *,
        fingerprint: str,
        public_key: str,
        person: str,
        sha256: str,
        content: bytes,
        why: str,
        at_utc: str,
    ) -> Outcome:
        """Keep a bundle of an accepted tablet that says what cannot be, with what that is.

        Nothing of it reaches any other table.

        Returns
        -------
        str
            "false" where it waits now; "left out" where a person chose so before; "refused"
            where the tablet is not accepted, or so many wait that no more are kept.
        """
        table = schema.quarantine
        with self._writing() as connection:
            one_at_a_time(connection)
            known = select(schema.tablets.c.public_key).where(
                schema.tablets.c.fingerprint == fingerprint
            )
            if connection.execute(known).scalar() != public_key:
                return "refused"
            same = select(table.c.decision).where(
                table.c.sha256 == sha256,
                table.c.fingerprint == fingerprint,
                table.c.reason == "false",
            )
            found = connection.execute(same).all()
            if found:
                return "left out" if found[0].decision else "false"
            waiting = select(func.count()).where(
                table.c.fingerprint == fingerprint,
                table.c.reason == "false",
                table.c.decision.is_(None),
            )
            if connection.execute(waiting).scalar_one() >= MAX_FALSE:
                return "refused"
            connection.execute(
                insert(table).values(
                    item_id=str(uuid.uuid4()),
                    reason="false",
                    fingerprint=fingerprint,
                    number=0,
                    device="",
                    public_key=public_key,
                    person=person,
                    sha256=sha256,
                    content=content,
                    arrived_utc=at_utc,
                    why=why,
                )
            )
        return "false"

    def release(
        self, item_id: str, arrival: Arrival, *, at_utc: str, stored: Arrival | None = None
    ) -> Outcome:
        """Admit an item of a tablet or person that is accepted now; it no longer waits."""
        with self._merging() as connection:
            drop_item(connection, item_id)
            connection.execute(delete(schema.received).where(same_received(arrival)))
            return admit(connection, arrival, at_utc, stored)

    def let_pass(self, code: str, fingerprint: str) -> None:
        """Take a tablet's word for a person whose enrolment differs there; this one holds."""
        self._setup.add_to_setting(f"{ACCEPTED}.{code}", fingerprint)

    def take_rows(self, person: Person | None, rows: Rows) -> int:
        """Add rows beside a person, and the person if it is given; return how many changed."""
        with self._merging() as connection:
            if person is not None:
                connection.execute(insert(schema.people).values(**asdict(person)))
            return merge_rows(connection, rows)

    def enrol_arrived(self, person: Person) -> None:
        """Enrol somebody as another store has them; whoever is enrolled stays as enrolled."""
        code = schema.people.c.code
        with self._writing() as connection:
            one_at_a_time(connection)  # two may take them at once
            if connection.execute(select(code).where(code == person.code)).first() is None:
                connection.execute(insert(schema.people).values(**asdict(person)))

    def whole_visit(self, visit_id: str) -> WholeVisit:
        """Read a visit with all its raw blocks.

        Raises
        ------
        RecordError
            If any of it cannot be read, or is not what was stored.
        """
        with self._reading() as connection:
            plan = connection.execute(
                select(schema.plans.c.json)
                .join(schema.visits, schema.visits.c.plan_hash == schema.plans.c.plan_hash)
                .where(schema.visits.c.visit_id == visit_id)
            ).scalar_one()
            ended = schema.blocks.c.ending.is_not(None)
            n_blocks = connection.execute(
                select(func.count()).where(schema.blocks.c.visit_id == visit_id, ended)
            ).scalar_one()
        record = self._visits.get(visit_id)
        blocks = [
            self._records.load(b.header.block_id)
            for b in self._records.of_visit(visit_id)
            if b.ending is not None
        ]
        if len(blocks) != n_blocks:
            msg = (
                f"{n_blocks - len(blocks)} blocks of visit {visit_id} cannot be read; "
                "'battery verify' names them"
            )
            raise RecordError(msg)
        return WholeVisit(record.header, record.ending, plan, blocks)
