"""The first pages: what staff must put right, whose visit it is, somebody else."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from battery.stage.drawing.avatars import Token
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.pages.builder import BACK, Maker, Next
from battery.stage.pages.comforts import SETTINGS, Settings, StartPage
from battery.stage.pages.page import Page
from battery.stage.pages.questions import GO

Practised = Callable[[Maker, Next], Page]


class FirstPages:
    """Asks who is here before a visit is begun.

    Parameters
    ----------
    make : Maker
    code : str
        Whose visit it is.
    today : date
    picture : str
        Name of the person's picture.
    warned : sequence of str
        What is to be put right before the start.
    practised : callable or None
        Returns the first page of home exercise; gets the pages' maker and what follows.
    waiting : int
        Visits on this tablet that the clinic has not acknowledged; 0 shows nothing.
    begun : callable
        Begins the visit and returns the page after it.
    away : callable
        Returns what closing leads to.
    """

    def __init__(
        self,
        make: Maker,
        *,
        code: str,
        today: date,
        picture: str,
        warned: Sequence[str],
        practised: Practised | None,
        waiting: int,
        begun: Next,
        away: Next,
    ) -> None:
        self._make = make
        self._words = {"code": code, "day": texts.day_words(today)}
        self._picture = picture
        self._warned = warned
        self._practised = practised
        self._waiting = waiting
        self._begun = begun
        self._away = away
        self.settings: Settings | None = None

    def first(self) -> Page:
        """Return the first page: what to put right, else who is here."""
        return self.warning() if self._warned else self.start()

    def warning(self) -> Page:
        """Return the page for staff of what is to be put right."""
        return self._make.text(
            "warnings",
            texts.WARNINGS_TITLE,
            (*(texts.WARNINGS[name] for name in self._warned), texts.WARNINGS_LINE),
            (GO,),
            lambda _: self.start(),
        )

    def start(self) -> Page:
        """Return the page that asks whether the visit is theirs."""
        practised = self._practised
        more: tuple[Button, ...] = ()
        if practised is not None:
            more = (Button("practised", texts.PRACTISED, "centre", main=False),)

        def after(key: str) -> Page | None:
            if key == "practised" and practised is not None:
                return practised(self._make, self.start)
            if key == SETTINGS and self.settings is not None:
                return self.settings.page(self.start)
            return self._begun() if key == "go" else self.other()

        waiting = (texts.WAITING_LINE.format(count=self._waiting),) if self._waiting else ()
        page = StartPage(
            "start",
            texts.START_TITLE.format(**self._words),
            (*(line.format(**self._words) for line in texts.START_LINES), *waiting),
            (
                Button("go", texts.YES, "right"),
                Button("other", texts.NOT_ME, "left", main=False),
                *more,
            ),
            after,
            picture=Token(self._picture),
            **self._make.shared(None, stop=True),
        )
        return self._make.with_stop(page)

    def other(self) -> Page:
        """Return the page for somebody who is not the person."""
        return self._make.text(
            "other",
            texts.OTHER_TITLE,
            texts.OTHER_LINES,
            (Button("end", texts.CLOSE, "right"), BACK),
            lambda key: self.start() if key == "back" else self._away(),
            stop=False,
        )
