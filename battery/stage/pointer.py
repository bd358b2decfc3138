"""Reading the pointer: every report stamped at once, with the bound on its error.

Events of this toolkit carry no time. The queue is therefore emptied many times between two
frames, each event is stamped the moment it is taken out, and the moment at which the queue was
last seen empty is kept: the report arrived in between. Painting blocks reading, so its time
shows in that bound.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

import pygame

from battery.stage.scale import Scale
from tasks.contract import ContactKind

Other = Literal["key", "quit", "hidden"]
NAP_S = 0.0003  # between two looks at the queue; longer costs accuracy, shorter costs power

READ = (
    pygame.MOUSEMOTION,
    pygame.MOUSEBUTTONDOWN,
    pygame.MOUSEBUTTONUP,
    pygame.FINGERDOWN,
    pygame.FINGERMOTION,
    pygame.FINGERUP,
    pygame.KEYDOWN,
    pygame.QUIT,
    pygame.WINDOWFOCUSLOST,
    pygame.WINDOWMINIMIZED,
    pygame.WINDOWHIDDEN,
)


@dataclass(frozen=True, slots=True)
class Report:
    """One pointer report in millimetres; `t_ns` on the monotonic clock."""

    t_ns: int
    gap_ns: int
    kind: ContactKind
    x_mm: float
    y_mm: float
    pointer: int


@dataclass
class Reader:
    """Turns the toolkit's events into one stream of reports: mouse, pen and touch alike."""

    scale: Scale
    _empty_ns: int = field(default_factory=time.perf_counter_ns)
    _pressed: bool = False
    _fingers: dict[tuple[int, int], int] = field(default_factory=dict)
    _next_finger: int = 1

    def drain(self) -> Iterator[Report | Other]:
        """Yield what has arrived, in order, until the queue is empty."""
        while True:
            looked_ns = time.perf_counter_ns()
            event = pygame.event.poll()
            now_ns = time.perf_counter_ns()
            if event.type == pygame.NOEVENT:
                self._empty_ns = looked_ns
                return
            read = self._read(event, now_ns)
            if read is not None:
                yield read

    def nap(self) -> None:
        """Let other programs run for a moment."""
        time.sleep(NAP_S)

    def forget(self) -> None:
        """Start afresh: throw away what is queued and let go of every pointer."""
        pygame.event.clear()
        self._pressed = False
        self._fingers.clear()
        self._next_finger = 1
        self._empty_ns = time.perf_counter_ns()

    def _read(self, event: pygame.event.Event, now_ns: int) -> Report | Other | None:
        kind = event.type
        if kind in (pygame.FINGERDOWN, pygame.FINGERMOTION, pygame.FINGERUP):
            return self._finger(event, now_ns)
        if kind in (pygame.MOUSEMOTION, pygame.MOUSEBUTTONDOWN, pygame.MOUSEBUTTONUP):
            return self._mouse(event, now_ns)
        if kind == pygame.KEYDOWN:
            return "key"
        if kind == pygame.QUIT:
            return "quit"
        if kind in (pygame.WINDOWFOCUSLOST, pygame.WINDOWMINIMIZED, pygame.WINDOWHIDDEN):
            return "hidden"
        return None

    def _mouse(self, event: pygame.event.Event, now_ns: int) -> Report | None:
        if getattr(event, "touch", False):  # a finger's shadow; the finger itself is read
            return None
        if event.type == pygame.MOUSEMOTION:
            kind: ContactKind = "move" if self._pressed else "hover"
        elif event.button != 1:
            return None
        else:
            self._pressed = event.type == pygame.MOUSEBUTTONDOWN
            kind = "down" if self._pressed else "up"
        x_mm, y_mm = self.scale.to_mm(*event.pos)
        return Report(now_ns, now_ns - self._empty_ns, kind, x_mm, y_mm, 0)

    def _finger(self, event: pygame.event.Event, now_ns: int) -> Report:
        key = (event.touch_id, event.finger_id)
        if event.type == pygame.FINGERDOWN:
            self._fingers[key] = self._next_finger
            self._next_finger += 1
        number = self._fingers.get(key, 0) or self._late(key)
        kind: ContactKind = "move"
        if event.type == pygame.FINGERDOWN:
            kind = "down"
        elif event.type == pygame.FINGERUP:
            kind = "up"
            del self._fingers[key]
        screen = self.scale.screen
        x_mm, y_mm = self.scale.to_mm(
            event.x * (screen.width_px - 1), event.y * (screen.height_px - 1)
        )
        return Report(now_ns, now_ns - self._empty_ns, kind, x_mm, y_mm, number)

    def _late(self, key: tuple[int, int]) -> int:
        """Give a number to a finger that was down before reading began."""
        self._fingers[key] = self._next_finger
        self._next_finger += 1
        return self._fingers[key]
