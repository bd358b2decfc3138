"""What is cared for around visits: who is due, home exercise planned and done, goals.

Everything is added, with who said it and when; the latest word counts. Only an entry of home
exercise that was a slip of the finger may go.
"""

from __future__ import annotations

import json
import math
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import date
from functools import partial
from typing import get_args

from sqlalchemy import delete, insert, select

from battery.cautions import CONTRAINDICATIONS
from battery.errors import UsageError
from battery.forms import WrongFieldError
from battery.plan import Plan, plan_hash
from battery.store import schema
from battery.store.fitting import fitted, home_plan_entry, person_plan
from battery.store.rows.person_care import (
    ComfortEntry,
    Contraindication,
    Exercise,
    Goal,
    GoalLevel,
    HomeExercise,
    HomeExerciseHand,
    HomeExerciseKind,
    HomePlanEntry,
    PersonPlan,
    PersonState,
    Prescription,
    Present,
    State,
)
from battery.store.said import Said, say_all

LEVELS = range(-2, 3)
MAX_MIN = 24 * 60
MAX_SYMPTOMS = 3
MAX_BEATS = 240


class Care(Said):
    """States of people, contraindications, planned and done home exercise, goals."""

    def prescriptions(self, person: str | None = None) -> list[Prescription]:
        """List how often home exercise was planned before there were home plans, by day."""
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
            raise UsageError(msg, field="weight")
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
            msg = f"level {level} must be -2 to 2; 0 is as hoped for. Nothing was stored"
            raise UsageError(msg, field="level")
        say_all(author=author)
        return self._added(
            schema.goal_levels, GoalLevel(str(uuid.uuid4()), goal_id, level, author, at_utc)
        )

    def goal_levels(self) -> list[GoalLevel]:
        """List how far goals were reached, in order of time."""
        return self._said_of(schema.goal_levels, GoalLevel, "level_id", None)

    def set_state(
        self,
        person: str,
        state: str,
        *,
        from_date: date,
        reason: str,
        author: str,
        at_utc: str,
    ) -> PersonState:
        """Keep whether a person is due for visits, from a day on.

        Raises
        ------
        UsageError
            If there is no such state, or reason or author is empty.
        """
        if state not in get_args(State):
            msg = f"no state {state!r}; say {', '.join(get_args(State))}. Nothing was stored"
            raise UsageError(msg, field="state")
        say_all(reason=reason, author=author)
        row = PersonState(
            str(uuid.uuid4()),
            person,
            state,  # type: ignore[arg-type]  # checked above
            from_date.isoformat(),
            reason,
            author,
            at_utc,
        )
        return self._added(schema.person_states, row)

    def states(self, person: str | None = None) -> list[PersonState]:
        """List states in order of time, of one person or of all."""
        return self._said_of(schema.person_states, PersonState, "state_id", person)

    def set_plan(
        self,
        person: str,
        plan: Plan,
        *,
        source: str,
        author: str,
        at_utc: str,
        source_sha256: str | None = None,
    ) -> PersonPlan:
        """Keep the plan that a person follows from now on, in place of all before.

        Raises
        ------
        UsageError
            If author or source is empty.
        """
        say_all(author=author, source=source)
        row = PersonPlan(
            entry_id=str(uuid.uuid4()),
            person=person,
            plan_name=plan.name,
            plan_hash=plan_hash(plan),
            plan_json=json.dumps(plan.model_dump(mode="json"), sort_keys=True),
            source=source,
            source_sha256=source_sha256,
            follows=" ".join(row.entry_id for row in newest_plans(self.plans(person))),
            author=author,
            at_utc=at_utc,
        )
        return self._added(schema.person_plans, row)

    def plans(self, person: str | None = None) -> list[PersonPlan]:
        """List the plans that were set in order of time, of one person or of all.

        One whose plan does not have its hash is left out, and named.
        """
        table = schema.person_plans
        query = select(table).order_by(table.c.at_utc, table.c.entry_id)
        if person is not None:
            query = query.where(table.c.person == person)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, person_plan, "plan", "entry_id")

    def set_home_plan(self, entries: Sequence[HomePlanEntry]) -> None:
        """Keep what was agreed for home, all entries of one version or none.

        Raises
        ------
        UsageError
            As `check_home_plan`.
        """
        self.check_home_plan(entries)
        with self._writing() as connection:
            for entry in entries:
                connection.execute(insert(schema.home_plans).values(**asdict(entry)))

    @staticmethod
    def check_home_plan(entries: Sequence[HomePlanEntry]) -> None:
        """Hold what is agreed for home to what can be done there; it judges no dose.

        Raises
        ------
        UsageError
            If one cannot be, or the author is empty; its field is exercise and column, as in
            ``slide.minutes``.
        """
        for entry in entries:
            say_all(author=entry.author)
            try:
                home_plan_entry(asdict(entry))
            except ValueError as error:
                msg = f"{entry.exercise}: {error}. Nothing was stored"
                column = error.field if isinstance(error, WrongFieldError) else ""
                raise UsageError(msg, field=f"{entry.exercise}.{column}") from error

    def home_plans(self, person: str | None = None) -> list[HomePlanEntry]:
        """List what was agreed for home in order of time, of one person or of all."""
        table = schema.home_plans
        query = select(table).order_by(table.c.at_utc, table.c.entry_id)
        if person is not None:
            query = query.where(table.c.person == person)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, home_plan_entry, "home plan", "entry_id")

    def set_comfort(
        self, person: str, told: Mapping[str, str], *, author: str, at_utc: str
    ) -> list[ComfortEntry]:
        """Keep how pages look and sound for a person, all that is told or none of it.

        Raises
        ------
        UsageError
            If the author is empty.
        """
        say_all(author=author)
        entries = [
            ComfortEntry(str(uuid.uuid4()), person, name, value, author, at_utc)
            for name, value in told.items()
        ]
        with self._writing() as connection:
            for entry in entries:
                connection.execute(insert(schema.comforts).values(**asdict(entry)))
        return entries

    def comforts(self, person: str | None = None) -> list[ComfortEntry]:
        """List how pages look and sound in order of time, of one person or of all."""
        return self._said_of(schema.comforts, ComfortEntry, "entry_id", person)

    def answer_contraindications(
        self, person: str, answers: Iterable[tuple[str, Present]], *, author: str, at_utc: str
    ) -> list[Contraindication]:
        """Keep the answers to a checklist, all of them or none.

        Raises
        ------
        UsageError
            If there is no such item or answer, or the author is empty.
        """
        say_all(author=author)
        rows = []
        for item, answer in answers:
            if item not in CONTRAINDICATIONS or answer not in get_args(Present):
                msg = (
                    f"{item!r} answered {answer!r} cannot be; items are "
                    f"{', '.join(CONTRAINDICATIONS)}, answers {', '.join(get_args(Present))}. "
                    "Nothing was stored"
                )
                raise UsageError(msg)
            rows.append(
                Contraindication(str(uuid.uuid4()), person, item, answer, author, at_utc)
            )
        with self._writing() as connection:
            for row in rows:
                values = {name: getattr(row, name) for name in Contraindication.__slots__}
                connection.execute(insert(schema.contraindications).values(**values))
        return rows

    def contraindications(self, person: str | None = None) -> list[Contraindication]:
        """List answers to checklists in order of time, of one person or of all."""
        return self._said_of(schema.contraindications, Contraindication, "entry_id", person)

    def put_home_exercise(self, entry: HomeExercise) -> None:
        """Keep an entry, in place of one with the same identifier.

        A person first says that the exercises were done and may then say for how long; both
        are one entry, so that a tap less loses nothing.

        Raises
        ------
        UsageError
            If a word is unknown, a number cannot be, or a rest day has a length.
        """
        _check(entry)
        same = schema.practice.c.practice_id == entry.practice_id
        with self._writing() as connection:
            connection.execute(delete(schema.practice).where(same))
            connection.execute(insert(schema.practice).values(**asdict(entry)))

    def take_back_home_exercise(self, practice_id: str) -> None:
        """Take away an entry that was a slip of the finger; if it is not there, do nothing."""
        same = schema.practice.c.practice_id == practice_id
        with self._writing() as connection:
            connection.execute(delete(schema.practice).where(same))

    def home_exercises(self, person: str | None = None) -> list[HomeExercise]:
        """List entries in order of their day and time, of one person or of all."""
        table = schema.practice
        query = select(table).order_by(table.c.local_date, table.c.at_utc, table.c.practice_id)
        if person is not None:
            query = query.where(table.c.person == person)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, partial(fitted, HomeExercise), "practice", "practice_id")


