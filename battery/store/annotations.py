"""What is said about the records later, by name and date. Raw stays as it was.

Everything is added, with who said it and when; nothing is changed. The latest word counts.
"""

from __future__ import annotations

import math
import uuid
from dataclasses import asdict
from functools import partial
from typing import Any, Literal, get_args

from sqlalchemy import insert, or_, select

from battery.errors import UsageError
from battery.recording import HANDS
from battery.store import fitting, schema
from battery.store.amended import Amended
from battery.store.care import Care
from battery.store.fitting import AMENDABLE, YES_NO
from battery.store.opening import Opened
from battery.store.rows.said_later import (
    Acknowledgement,
    Amendment,
    Marker,
    MarkerKind,
    OutsideError,
    Restart,
    Takeable,
    TakenBack,
)
from battery.store.said import Said, say_all


class Annotations(Said):
    """Amendments, events, alarms that were seen, new baselines, outside errors, slips.

    Parameters
    ----------
    opened : Opened
    care : Care
        Where the goals are that may be taken back.
    """

    def __init__(self, opened: Opened, care: Care) -> None:
        super().__init__(opened)
        self._care = care

    def amend(
        self,
        target: Literal["visit", "block"],
        target_id: str,
        field: str,
        new: str,
        *,
        author: str,
        reason: str,
        at_utc: str,
    ) -> Amendment:
        """Say what holds from now on in place of a field of a visit or block.

        The record and earlier amendments stay; `old` is what held until now.

        Raises
        ------
        UsageError
            If there is no such visit, block or field, the value cannot be, or author or
            reason is empty.
        """
        self._check(target, field, new, author, reason)
        old = self._held(target, target_id, field)
        amendment = Amendment(
            str(uuid.uuid4()), target, target_id, field, old, new, author, reason, at_utc
        )
        row = {
            f"{target}_id": target_id,
            **{k: v for k, v in asdict(amendment).items() if k not in ("target", "target_id")},
        }
        with self._writing() as connection:
            connection.execute(insert(schema.amendments).values(**row))
        return amendment

    def amendments(self, person: str | None = None) -> list[Amendment]:
        """List amendments in order of time, of one person's record or of all.

        The person is the one whose record it was when it was made.
        """
        table = schema.amendments
        query = select(table).order_by(table.c.at_utc, table.c.amendment_id)
        if person is not None:
            visits = select(schema.visits.c.visit_id).where(schema.visits.c.person == person)
            blocks = select(schema.blocks.c.block_id).where(
                schema.blocks.c.visit_id.in_(visits)
            )
            query = query.where(or_(table.c.visit_id.in_(visits), table.c.block_id.in_(blocks)))
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, _amendment, "amendment", "amendment_id")

    def add_marker(
        self, person: str, kind: MarkerKind, *, at_utc: str, note: str = ""
    ) -> Marker:
        """Keep a dated event around a person.

        Raises
        ------
        UsageError
            If it is not a kind of event.
        """
        if kind not in get_args(MarkerKind):
            msg = (
                f"{kind!r} is not a kind of event; kinds are {', '.join(get_args(MarkerKind))}"
            )
            raise UsageError(msg, field="kind")
        marker = Marker(str(uuid.uuid4()), person, kind, at_utc, note)
        with self._writing() as connection:
            connection.execute(insert(schema.markers).values(**asdict(marker)))
        return marker

    def markers(self, person: str | None = None) -> list[Marker]:
        """List events in order of time, of one person or of all."""
        query = select(schema.markers).order_by(
            schema.markers.c.at_utc, schema.markers.c.marker_id
        )
        if person is not None:
            query = query.where(schema.markers.c.person == person)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, partial(fitting.fitted, Marker), "event", "marker_id")

    def acknowledge_alarm(
        self, person: str, alarm: str, *, author: str, at_utc: str, note: str = ""
    ) -> Acknowledgement:
        """Keep that somebody has seen an alarm.

        Raises
        ------
        UsageError
            If the author is empty.
        """
        say_all(author=author)
        row = Acknowledgement(str(uuid.uuid4()), person, alarm, note, author, at_utc)
        return self._added(schema.alarm_acknowledgements, row)

    def acknowledgements(self, person: str | None = None) -> list[Acknowledgement]:
        """List acknowledgements in order of time, of one person or of all."""
        table = schema.alarm_acknowledgements
        return self._said_of(table, Acknowledgement, "acknowledgement_id", person)

    def take_back(
        self,
        person: str,
        kind: Takeable,
        target_id: str,
        *,
        reason: str,
        author: str,
        at_utc: str,
    ) -> TakenBack:
        """Say that an event, a goal or a rating was said by mistake; it stays stored.

        Raises
        ------
        UsageError
            If the person has no such thing, or reason or author is empty.
        """
        say_all(reason=reason, author=author)
        if target_id not in self._takeable(person, kind):
            msg = f"{person} has no {kind} {target_id!r}; nothing was taken back"
            raise UsageError(msg)
        row = TakenBack(str(uuid.uuid4()), person, kind, target_id, reason, author, at_utc)
        return self._added(schema.taken_back, row)

    def taken_back(self, person: str | None = None) -> list[TakenBack]:
        """List what was taken back in order of time, of one person or of all."""
        return self._said_of(schema.taken_back, TakenBack, "taken_id", person)

    def _takeable(self, person: str, kind: Takeable) -> set[str]:
        goals = {goal.goal_id for goal in self._care.goals(person)}
        if kind == "goal":
            return goals
        if kind == "rating":
            return {x.level_id for x in self._care.goal_levels() if x.goal_id in goals}
        table = schema.markers
        query = select(table.c.marker_id).where(table.c.person == person)
        with self._reading() as connection:
            return set(connection.execute(query).scalars())

    def restart_baseline(
        self, person: str, visit_id: str | None, *, author: str, reason: str, at_utc: str
    ) -> Restart:
        """Begin a new baseline at a visit, or go back to the first one with None.

        Raises
        ------
        UsageError
            If author or reason is empty.
        """
        say_all(author=author, reason=reason)
        row = Restart(str(uuid.uuid4()), person, visit_id, author, reason, at_utc)
        return self._added(schema.restarts, row)

    def restarts(self, person: str | None = None) -> list[Restart]:
        """List the new baselines in order of time, of one person or of all."""
        return self._said_of(schema.restarts, Restart, "restart_id", person)

    def enter_outside_error(
        self,
        measure: str,
        sem: float | None,
        *,
        source: str,
        author: str,
        at_utc: str,
        n_people: int = 0,
    ) -> OutsideError:
        """Take a measure's error from outside, or with None from this store again.

        Raises
        ------
        UsageError
            If `sem` is not above 0, or source or author is empty.
        """
        if sem is not None and not (sem > 0 and math.isfinite(sem)):
            msg = f"an error must be above 0, not {sem}. Nothing was stored"
            raise UsageError(msg)
        say_all(source=source, author=author)
        row = OutsideError(str(uuid.uuid4()), measure, sem, n_people, source, author, at_utc)
        return self._added(schema.outside_errors, row)

    def outside_errors(self) -> list[OutsideError]:
        """List what was entered, in order of time."""
        return self._said_of(schema.outside_errors, OutsideError, "error_id", None)

    def _check(self, target: str, field: str, new: str, author: str, reason: str) -> None:
        if field not in AMENDABLE[target]:
            can = ", ".join(AMENDABLE[target])
            msg = f"{field!r} of a {target} cannot be amended; {can} can"
            raise UsageError(msg)
        words = {"hand": HANDS, "helped": YES_NO, "excluded": YES_NO}.get(field)
        if words is not None and new not in words:
            msg = f"{field} {new!r}: say {' or '.join(words)}"
            raise UsageError(msg)
        if field == "person":
            query = select(schema.people.c.code).where(schema.people.c.code == new)
            with self._reading() as connection:
                if connection.execute(query).first() is None:
                    msg = f"no person {new!r} in this store; nothing was amended"
                    raise UsageError(msg, field="person")
        if not author.strip() or not reason.strip():
            msg = f"an amendment needs an author and a reason; {author=} {reason=}"
            raise UsageError(msg)

    def _held(self, target: str, target_id: str, field: str) -> str:
        """Return what holds now: the latest amendment, else the record."""
        table = schema.visits if target == "visit" else schema.blocks
        record = select(table).where(table.c[f"{target}_id"] == target_id)
        with self._reading() as connection:
            row = connection.execute(record).mappings().first()
        if row is None:
            msg = f"no {target} {target_id!r} in this store; nothing was amended"
            raise UsageError(msg)
        unamended = {"helped": "", "excluded": "no", "note": ""}
        recorded = unamended[field] if field in unamended else str(row[field])
        return Amended(self.amendments()).held(target_id, field, recorded)


def _amendment(row: Any) -> Amendment:
    fitting.hold_row("amendments", row)
    target: Literal["visit", "block"] = "visit" if row["visit_id"] else "block"
    rest = {key: row[key] for key in ("field", "old", "new", "author", "reason", "at_utc")}
    return Amendment(
        amendment_id=row["amendment_id"],
        target=target,
        target_id=row[f"{target}_id"],
        **rest,
    )
