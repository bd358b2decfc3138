"""What was agreed for home, and the days on which something was noted; neither is judged."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, timedelta

import pygame

from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.language.languages import Said, Text
from battery.stage.pages.builder import BACK, Maker, Next, together
from battery.stage.pages.page import Page
from battery.store import HomePlanEntry

N_DAYS, A_WEEK = 14, 7
GAP_MM, LETTERS_MM, MOST_MM = 2.0, 7.0, 24.0
LINE_MM, RING_MM = 0.7, 2.4


class DaysPicture:
    """Two rows of seven days, the last of them today; it does not move.

    Parameters
    ----------
    today : date
    noted, rested : collection of date
    """

    beside = False

    def __init__(self, today: date, noted: Collection[date], rested: Collection[date]) -> None:
        self._days = [today - timedelta(days=n) for n in reversed(range(N_DAYS))]
        self._noted, self._rested = noted, rested

    def begin(self, canvas: Canvas, room: pygame.Rect) -> None:
        """Draw the weekdays, and below each the days with their numbers."""
        gap, low = canvas.px(GAP_MM), canvas.px(LETTERS_MM)
        wide = (room.width - (A_WEEK - 1) * gap) // A_WEEK
        tall = (room.height - low - 2 * gap) // 2
        side = min(wide, tall, canvas.px(MOST_MM))
        theme, line = canvas.theme, max(2, canvas.px(LINE_MM))
        for place, day in enumerate(self._days):
            row, column = divmod(place, A_WEEK)
            left = room.left + column * (wide + gap)
            if row == 0:
                name = canvas.say(texts.SHORT_DAYS[day.weekday()])
                canvas.caption(Said(name), pygame.Rect(left, room.top, wide, low))
            circle = pygame.Rect(0, 0, side, side)
            circle.midtop = (left + wide // 2, room.top + low + gap + row * (side + gap))
            pygame.draw.aacircle(canvas.surface, theme.edge, circle.center, side // 2, line)
            ink = theme.text
            if day in self._noted:
                ink = theme.on_main
                pygame.draw.aacircle(
                    canvas.surface, theme.main, circle.center, side // 2 - line
                )
            elif day in self._rested:
                pygame.draw.aacircle(
                    canvas.surface, theme.main, circle.center, side // 2, canvas.px(RING_MM)
                )
            canvas.caption(Said(str(day.day)), circle, ink)

    def step(self, shown_s: float) -> list[pygame.Rect]:
        """Nothing moves."""
        del shown_s
        return []


class HomePlanPages:
    """The pages of what was agreed and of the days.

    Parameters
    ----------
    make : Maker
    agreed : sequence of HomePlanEntry
        What holds today.
    today : date
    noted, rested : collection of date
        Days with exercise noted or seen, and days noted as rest.
    """

    def __init__(
        self,
        make: Maker,
        agreed: Sequence[HomePlanEntry],
        *,
        today: date,
        noted: Collection[date],
        rested: Collection[date],
    ) -> None:
        self._make, self._agreed = make, agreed
        self._today, self._noted, self._rested = today, noted, rested

    def first(self, done: Next) -> Page:
        """Say what was agreed."""
        lines = tuple(agreed_line(entry) for entry in self._agreed)
        return self._make.text(
            "home plan",
            texts.HOME_PLAN_TITLE,
            (*lines, texts.HOME_CAUTION) if lines else (texts.HOME_PLAN_NONE,),
            (BACK, Button("days", texts.MY_DAYS, "right", main=False)),
            lambda key: done() if key == "back" else self._days(done),
            stop=False,
        )

    def _days(self, done: Next) -> Page:
        return self._make.text(
            "home days",
            texts.DAYS_TITLE,
            (texts.DAYS_LINE,),
            (BACK,),
            lambda _: self.first(done),
            picture=DaysPicture(self._today, self._noted, self._rested),
            stop=False,
        )


def agreed_line(entry: HomePlanEntry) -> Text:
    """Say what was agreed of one exercise."""
    days = [texts.SHORT_DAYS[int(day) - 1] for day in entry.weekdays.split()]
    times = entry.times_a_day or 1
    weight = (
        texts.HOME_WEIGHT.format(grams=entry.weight_g)
        if entry.weight_g
        else texts.HOME_NO_WEIGHT
    )
    return texts.HOME_PLAN_LINE.format(
        name=texts.NAMES[entry.exercise],
        arms=texts.HOME_ARMS[entry.hand or "both"],
        minutes=texts.number_words(f"{entry.minutes:g}"),
        times=texts.ONCE if times == 1 else texts.TIMES.format(count=times),
        days=texts.EVERY_DAY if len(days) == A_WEEK else together(days),
        target=texts.HOME_TARGET[entry.target or "near"],
        weight=weight,
    )
