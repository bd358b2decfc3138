"""Handing over to the clinic by touch: a stick found by itself, and what happened in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from battery.drives import Drive, drives
from battery.errors import BatteryError
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.language.languages import Text
from battery.stage.pages.builder import BACK, Maker, Next
from battery.stage.pages.page import Page
from battery.stage.screen.window import Window
from battery.store import Store
from battery.visits import Wall

if TYPE_CHECKING:
    from battery.handover.sending import SendReport

MAX_STICKS = 5  # on one page
AGAIN = Button("again", texts.AGAIN, "right")
CLOSE = Button("end", texts.CLOSE, "right")
Told = Callable[[str], None]


class HandOver:
    """The pages between “Send to the clinic” and what came of it.

    Parameters
    ----------
    store : Store
    make : Maker
    wall : callable
        Returns the time with its zone.
    told : callable
        Gets lines for staff.
    """

    def __init__(self, store: Store, make: Maker, *, wall: Wall, told: Told) -> None:
        self._store = store
        self._make = make
        self._wall = wall
        self._told = told

    def page(self, done: Next) -> Page:
        """Look for a stick and return the page that follows; `done` gives the last one."""
        from battery.handover.sending import BUNDLE

        found = drives(BUNDLE)
        known = [drive for drive in found if drive.n_bundles]
        if len(found) > 1 and len(known) == 1:
            found = known
        if not found:
            return self._none(done)
        return self._which(found, done) if len(found) > 1 else self._sending(found[0], done)

    def _none(self, done: Next) -> Page:
        return self._make.text(
            "no stick",
            texts.NO_STICK_TITLE,
            texts.NO_STICK_LINES,
            (BACK, AGAIN),
            lambda key: self.page(done) if key == "again" else done(),
            stop=False,
        )

    def _which(self, found: Sequence[Drive], done: Next) -> Page:
        shown = {str(n): drive for n, drive in enumerate(found[:MAX_STICKS])}
        return self._make.text(
            "which stick",
            texts.WHICH_STICK_TITLE,
            (),
            (BACK,),
            lambda key: self._sending(shown[key], done) if key in shown else done(),
            choices=tuple(
                Button(key, drive.folder.name or str(drive.folder), main=False)
                for key, drive in shown.items()
            ),
            stop=False,
        )

    def _sending(self, drive: Drive, done: Next) -> Page:
        return _Sending(self, drive.folder, done)

    def send(self, window: Window, folder: Path, done: Next) -> Page:
        """Write what the clinic has not confirmed into a folder; return what to read then."""
        from battery.handover import send

        self._make.text(
            "sending", texts.SENDING_TITLE, (), (), lambda _: None, stop=False
        ).show(window)
        try:
            report = send(self._store, folder, wall=self._wall)
        except BatteryError as error:
            self._told(f"hand-over: {error}")
            return self._failed(done)
        for line in report.lines():
            self._told(f"hand-over: {line}")
        return self._sent(report, done)

    def _failed(self, done: Next) -> Page:
        return self._make.text(
            "not sent",
            texts.FAILED_TITLE,
            texts.FAILED_LINES,
            (BACK, AGAIN),
            lambda key: self.page(done) if key == "again" else done(),
            stop=False,
        )

    def _sent(self, report: SendReport, done: Next) -> Page:
        lines: list[Text] = [texts.SENT_LINE]
        if report.n_acknowledged:
            lines.append(texts.CONFIRMED_LINE.format(count=report.n_acknowledged))
        if report.not_yet:
            lines.append(texts.NOT_CONFIRMED_LINE.format(count=report.not_yet))
        wrong = len(report.unsent) + len(report.problems)
        if wrong:
            lines.append(texts.NOT_SENT_LINE.format(count=wrong))
        return self._make.text(
            "sent",
            texts.SENT_TITLE,
            lines,
            (CLOSE,),
            lambda _: done(),
            stop=False,
            sign="" if wrong else "done",
        )


class _Sending:
    """Sending as a page: it is done, then it says what came of it."""

    name = "sending"

    def __init__(self, pages: HandOver, folder: Path, done: Next) -> None:
        self._pages, self._folder, self._done = pages, folder, done

    def run(self, window: Window) -> Page:
        return self._pages.send(window, self._folder, self._done)
