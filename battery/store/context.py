"""What is known around visits: new baselines, planned home exercise, goals, outside errors.

Everything is added, with who said it and when; nothing is changed. The latest word counts.
"""

from __future__ import annotations

import math
import uuid
from dataclasses import asdict
from datetime import date
from functools import partial
from typing import TypeVar

from sqlalchemy import Table, insert, select

from battery.errors import UsageError
from battery.store import schema
from battery.store.base import Connected
from battery.store.fitting import fitted
from battery.store.rows import (
    Acknowledgement,
    Contraindication,
    Goal,
    GoalLevel,
    OutsideError,
    PersonState,
    Prescription,
    Restart,
    TakenBack,
)

LEVELS = range(-2, 3)
Row = TypeVar(
    "Row",
    Restart,
    OutsideError,
    Prescription,
    Goal,
    GoalLevel,
    Acknowledgement,
    PersonState,
    Contraindication,
    TakenBack,
)


class Context(Connected):
    """Restarts of a baseline, outside errors, planned home exercise and goals."""

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

    def prescribe(
        self,
        person: str,
        *,
        from_date: date,
        per_week: float,
        author: str,
        at_utc: str,
        note: str = "",
    ) -> Prescription:
        """Keep how often practice is planned from a day on.

        Raises
        ------
        UsageError
            If it is below 0 or above 100 times a week, or the author is empty.
        """
        if not 0 <= per_week <= 100:
            msg = f"times a week must be 0 to 100, not {per_week:g}. Nothing was stored"
            raise UsageError(msg)
        say_all(author=author)
        row = Prescription(
            str(uuid.uuid4()), person, from_date.isoformat(), per_week, note, author, at_utc
        )
        return self._added(schema.prescriptions, row)

    def prescriptions(self, person: str | None = None) -> list[Prescription]:
        """List what was planned, in order of the day it holds from."""
        planned = self._said_of(schema.prescriptions, Prescription, "prescription_id", person)
        return sorted(planned, key=lambda p: p.from_date)

    def set_goal(
        self, person: str, goal: str, *, author: str, at_utc: str, weight: float = 1.0
    ) -> Goal:
        """Keep a goal.

        Raises
        ------
        UsageError
            If it is empty, its weight is not above 0, or the author is empty.
        """
        say_all(goal=goal, author=author)
        if not (weight > 0 and math.isfinite(weight)):
            msg = f"a weight must be above 0, not {weight:g}. Nothing was stored"
            raise UsageError(msg)
        return self._added(
            schema.goals, Goal(str(uuid.uuid4()), person, goal, weight, author, at_utc)
        )

    def goals(self, person: str | None = None) -> list[Goal]:
        """List goals in order of time, of one person or of all."""
        return self._said_of(schema.goals, Goal, "goal_id", person)

    def rate_goal(self, goal_id: str, level: int, *, author: str, at_utc: str) -> GoalLevel:
        """Keep how far a goal was reached.

        Raises
        ------
        UsageError
            If the level is not -2 to 2 or the author is empty.
        """
        if level not in LEVELS:
            msg = f"level {level} cannot be; say -2 to 2, 0 is as hoped for. Nothing was stored"
            raise UsageError(msg)
        say_all(author=author)
        return self._added(
            schema.goal_levels, GoalLevel(str(uuid.uuid4()), goal_id, level, author, at_utc)
        )

    def goal_levels(self) -> list[GoalLevel]:
        """List how far goals were reached, in order of time."""
        return self._said_of(schema.goal_levels, GoalLevel, "level_id", None)

    def _added(self, table: Table, row: Row) -> Row:
        with self._writing() as connection:
            connection.execute(insert(table).values(**asdict(row)))
        return row

    def _said_of(
        self, table: Table, kind: type[Row], key: str, person: str | None
    ) -> list[Row]:
        query = select(table).order_by(table.c.at_utc, table.c[key])
        if person is not None:
            query = query.where(table.c.person == person)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, partial(fitted, kind), table.name, key)


def say_all(**words: str) -> None:
    """Refuse words that are empty.

    Raises
    ------
    UsageError
        If one is.
    """
    for name, word in words.items():
        if not word.strip():
            msg = f"{name} is empty; say it. Nothing was stored"
            raise UsageError(msg)
