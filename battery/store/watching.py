"""What must not be overlooked: alarms that somebody has seen, who is due, what was asked.

Everything is added, with who said it and when; nothing is changed. The latest word counts.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from datetime import date
from typing import get_args

from sqlalchemy import insert, select

from battery.cautions import CONTRAINDICATIONS
from battery.errors import UsageError
from battery.store import schema
from battery.store.context import Context, say_all
from battery.store.rows import (
    Acknowledgement,
    Contraindication,
    PersonState,
    Present,
    State,
    Takeable,
    TakenBack,
)


class Watching(Context):
    """Acknowledgements, states of people, contraindications, what was taken back."""

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
            raise UsageError(msg)
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
        goals = {goal.goal_id for goal in self.goals(person)}
        if kind == "goal":
            return goals
        if kind == "rating":
            return {x.level_id for x in self.goal_levels() if x.goal_id in goals}
        table = schema.markers
        query = select(table.c.marker_id).where(table.c.person == person)
        with self._reading() as connection:
            return set(connection.execute(query).scalars())
