"""Filming the delay from a finger to light: what is shown, how it is read, what is kept.

A phone films the counter, thirty touches and thirty lifts; then somebody goes through the film
frame by frame and types what is counted. Touches and lifts are kept apart, each as soon as all
of its numbers are there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

from battery.comfort import comfort_of
from battery.errors import UsageError
from battery.loop_delay import (
    MAX_FRAMES,
    MIN_READ,
    WANTED,
    camera_rate_hz,
    loop_check,
    loop_words,
)
from battery.moments import utc_text
from battery.recording import Device
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.language.languages import Text
from battery.stage.pages.builder import BACK, Maker, Next
from battery.stage.pages.following import run_pages
from battery.stage.pages.loop import CounterPage, PatchPage
from battery.stage.pages.pad import LETTERS, PadPage, pad_page
from battery.stage.pages.page import Page
from battery.stage.screen.window import Window
from battery.stage.settings.comfort import comfortable_window
from battery.stage.settings.device import load_device, system_name
from battery.store import LoopCheck, Store
from battery.store.rows.device_checks import Edge
from battery.trouble_notes import note_trouble
from battery.visits import Wall

GO = Button("go", texts.GO_ON, "right")
NOT_SEEN = Button("skip", texts.NOT_SEEN, "centre", main=False)
MAX_SIGNS = len(str(MAX_FRAMES))
EDGES: tuple[Edge, ...] = ("touch", "lift")


@dataclass
class _Film:
    """What was typed so far."""

    counter: CounterPage = field(default_factory=CounterPage)
    patches: dict[Edge, PatchPage] = field(default_factory=dict)
    camera_hz: float = 0.0
    reader: str = ""
    numbers: list[int] = field(default_factory=list)  # first, last, frames between
    read: dict[Edge, list[int | None]] = field(default_factory=lambda: {e: [] for e in EDGES})


class LoopPages:
    """The pages of filming and reading.

    Parameters
    ----------
    make : Maker
    kept : callable
        Gets touches, then lifts, as soon as they are read.
    device : str
        Alias of this machine.
    wall : callable
        Returns the time with its zone.
    """

    def __init__(
        self,
        make: Maker,
        kept: Callable[[LoopCheck], None],
        *,
        device: str,
        wall: Wall,
        wanted: int = WANTED,
    ) -> None:
        self._make, self._kept = make, kept
        self._device, self._wall = device, wall
        self._wanted = wanted
        self._film = _Film()
        self._found: list[LoopCheck] = []

    def first(self, done: Next) -> Page:
        """Say what is needed."""
        return self._words(
            "loop",
            texts.LOOP_TITLE,
            texts.LOOP_LINES,
            lambda: _Live(self._film.counter, partial(self._touches, done)),
            back=done,
        )

    def _touches(self, done: Next) -> Page:
        return self._ready("touch", texts.LOOP_TOUCH_TITLE, lambda: self._lifts(done), done)

    def _lifts(self, done: Next) -> Page:
        return self._ready("lift", texts.LOOP_LIFT_TITLE, lambda: self._reading(done), done)

    def _ready(self, edge: Edge, title: Text, following: Next, done: Next) -> Page:
        patch = self._film.patches[edge] = PatchPage(edge, self._wanted)

        def over() -> Page | None:
            if len(patch.took_ns) < MIN_READ:
                return self._few(edge, title, following, done)
            return following()

        return self._words(
            f"loop {edge} ready",
            title.format(count=self._wanted),
            (texts.LOOP_READY_LINE,),
            lambda: _Live(patch, over),
            back=done,
        )

    def _few(self, edge: Edge, title: Text, following: Next, done: Next) -> Page:
        return self._words(
            "loop few",
            texts.LOOP_FEW_TITLE,
            (texts.LOOP_FEW_LINE.format(count=MIN_READ),),
            lambda: self._ready(edge, title, following, done),
            back=done,
        )

    def _reading(self, done: Next) -> Page:
        return self._words(
            "loop read",
            texts.LOOP_READ_TITLE,
            texts.LOOP_READ_LINES,
            lambda: self._reader(done),
            back=done,
        )

    def _reader(self, done: Next) -> Page:
        def after(page: PadPage, key: str) -> Page | None:
            if key == "back":
                return self._reading(done)
            self._film.reader = page.typed
            return self._number(0, done)

        return self._pad(
            "loop reader", texts.LOOP_READER_TITLE, after, keys=LETTERS, least=2, most=4,
            typed=self._film.reader,
        )  # fmt: skip

    def _number(self, place: int, done: Next) -> Page | None:
        """Ask for the three numbers that tell the camera's rate."""
        film = self._film

        def after(page: PadPage, key: str) -> Page | None:
            if key == "back":
                return self._reader(done) if place == 0 else self._number(place - 1, done)
            film.numbers[place:] = [int(page.typed)]
            return self._number(place + 1, done) if place < 2 else self._rate(done)

        typed = str(film.numbers[place]) if place < len(film.numbers) else ""
        title = texts.LOOP_NUMBERS[place]
        return self._pad(f"loop number {place}", title, after, most=MAX_SIGNS + 1, typed=typed)

    def _rate(self, done: Next) -> Page | None:
        film = self._film
        try:
            film.camera_hz = camera_rate_hz(film.counter.shown_ns, *film.numbers)
        except UsageError:
            film.numbers.clear()
            return self._words(
                "loop camera odd",
                texts.LOOP_ODD_TITLE,
                (texts.LOOP_ODD_LINE.format(count=len(film.counter.shown_ns) - 1),),
                lambda: self._number(0, done),
                back=done,
            )
        return self._words(
            "loop camera",
            texts.LOOP_CAMERA_TITLE.format(rate=texts.number_words(f"{film.camera_hz:.1f}")),
            (texts.LOOP_CAMERA_LINE,),
            lambda: self._frames("touch", 0, done),
            back=lambda: self._number(2, done),
        )

    def _frames(self, edge: Edge, place: int, done: Next) -> Page | None:
        """Ask for the frames between finger and change, one after another."""
        read = self._film.read[edge]
        n_shown = len(self._film.patches[edge].took_ns)
        if place == n_shown:
            return self._keep(edge, done)

        def after(page: PadPage, key: str) -> Page | None:
            if key == "back":
                if place:
                    return self._frames(edge, place - 1, done)
                return self._number(2, done) if edge == "touch" else self._more("touch", done)
            read[place : place + 1] = [None if key == "skip" else int(page.typed)]
            return self._frames(edge, place + 1, done)

        held = read[place] if place < len(read) else None
        return self._pad(
            f"loop {edge} frames",
            texts.LOOP_FRAMES[edge].format(number=place + 1, all=n_shown),
            after,
            most=MAX_SIGNS,
            typed="" if held is None else str(held),
            buttons=(BACK, NOT_SEEN, GO),
        )

    def _keep(self, edge: Edge, done: Next) -> Page | None:
        frames = [n for n in self._film.read[edge] if n is not None]
        try:
            check = loop_check(
                self._device,
                edge,
                frames,
                camera_hz=self._film.camera_hz,
                program_ms=self._film.patches[edge].program_ms,
                reader=self._film.reader,
                at_utc=utc_text(self._wall(), "microseconds"),
            )
        except UsageError:
            self._film.read[edge].clear()
            return self._words(
                "loop unread",
                texts.LOOP_UNREAD_TITLE,
                (texts.LOOP_UNREAD_LINE.format(count=MIN_READ),),
                lambda: self._frames(edge, 0, done),
                back=done,
            )
        self._kept(check)
        self._found.append(check)
        return self._more(edge, done)

    def _more(self, edge: Edge, done: Next) -> Page | None:
        """Say what came out; lifts follow touches."""
        said = [
            texts.LOOP_FOUND[check.edge].format(
                mean=f"{check.mean_ms:.0f}", low=f"{check.low_ms:.0f}",
                high=f"{check.high_ms:.0f}",
            )
            for check in self._found
        ]  # fmt: skip
        following = done if edge == "lift" else lambda: self._frames("lift", 0, done)
        return self._words(
            f"loop {edge} found",
            texts.LOOP_FOUND_TITLE,
            (*said, texts.LOOP_KEPT_LINE),
            following,
            back=None,
        )

    def _words(
        self,
        name: str,
        title: Text,
        lines: tuple[Text, ...],
        following: Next,
        *,
        back: Next | None,
    ) -> Page:
        return self._make.text(
            name,
            title,
            lines,
            (GO,) if back is None else (BACK, GO),
            lambda key: back() if key == "back" and back is not None else following(),
            stop=False,
        )

    def _pad(
        self,
        name: str,
        title: Text,
        after: Callable[[PadPage, str], Page | None],
        *,
        buttons: tuple[Button, ...] = (BACK, GO),
        **more: object,
    ) -> Page:
        return pad_page(name, title, buttons, after, **more)


