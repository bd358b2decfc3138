"""What somebody says with name and date.

Everything is added, with who said it and when; nothing is changed. The latest word counts.
"""

from __future__ import annotations

from dataclasses import asdict
from functools import partial
from typing import TypeVar

from sqlalchemy import Table, insert, select

from battery.errors import UsageError
from battery.store.base import Connected
from battery.store.fitting import fitted
from battery.store.rows.person_care import (
    ComfortEntry,
    Contraindication,
    Goal,
    GoalLevel,
    HomePlanEntry,
    PersonPlan,
    PersonState,
    Prescription,
)
from battery.store.rows.said_later import Acknowledgement, OutsideError, Restart, TakenBack

Row = TypeVar(
    "Row",
    Restart,
    OutsideError,
    Prescription,
    Goal,
    GoalLevel,
    Acknowledgement,
    ComfortEntry,
    HomePlanEntry,
    PersonPlan,
    PersonState,
    Contraindication,
    TakenBack,
)


class Said(Connected):
    """Rows that are said of a person, or of the store as a whole."""

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
            way_out = "say who, with --by" if name == "author" else "say it"
            msg = f"{name} is empty; {way_out}. Nothing was stored"
            raise UsageError(msg, field=name)
