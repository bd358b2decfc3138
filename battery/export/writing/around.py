"""Rows of what is around a person: consent, new baselines, planned exercise, goals."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from battery.alarms import Watch
from battery.export.choosing.codes import Codes
from battery.export.choosing.deidentify import Days
from battery.export.choosing.selection import Selection
from battery.export.writing import tables
from battery.moments import utc_text
from battery.store import (
    Amended,
    Consent,
    Contraindication,
    Goal,
    GoalLevel,
    HomePlanEntry,
    PersonPlan,
    PersonState,
    Prescription,
    Restart,
    Store,
    TakenBack,
)

Row = dict[str, Any]
Bands = Iterable[tuple[str, Mapping[str, Any]]]
SHORT_LABEL = re.compile(r"[0-9A-Za-z.]{1,12}")


class Around:
    """Reads what is around people who are exported.

    Parameters
    ----------
    written : collection of str
        Visits of the export.
    """

    def __init__(
        self, store: Store, selection: Selection, codes: Codes, written: Collection[str]
    ) -> None:
        self._store = store
        self._selection = selection
        self._codes = codes
        self._written = written
        self._goals: dict[str, str] = {}  # goal to person
        self._watch = Watch.read(store)
        self._visits = Amended(store.annotations.amendments()).by_person(store.visits.all())

    def of_person(self, code: str, days: Days) -> Iterator[tuple[str, list[Row]]]:
        """Give the rows of a person by table."""
        store, codes, has_day = self._store, self._codes, self._selection.has_day
        goals = store.care.goals(code)
        self._goals |= {goal.goal_id: code for goal in goals}
        yield "consents", consent_rows(store.people.consents(code), days, codes)
        yield (
            "markers",
            [
                tables.marker_row(marker, days, codes)
                for marker in store.annotations.markers(code)
                if has_day(days.date_of(marker.at_utc))
            ],
        )
        yield (
            "practice",
            [
                tables.home_exercise_row(entry, days, codes)
                for entry in store.care.home_exercises(code)
                if has_day(date.fromisoformat(entry.local_date))
            ],
        )
        yield (
            "rebaselines",
            [
                rebaseline_row(r, days, codes, self._written)
                for r in store.annotations.restarts(code)
            ],
        )
        yield (
            "planned_practice",
            [planned_row(planned, days, codes) for planned in store.care.prescriptions(code)],
        )
        yield "goals", [goal_row(goal, days, codes) for goal in goals]
        yield "alarms", self._alarms(code, days)
        yield "person_states", [state_row(row, days, codes) for row in store.care.states(code)]
        yield (
            "contraindications",
            [
                contraindication_row(row, days, codes)
                for row in store.care.contraindications(code)
            ],
        )
        yield (
            "person_plans",
            [person_plan_row(row, days, codes) for row in store.care.plans(code)],
        )
        yield "home_plans", home_plan_rows(store.care.home_plans(code), days, codes)
        yield (
            "taken_back",
            [taken_row(row, days, codes) for row in store.annotations.taken_back(code)],
        )

    def _alarms(self, code: str, days: Days) -> list[Row]:
        """Rows of `alarms` of one person, the oldest first; those of left-out visits too."""
        visits = self._visits.get(code, [])
        answers = {
            v.header.visit_id: self._store.visits.answers(v.header.visit_id)
            for v in visits
            if v.header.visit_id in self._written
        }
        found = self._watch.alarms(code, visits, answers)
        rows = []
        for number, alarm in enumerate(reversed(found), start=1):
            visit = visits[alarm.visit - 1].header.visit_id if alarm.visit else None
            seen = alarm.acknowledged
            rows.append(
                {
                    "person": self._codes.person(code),
                    "number": number,
                    "kind": alarm.kind,
                    "day": days.day(utc_text(alarm.when)),
                    "visit_id": self._codes.identifier(visit) if visit else None,
                    "acknowledged_day": days.day(seen.at_utc) if seen else None,
                }
            )
        return rows

    def goal_levels(self, calendar: Mapping[str, Days]) -> list[Row]:
        """Rows of `goal_levels` of the goals given so far."""
        return [
            goal_level_row(level, calendar[self._goals[level.goal_id]], self._codes)
            for level in self._store.care.goal_levels()
            if level.goal_id in self._goals
        ]

    def outside_errors(self) -> list[Row]:
        """Rows of `outside_errors`, in order of time."""
        return [
            {
                "error_id": self._codes.identifier(error.error_id),
                "number": number,
                "measure": error.measure,
                "sem": error.sem,
                "n_people": error.n_people or None,
            }
            for number, error in enumerate(self._store.annotations.outside_errors(), start=1)
        ]

    def bands(self, bands: Bands) -> list[Row]:
        """Rows of `bands` of the people and tasks that are exported."""
        return [
            {"person": self._codes.person(code), **row}
            for code, row in bands
            if code in self._codes.people
            and self._selection.has_task(row["measure"].removeprefix("ratio.").split(".")[0])
        ]


def consent_rows(consents: Sequence[Consent], days: Days, codes: Codes) -> list[Row]:
    """Rows of `consents` of one person, in order of time."""
    return [
        {
            "person": codes.person(consent.person),
            "number": number,
            "day": days.day(consent.at_utc),
            "scope": consent.scope,
            "form_version": _label(consent.form_version),
            "decision": consent.decision,
        }
        for number, consent in enumerate(consents, start=1)
    ]


def _label(text: str) -> str:
    return text if SHORT_LABEL.fullmatch(text) else "other"


def rebaseline_row(restart: Restart, days: Days, codes: Codes, written: Collection[str]) -> Row:
    """Row of `rebaselines`; `written` are the visits of this export."""
    visit = restart.visit_id
    return {
        "rebaseline_id": codes.identifier(restart.restart_id),
        "person": codes.person(restart.person),
        "day": days.day(restart.at_utc),
        "visit_id": codes.identifier(visit) if visit in written and visit else None,
    }


def planned_row(planned: Prescription, days: Days, codes: Codes) -> Row:
    """Row of `planned_practice`."""
    return {
        "planned_id": codes.identifier(planned.prescription_id),
        "person": codes.person(planned.person),
        "from_day": days.day_of(date.fromisoformat(planned.from_date)),
        "per_week": float(planned.per_week),
    }


def goal_row(goal: Goal, days: Days, codes: Codes) -> Row:
    """Row of `goals`; the words stay behind."""
    return {
        "goal_id": codes.identifier(goal.goal_id),
        "person": codes.person(goal.person),
        "day": days.day(goal.at_utc),
        "weight": float(goal.weight),
    }


def goal_level_row(level: GoalLevel, days: Days, codes: Codes) -> Row:
    """Row of `goal_levels`."""
    return {
        "level_id": codes.identifier(level.level_id),
        "goal_id": codes.identifier(level.goal_id),
        "day": days.day(level.at_utc),
        "level": level.level,
    }


def state_row(state: PersonState, days: Days, codes: Codes) -> Row:
    """Row of `person_states`."""
    return {
        "state_id": codes.identifier(state.state_id),
        "person": codes.person(state.person),
        "from_day": days.day_of(date.fromisoformat(state.from_date)),
        "state": state.state,
    }


def contraindication_row(entry: Contraindication, days: Days, codes: Codes) -> Row:
    """Row of `contraindications`."""
    return {
        "entry_id": codes.identifier(entry.entry_id),
        "person": codes.person(entry.person),
        "day": days.day(entry.at_utc),
        "item": entry.item,
        "answer": entry.answer,
    }


def person_plan_row(row: PersonPlan, days: Days, codes: Codes) -> Row:
    """Row of `person_plans`; source and author stay behind."""
    return {
        "entry_id": codes.identifier(row.entry_id),
        "person": codes.person(row.person),
        "day": days.day(row.at_utc),
        "plan_hash": row.plan_hash,
        "in_place_of": " ".join(codes.identifier(x) for x in row.follows.split()) or None,
    }


def home_plan_rows(entries: Sequence[HomePlanEntry], days: Days, codes: Codes) -> list[Row]:
    """Rows of `home_plans` of one person; times of day and authors stay behind."""
    versions = list(dict.fromkeys(entry.version_id for entry in entries))
    return [
        {
            "entry_id": codes.identifier(entry.entry_id),
            "person": codes.person(entry.person),
            "version": 1 + versions.index(entry.version_id),
            "from_day": days.day_of(date.fromisoformat(entry.from_date)),
            "exercise": entry.exercise,
            "hand": entry.hand,
            "minutes": entry.minutes,
            "times_a_day": entry.times_a_day,
            "weekdays": entry.weekdays or None,
            "target": entry.target,
            "weight_g": entry.weight_g,
            "n_reminders": len(entry.at_times.split()),
        }
        for entry in entries
    ]


def taken_row(row: TakenBack, days: Days, codes: Codes) -> Row:
    """Row of `taken_back`; the reason stays behind."""
    return {
        "taken_id": codes.identifier(row.taken_id),
        "person": codes.person(row.person),
        "day": days.day(row.at_utc),
        "kind": row.kind,
        "target_id": codes.identifier(row.target_id),
    }
