"""What people answered around blocks, and what was measured about screens and pointers."""

from __future__ import annotations

import uuid
from dataclasses import asdict
from functools import partial
from typing import Literal

from sqlalchemy import func, insert, select

from battery.answers import QUESTIONS, Answer, Moment
from battery.errors import UsageError
from battery.recording import Screen
from battery.store import fitting, schema
from battery.store.base import Connected
from battery.store.rows import ScreenCheck, TimingCheck


class Asked(Connected):
    """Answers and checks. Rows are added, never changed."""

    def put_answer(
        self,
        visit_id: str,
        moment: Moment,
        question: str,
        value: str,
        *,
        at_utc: str,
        block_id: str | None = None,
    ) -> Answer:
        """Keep an answer; an earlier one to the same question stays beside it.

        Raises
        ------
        UsageError
            If there is no such question, or it cannot be answered so.
        """
        known = QUESTIONS.get(question)
        if known is None or not known.allows(value):
            allowed = ", ".join(known.words) or "0 to 10" if known else ", ".join(QUESTIONS)
            msg = f"{question!r} must be answered with one of {allowed}, not {value!r}"
            raise UsageError(msg)
        table = schema.answers
        following = select(func.count()).select_from(table).where(table.c.visit_id == visit_id)
        with self._writing() as connection:
            answer = Answer(
                str(uuid.uuid4()),
                visit_id,
                connection.execute(following).scalar_one(),
                block_id,
                moment,
                question,
                value,
                at_utc,
            )
            connection.execute(insert(schema.answers).values(**asdict(answer)))
        return answer

    def answers(self, visit_id: str | None = None) -> list[Answer]:
        """List answers in the order they were given, of one visit or of all."""
        table = schema.answers
        query = select(table).order_by(table.c.visit_id, table.c.number)
        if visit_id is not None:
            query = query.where(table.c.visit_id == visit_id)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, fitting.answer, "answer", "answer_id")

    def put_screen_check(
        self, device: str, screen: Screen, source: Literal["card", "ruler"], *, at_utc: str
    ) -> ScreenCheck:
        """Keep a measurement of a screen of a device that is known."""
        check = ScreenCheck(
            str(uuid.uuid4()),
            device,
            screen.width_px,
            screen.height_px,
            screen.mm_per_px_x,
            screen.mm_per_px_y,
            source,
            at_utc,
        )
        with self._writing() as connection:
            connection.execute(insert(schema.screen_checks).values(**asdict(check)))
        return check

    def screen_checks(self, device: str | None = None) -> list[ScreenCheck]:
        """List measurements of screens in order of time, of one device or of all."""
        table = schema.screen_checks
        query = select(table).order_by(table.c.at_utc, table.c.check_id)
        if device is not None:
            query = query.where(table.c.device == device)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, partial(fitting.fitted, ScreenCheck), "check", "check_id")

    def put_timing_check(self, check: TimingCheck) -> None:
        """Keep a check of a device that is known."""
        with self._writing() as connection:
            connection.execute(insert(schema.timing_checks).values(**asdict(check)))

    def timing_checks(self, device: str | None = None) -> list[TimingCheck]:
        """List checks of pointers and pictures in order of time, of one device or of all."""
        table = schema.timing_checks
        query = select(table).order_by(table.c.at_utc, table.c.check_id)
        if device is not None:
            query = query.where(table.c.device == device)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, partial(fitting.fitted, TimingCheck), "check", "check_id")
