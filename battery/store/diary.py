"""Home exercise: what a person reports, and what a timer on the tablet has seen."""

from __future__ import annotations

import math
from dataclasses import asdict
from datetime import date
from functools import partial
from typing import get_args

from sqlalchemy import delete, insert, select

from battery.errors import UsageError
from battery.store import schema
from battery.store.base import Connected
from battery.store.fitting import fitted
from battery.store.rows import Exercise, HomeExercise, HomeExerciseHand, HomeExerciseKind

MAX_MIN = 24 * 60
MAX_SYMPTOMS = 3


class Diary(Connected):
    """Exercise at home, between visits. A dose and how it felt; no score."""

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
    try:
        date.fromisoformat(entry.local_date)
    except ValueError as error:
        msg = f"{entry.local_date!r} is no day; say it as 2026-03-04. Nothing was stored"
        raise UsageError(msg) from error