class _Live:
    """Something that is filmed, as a page; another page follows it."""

    def __init__(self, shown: CounterPage | PatchPage, following: Next) -> None:
        self.name = shown.name
        self._shown, self._following = shown, following

    def run(self, window: Window) -> Page | None:
        self._shown.run(window)
        return self._following()


def keeper(
    store: Store, window: Window, alias: str, told: Callable[[str], None]
) -> Callable[[LoopCheck], None]:
    """Return what keeps a check in a store, for this machine as it is now."""

    def keep(check: LoopCheck) -> None:
        store.setup.put_device(Device(alias, window.screen, system_name()))
        store.setup.put_loop_check(check)
        told(f"device {alias}: {loop_words(check)}")

    return keep


def film_loop(store: Store, *, wall: Wall) -> list[str]:
    """Film and read the delay of this machine in a window; return lines to print.

    Raises
    ------
    StageError, StoreError
        No display; a home that cannot be written.
    """
    alias, known = load_device(store)
    lines: list[str] = []
    with comfortable_window(comfort_of(store), windowed=False, known=known) as window:
        make = Maker(
            large=False,
            side="right",
            stopped=lambda _: None,
            help_page=None,
            staff_page=None,
        )
        pages = LoopPages(
            make, keeper(store, window, alias, lines.append), device=alias, wall=wall
        )
        run_pages(
            window,
            pages.first(lambda: None),
            note=lambda error: note_trouble(store, error, now=wall()),
        )
    return lines or [f"device {alias}: nothing was read; nothing was stored"]