def newest_plans(plans: Sequence[PersonPlan]) -> list[PersonPlan]:
    """Return the plans in whose place no other was set; with one it holds, else they differ."""
    followed = {entry for row in plans for entry in row.follows.split()}
    return [row for row in plans if row.entry_id not in followed]


def _check(entry: HomeExercise) -> None:
    for name, kinds in (
        ("kind", HomeExerciseKind), ("exercise", Exercise), ("hand", HomeExerciseHand)
    ):  # fmt: skip
        word, known = getattr(entry, name), get_args(kinds)
        if word not in known and not (name == "hand" and word is None):
            all_known = ", ".join(known)
            msg = f"{name} {word!r} is not known; say one of {all_known}. Nothing was stored"
            raise UsageError(msg)
    minutes, symptoms = entry.minutes, entry.symptoms
    if minutes is not None and not (math.isfinite(minutes) and 0 < minutes <= MAX_MIN):
        msg = f"minutes must be above 0, at most {MAX_MIN}, not {minutes:g}. Nothing was stored"
        raise UsageError(msg)
    if minutes is not None and entry.exercise == "rest_day":
        msg = f"a rest day must have no minutes, not {minutes:g}. Nothing was stored"
        raise UsageError(msg)
    if symptoms is not None and not 0 <= symptoms <= MAX_SYMPTOMS:
        msg = f"symptoms must be 0 to {MAX_SYMPTOMS}, not {symptoms}. Nothing was stored"
        raise UsageError(msg)
    before, beats = entry.symptoms_before, entry.clear_beats_per_min
    if before is not None and not 0 <= before <= MAX_SYMPTOMS:
        msg = f"symptoms_before must be 0 to {MAX_SYMPTOMS}, not {before}. Nothing was stored"
        raise UsageError(msg)
    if beats is not None and not 0 <= beats <= MAX_BEATS:
        msg = f"clear_beats_per_min must be 0 to {MAX_BEATS}, not {beats}. Nothing was stored"
        raise UsageError(msg)
    try:
        date.fromisoformat(entry.local_date)
    except ValueError as error:
        msg = f"{entry.local_date!r} is not a day; write it as 2026-03-04. Nothing was stored"
        raise UsageError(msg) from error
