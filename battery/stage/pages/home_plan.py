"""What was agreed for home, and the days on which something was noted; neither is judged."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, timedelta

import pygame

from battery.stage.drawing.canvas import Button, Canvas
from battery.stage.language import texts
from battery.stage.language.languages import Said, Text
from battery.stage.pages.builder import BACK, Maker, Next, together
from battery.stage.pages.page import Page
from battery.store import HomePlanEntry

N_DAYS, A_WEEK = 14, 7
GAP_MM, LETTERS_MM, RING_MM = 2.0, 7.0, 1.4
LETTERS = 2  # of a day's name


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
        """Draw a circle for each day, with its weekday and number below."""
        gap, low = canvas.px(GAP_MM), canvas.px(LETTERS_MM)
        wide = (room.width - (A_WEEK - 1) * gap) // A_WEEK
        tall = (room.height - gap) // 2
        side = min(wide, tall - low, canvas.px(24))
        theme = canvas.theme
        for place, day in enumerate(self._days):
            row, column = divmod(place, A_WEEK)
            left, top = room.left + column * (wide + gap), room.top + row * (tall + gap)
            centre = (left + wide // 2, top + side // 2)
            line = max(2, canvas.px(RING_MM / 2))
            pygame.draw.aacircle(canvas.surface, theme.edge, centre, side // 2, line)
            if day in self._noted:
                pygame.draw.aacircle(canvas.surface, theme.main, centre, side // 2 - line)
            elif day in self._rested:
                ring = max(line, canvas.px(2 * RING_MM))
                pygame.draw.aacircle(canvas.surface, theme.main, centre, side // 2, ring)
            name = canvas.say(texts.DAYS[day.weekday()])[:LETTERS]
            below = pygame.Rect(left, top + side, wide, low)
            canvas.caption(Said(f"{name} {day.day}"), below)

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
    days = [texts.DAYS[int(day) - 1] for day in entry.weekdays.split()]
    times = entry.times_a_day or 1
    weight = (
        texts.HOME_WEIGHT.format(grams=entry.weight_g)
        if entry.weight_g
        else texts.HOME_NO_WEIGHT
    )
    return texts.HOME_PLAN_LINE.format(
        name=texts.NAMES[entry.exercise],
        arms=texts.HOME_ARMS[entry.hand or "both"],
        minutes=f"{entry.minutes:g}",
        times=texts.ONCE if times == 1 else texts.TIMES.format(count=times),
        days=texts.EVERY_DAY if len(days) == A_WEEK else together(days),
        target=texts.HOME_TARGET[entry.target or "near"],
        weight=weight,
    )
