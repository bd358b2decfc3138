"""What staff find behind their code on a tablet: measuring, sending, pairing, failures."""

from __future__ import annotations

import textwrap
from collections.abc import Callable

from battery.stage.checks.loop_check import LoopPages, keeper
from battery.stage.checks.screen_check import measure_with_card
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.pages.builder import BACK, Maker
from battery.stage.pages.page import Left, Page, TextPage
from battery.stage.pages.people import MenuPage
from battery.stage.screen.window import Window
from battery.stage.settings.device import Screens
from battery.stage.staff.from_clinic import FromClinic
from battery.stage.staff.hand_over import HandOver, Told
from battery.store import Store
from battery.trouble_notes import TroubleNote, last_trouble, notes_path
from battery.visits import Wall

MAX_TOLD = 90  # letters of what went wrong


class StaffMenu:
    """The page behind the code, and what is reached from it.

    Parameters
    ----------
    store : Store
    window : Window
    make : Maker
    alias : str
        Name of this machine.
    known : dict of (width_px, height_px) to Screen
        Screens measured on this machine.
    wall : callable
        Returns the time with its zone.
    told : callable
        Gets a line for staff on everything that was done.
    """

    def __init__(
        self,
        store: Store,
        window: Window,
        make: Maker,
        *,
        alias: str,
        known: Screens,
        wall: Wall,
        told: Told,
    ) -> None:
        self._store, self._window, self._make = store, window, make
        self._alias, self._known = alias, known
        self._wall, self._told = wall, told

    def page(self) -> Page:
        """Return the page behind the code."""
        choices = [
            Button("measure", texts.MEASURE, main=False),
            Button("loop", texts.LOOP, main=False),
        ]
        if self._store.bundles.not_handed_over() is not None:
            choices.append(Button("send", texts.TO_CLINIC, main=False))
            choices.append(Button("new person", texts.NEW_PERSON, main=False))
        else:
            choices.append(Button("pair", texts.PAIR, main=False))
        choices.append(Button("leave", texts.LEAVE, main=False))
        ways = [Button("back", texts.BACK, "left", main=False)]
        if (wrong := last_trouble(self._store)) is not None:
            ways.append(Button("wrong", texts.WRONG_LAST, "right", main=False))

        def after(key: str) -> Page | None:
            if key == "leave":
                raise Left
            if key == "measure":
                return Sitting(self._measure)
            if key == "wrong" and wrong is not None:
                return self._wrong(wrong)
            if key == "loop":
                return self._loop().first(closed)
            clinic = FromClinic(self._store, self._make, told=self._told)
            if key in ("new person", "pair"):
                taken = clinic.pair if key == "pair" else clinic.new_person
                return taken(self.page)
            if key != "send":
                return None
            hand_over = HandOver(self._store, self._make, wall=self._wall, told=self._told)
            return hand_over.page(closed)

        return MenuPage(
            "staff menu",
            texts.STAFF_TITLE,
            (),
            tuple(ways),
            after,
            choices=tuple(choices),
            **self._make.shared(None, stop=False),
        )

    def _wrong(self, wrong: TroubleNote) -> TextPage:
        """Return the page that says what went wrong last."""
        at = wrong.at
        return self._make.text(
            "went wrong",
            texts.WRONG_LAST,
            (
                texts.WRONG_WHEN.format(
                    day=texts.day_words(at.date()), time=f"{at:%H:%M}", page=wrong.page or "-"
                ),
                texts.WRONG_WHAT.format(what=shortened(wrong.what)),
                texts.WRONG_FILE.format(file=notes_path(self._store).name),
            ),
            (BACK,),
            lambda _: self.page(),
            stop=False,
        )

    def _loop(self) -> LoopPages:
        keep = keeper(self._store, self._window, self._alias, self._told)
        return LoopPages(self._make, keep, device=self._alias, wall=self._wall)

    def _measure(self) -> None:
        for line in measure_with_card(
            self._store, self._alias, self._known, self._window, self._wall
        ):
            self._told(line)


def shortened(told: str) -> str:
    """Return the beginning of what the file says in full, without paths, which fill a page."""
    words = [w for w in told.partition(";")[0].split() if "/" not in w and "\\" not in w]
    return textwrap.shorten(" ".join(words), MAX_TOLD, placeholder=" …")


class Sitting:
    """Something with pages of its own, as a page; the start page follows it."""

    name = "sitting"

    def __init__(self, do: Callable[[], None]) -> None:
        self._do = do

    def run(self, window: Window) -> None:
        """Do it; nothing is left to show."""
        del window
        self._do()


def closed() -> None:
    """Go back to the start page."""
