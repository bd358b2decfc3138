"""Reading the pointer: every report stamped at once, with the bound on its error.

Events of this toolkit carry no time. The queue is therefore emptied many times between two
frames and every event is stamped the moment it is taken out. An event that was not there when
the queue was last pumped arrived after that pump began: the time since then bounds the error
of its stamp. Painting blocks reading, so its time shows in that bound, and a stalled program
shows there and nowhere else, as nothing is lost by it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

import pygame

from battery.stage.screen.event_wait import Waiter, find_library
from battery.stage.screen.scale import Scale
from tasks.contract import ContactKind

Other = Literal["quit", "hidden", "uncovered", "emptied"]

MOUSE = (pygame.MOUSEMOTION, pygame.MOUSEBUTTONDOWN, pygame.MOUSEBUTTONUP)
FINGER = (pygame.FINGERDOWN, pygame.FINGERMOTION, pygame.FINGERUP)
HIDDEN = (pygame.WINDOWFOCUSLOST, pygame.WINDOWMINIMIZED, pygame.WINDOWHIDDEN)
UNCOVERED = (
    pygame.WINDOWEXPOSED,
    pygame.WINDOWRESTORED,
    pygame.WINDOWSHOWN,
    pygame.WINDOWFOCUSGAINED,
    pygame.WINDOWDISPLAYCHANGED,
)
# The toolkit throws the picture away whenever the window gets a size, also the one it had, as
# when it comes back from being an icon.
EMPTIED = (pygame.WINDOWSIZECHANGED,)
READ = (*MOUSE, *FINGER, *HIDDEN, *UNCOVERED, *EMPTIED, pygame.KEYDOWN, pygame.QUIT)
# Beside letters and digits the only keys that mean anything. Volume, power, brightness, media
# and function keys and those that are held with another (Shift, Control ...) mean nothing.
NAMED_KEYS = frozenset({
    "escape", "space", "return", "enter", "tab", "backspace", "delete",
    "left", "right", "up", "down",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Report:
    """One pointer report in millimetres.

    Parameters
    ----------
    t_ns : int
        When it was read, on the monotonic clock.
    gap_ns : int
        It arrived in ``(t_ns - gap_ns, t_ns]``.
    kind : {"hover", "down", "move", "up"}
    x_mm, y_mm : float
    pointer : int
        0 for mouse and pen; 1, 2, ... for fingers in the order in which they came.
    """

    t_ns: int
    gap_ns: int
    kind: ContactKind
    x_mm: float
    y_mm: float
    pointer: int


@dataclass(frozen=True, slots=True)
class Key:
    """A key was pressed."""

    name: str


Read = Report | Key | Other


class Reads(Protocol):
    """What pages and blocks ask of a reader; tests bring one of their own."""

    def drain(self) -> Sequence[Read]:
        """Return what has arrived since the last call, in order."""

    def rest(self, until_ns: int) -> None:
        """Let other programs run for a moment, at the longest until `until_ns`."""

    def forget(self) -> None:
        """Throw away what is queued, except that the window is to be closed."""

    def rescale(self, scale: Scale) -> None:
        """Give places at this scale from now on."""


@dataclass
class Reader:
    """Turns the toolkit's events into one stream of reports: mouse, pen and touch alike."""

    scale: Scale
    now_ns: Callable[[], int] = time.perf_counter_ns
    waiter: Waiter = field(default_factory=lambda: Waiter(find_library()))
    _empty_ns: int = field(default_factory=time.perf_counter_ns)
    _pressed: bool = False
    _fingers: dict[tuple[int, int], int] = field(default_factory=dict)
    _last_finger: int = 0
    _pending: list[Read] = field(default_factory=list)
    _arrow: bool = True

    def drain(self) -> Sequence[Read]:
        """Return what has arrived since the last call, in order, each stamped at once."""
        now_ns = self.now_ns
        pumped_ns = now_ns()
        stamped = [(event, now_ns()) for event in pygame.event.get()]
        reads: list[Read] = []
        if self._pending:
            reads, self._pending = self._pending, []
        for event, t_ns in stamped:
            read = self._read(event, t_ns)
            if read is not None:
                reads.append(read)
        self._empty_ns = pumped_ns
        return reads

    def rest(self, until_ns: int) -> None:
        """Let other programs run for a moment, at the longest until `until_ns`."""
        self.waiter.rest(until_ns - self.now_ns())

    def forget(self) -> None:
        """Throw away what is queued, except that the window is to be closed.

        Pointers that are pressed stay pressed. When no finger is on the glass, the next
        one is number 1 again.
        """
        self._pending = [read for read in self.drain() if read == "quit"]
        if not self._fingers:
            self._last_finger = 0

    def rescale(self, scale: Scale) -> None:
        """Give places at this scale from now on."""
        self.scale = scale

    def _read(self, event: pygame.event.Event, t_ns: int) -> Read | None:
        kind = event.type
        if kind in FINGER:
            return self._finger(event, t_ns)
        if kind in MOUSE:
            return self._mouse(event, t_ns)
        if kind == pygame.KEYDOWN:
            return _key(pygame.key.name(event.key))
        if kind == pygame.QUIT:
            return "quit"
        if kind in UNCOVERED:
            return "uncovered"
        if kind in EMPTIED:
            return "emptied"
        return "hidden" if kind in HIDDEN else None

    def _mouse(self, event: pygame.event.Event, t_ns: int) -> Report | None:
        if event.touch:  # a finger's shadow; the finger itself is read
            return None
        if event.type == pygame.MOUSEMOTION:
            kind: ContactKind = "move" if self._pressed else "hover"
        elif event.button != pygame.BUTTON_LEFT:
            return None
        else:
            self._pressed = event.type == pygame.MOUSEBUTTONDOWN
            kind = "down" if self._pressed else "up"
        self._show_arrow(True)
        x_mm, y_mm = self.scale.pixel_to_mm(*event.pos)
        return Report(t_ns, t_ns - self._empty_ns, kind, x_mm, y_mm, 0)

    def _show_arrow(self, wanted: bool) -> None:
        """Show the mouse's arrow while a mouse is used, and hide it from fingers."""
        if wanted != self._arrow:
            self._arrow = wanted
            pygame.mouse.set_visible(wanted)

    def _finger(self, event: pygame.event.Event, t_ns: int) -> Report:
        """Read a finger. What the toolkit calls its pressure is not one and is left out."""
        key = (event.touch_id, event.finger_id)
        if key not in self._fingers:
            self._last_finger += 1
            self._fingers[key] = self._last_finger
        number = self._fingers[key]
        kind: ContactKind = "move"
        if event.type == pygame.FINGERDOWN:
            kind = "down"
        elif event.type == pygame.FINGERUP:
            kind = "up"
            del self._fingers[key]
        self._show_arrow(False)
        screen = self.scale.screen
        x_mm, y_mm = self.scale.pixel_to_mm(
            event.x * (screen.width_px - 1), event.y * (screen.height_px - 1)
        )
        return Report(t_ns, t_ns - self._empty_ns, kind, x_mm, y_mm, number)


def _key(name: str) -> Key | None:
    """Read a key; None for one that means nothing to a page or a block."""
    meant = name in NAMED_KEYS or (len(name) == 1 and name.isalnum())
    return Key(name) if meant else None
