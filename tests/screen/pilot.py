"""Pages and blocks without a display: a clock that is told, a scripted hand.

The window is the program's own on the toolkit's `dummy` driver. Only its reader and its clock
are exchanged, so nothing waits and everything that is drawn is really drawn.
"""

from __future__ import annotations

import contextlib
import heapq
import itertools
from collections.abc import Callable, Iterator, Sequence

import battery.stage  # noqa: F401  # sets the toolkit's environment
from battery.recording import Block, Screen, contacts
from battery.stage.screen.pointer import Key, Read, Report
from battery.stage.screen.window import Window

STEP_NS = 1_000_000
PAGE_STEP_NS = 16_000_000  # a page without a task looks once a frame whether anything is due
TABLETS = {  # width, height in pixels, pixels a mm: two of ten inches, one low and wide
    "1280x800": (1280, 800, 5.88),
    "1920x1200": (1920, 1200, 8.82),
    "1024x600": (1024, 600, 4.4),
}


class ManualClock:
    """Time that moves when it is told to."""

    def __init__(self) -> None:
        self.now = 1_000_000_000

    def __call__(self) -> int:
        return self.now


def tablet(name: str) -> Screen:
    """A ten-inch panel of that many pixels."""
    width_px, height_px, px_per_mm = TABLETS[name]
    return Screen(width_px, height_px, 1 / px_per_mm, 1 / px_per_mm, "ruler")


@contextlib.contextmanager
def open_window(monkeypatch, screen: Screen) -> Iterator[tuple[Window, ManualClock]]:
    """A window of that screen's size with a clock that is told."""
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    monkeypatch.setenv("SDL_AUDIODRIVER", "dummy")
    clock = ManualClock()
    size_px = (screen.width_px, screen.height_px)
    with Window(windowed=True, known={}, now_ns=clock, size_px=size_px) as window:
        window.desktop_px = size_px
        window.screen = screen
        window.scale = type(window.scale)(screen)
        yield window, clock


class Scripted:
    """A reader that gives out what a script says, each at its time."""

    def __init__(self, clock: ManualClock, script: Sequence[tuple[int, Read]] = ()) -> None:
        self.clock = clock
        self.forgotten = 0
        self._script: list[tuple[int, int, Read]] = []
        self._order = itertools.count()
        self.add(*script)

    def add(self, *rows: tuple[int, Read]) -> None:
        """Have something happen at a time."""
        for t_ns, read in rows:
            heapq.heappush(self._script, (t_ns, next(self._order), read))

    def drain(self) -> list[Read]:
        due: list[Read] = []
        while self._script and self._script[0][0] <= self.clock.now:
            due.append(heapq.heappop(self._script)[2])
        return due

    def rest(self, until_ns: int) -> None:
        following = self._script[0][0] if self._script else until_ns
        self.clock.now = max(self.clock.now + STEP_NS // 10, min(until_ns, following))

    def forget(self) -> None:
        self.forgotten += 1

    def rescale(self, scale: object) -> None:
        """Reports are in millimetres already."""


class Replayed(Scripted):
    """A reader that gives out a block's samples, from the moment it is first asked."""

    def __init__(self, clock: ManualClock, block: Block) -> None:
        super().__init__(clock)
        self._moves = contacts(block.samples)

    def forget(self) -> None:
        zero_ns = self.clock.now
        for move in self._moves:
            t_ns = zero_ns + move.t_ns
            read = Report(t_ns, 0, move.kind, move.x_mm, move.y_mm, move.pointer)
            self.add((t_ns, read))


class Pilot(Scripted):
    """A finger that presses the button somebody chooses, from what the page publishes.

    It presses again where nothing came of it: an answer under the press before is not taken
    at once.

    Parameters
    ----------
    choose : callable
        Gets the published state of a page and returns the key of a button; None waits. It is
        asked once for every new state with something to press.
    """

    on = True
    settle_ns = 400_000_000
    hold_ns = 90_000_000
    again_ns = 1_000_000_000
    n_presses = 3  # of one button at most

    def __init__(
        self, window: Window, clock: ManualClock, choose: Callable[[dict], str | None]
    ):
        super().__init__(clock)
        self._window = window
        self._choose = choose
        self.states: list[dict] = []
        self._unheard: tuple[dict, str, int, int] | None = None
        window.reader = self
        window.publisher = self  # type: ignore[assignment]

    def show(self, state: dict) -> None:
        """Take the state a page publishes and plan the press."""
        self.states.append(state)
        key = self._choose(state) if state["buttons"] and not state["running"] else None
        if key is not None:
            self.press(state, key, self.clock.now + self.settle_ns)

    def rest(self, until_ns: int) -> None:
        if self._unheard is not None and self.clock.now >= self._unheard[2]:
            state, key, _, left = self._unheard
            self._unheard = None
            if self.states[-1] is state and left:
                self._touch(state, key, self.clock.now, 1)
                self._unheard = state, key, self.clock.now + self.again_ns, left - 1
        if self.states and not self.states[-1]["running"]:
            until_ns = max(until_ns, self.clock.now + PAGE_STEP_NS)
        super().rest(until_ns)

    def press(self, state: dict, key: str, at_ns: int, pointer: int = 1) -> None:
        """Put a finger on the middle of a button and lift it again."""
        self._touch(state, key, at_ns, pointer)
        self._unheard = state, key, at_ns + self.again_ns, self.n_presses - 1

    def _touch(self, state: dict, key: str, at_ns: int, pointer: int) -> None:
        rect = next(b["rect_px"] for b in state["buttons"] if b["key"] == key)
        x_mm, y_mm = self.middle_mm(rect)
        up_ns = at_ns + self.hold_ns
        self.add(
            (at_ns, Report(at_ns, 0, "down", x_mm, y_mm, pointer)),
            (up_ns, Report(up_ns, 0, "up", x_mm, y_mm, pointer)),
        )

    def middle_mm(self, rect) -> tuple[float, float]:
        """The middle of a rectangle on the glass; it must lie on the screen."""
        left, top, width, height = rect
        screen = self._window.screen
        assert 0 <= left <= left + width <= screen.width_px, "off the screen"
        assert 0 <= top <= top + height <= screen.height_px, "off the screen"
        return self._window.scale.to_mm(left + width / 2, top + height / 2)


def any_key(at_ns: int) -> tuple[int, Read]:
    """A key pressed at that time."""
    return at_ns, Key("a")
