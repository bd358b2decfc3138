"""Taking presses and keys on a page.

Menus forgive: a button acts on release inside it, sliding off cancels, and only the first
finger on a button counts; a second one anywhere but on Stop or Help undoes the press. After a
press, or one that slid off, nothing is taken until no finger has come or gone for a moment, so
that what a shaking finger does next presses nothing; an answer that lies where the page before
was pressed is not taken in its first second, nor one just after a contact that met nothing:
it may be a palm beside a finger that missed. Stop and Help are always taken, and nothing is
ever held. Tab and the arrows move from control to control and Return or the space
bar presses; any other key is Stop.
"""

from __future__ import annotations

from collections.abc import Collection

import pygame

from battery.stage.drawing.canvas import Canvas
from battery.stage.screen.pointer import Key, Report
from tasks.contract import NS_PER_MS

DEBOUNCE_NS = 300 * NS_PER_MS
ANSWER_NS = 1_000 * NS_PER_MS  # an answer under the last press is not taken sooner
CONFIRM_KEYS = ("return", "space", "enter")
FORWARD_KEYS = ("tab", "right", "down")
BACKWARD_KEYS = ("left", "up")
ALWAYS = ("stop", "help")
CORNER_MM = 15.0
CORNERS_IN_ORDER = ("left", "right", "left")  # lower corners, tapped by staff
CORNERS_WITHIN_NS = 5_000 * NS_PER_MS


class Presses:
    """The controls of a page and what was pressed of them.

    Parameters
    ----------
    canvas : Canvas
    stop : bool
        Whether a key that moves nothing is Stop; otherwise a confirming key presses `main`.
    main : str or None
        The control that leads on.
    answers : collection of str
        The controls that answer something, in contrast to those that only lead on.

    Attributes
    ----------
    areas : dict of str to Rect
        The controls, in the order in which keys come to them.
    """

    def __init__(
        self,
        canvas: Canvas,
        *,
        stop: bool,
        main: str | None,
        answers: Collection[str] = (),
    ) -> None:
        self.areas: dict[str, pygame.Rect] = {}
        self._canvas = canvas
        self._stop = stop
        self._main = main
        self._answers = frozenset(answers)
        self._guarded = canvas.window.last_press
        self._begun_ns = canvas.window.now_ns()
        self._quiet_until_ns = self._begun_ns + DEBOUNCE_NS
        self._passed_over: set[int] = set()
        self._pressed: str | None = None
        self._pointer: int | None = None
        self._focus: str | None = None
        self._missed_ns = self._begun_ns - DEBOUNCE_NS  # a contact that met nothing
        self._corners: list[tuple[int, str]] = []

    def again(self) -> None:
        """After a press that left the page where it is: nothing is taken for a moment."""
        self._quiet_until_ns = self._canvas.window.now_ns() + DEBOUNCE_NS
        if self._focus in self.areas:
            self._canvas.lift(self.areas[self._focus], pressed=True)

    @property
    def busy(self) -> bool:
        """Whether a finger is on a control."""
        return self._pointer is not None

    def take(self, read: Report | Key) -> str | None:
        """Return the key of a control that was pressed, "stop", "staff", or None."""
        return self._key(read) if isinstance(read, Key) else self._report(read)

    def _key(self, key: Key) -> str | None:
        if self._canvas.window.now_ns() < self._quiet_until_ns:
            return None
        if key.name in FORWARD_KEYS or key.name in BACKWARD_KEYS:
            self._move(-1 if key.name in BACKWARD_KEYS else 1)
            return None
        if key.name in CONFIRM_KEYS and self._focus in self.areas:
            return self._focus
        if self._stop:
            return "stop"
        return self._main if key.name in CONFIRM_KEYS and self._main in self.areas else None

    def _move(self, step: int) -> None:
        """Go to the next control; its outline lights up."""
        keys = [*(key for key in self.areas if key not in ("stop", "help")), "help", "stop"]
        keys = [key for key in keys if key in self.areas]
        if not keys:
            return
        if self._focus in self.areas:
            self._canvas.lift(self.areas[self._focus], pressed=False)
            at = keys.index(self._focus) + step
        else:
            at = 0 if step > 0 else -1
        self._focus = keys[at % len(keys)]
        self._canvas.lift(self.areas[self._focus], pressed=True)

    def _report(self, read: Report) -> str | None:
        place_px = self._canvas.window.scale.to_px(read.x_mm, read.y_mm)
        under = next(
            (key for key, rect in self.areas.items() if rect.collidepoint(place_px)), None
        )
        if read.kind == "down" and under is None and self._corner(read, place_px):
            return "staff"
        if read.kind == "down":
            self._down(read, under)
        elif read.kind == "up":
            return self._up(read, under)
        return None

    def _down(self, read: Report, under: str | None) -> None:
        """Begin a press, or pass over a contact that comes too soon or as a second one."""
        quiet = read.t_ns < self._quiet_until_ns or self._is_too_soon(read, under)
        if quiet and not (under in ALWAYS and read.t_ns >= self._begun_ns + DEBOUNCE_NS):
            self._passed_over.add(read.pointer)
            self._hush(read.t_ns)
            self._doubt(under)
        elif self._pointer is not None:
            self._passed_over.add(read.pointer)
            self._doubt(under)
        elif under is not None:
            self._pointer, self._pressed = read.pointer, under
            self._canvas.lift(self.areas[under], pressed=True)
        else:
            self._missed_ns = read.t_ns

    def _doubt(self, under: str | None) -> None:
        """Undo a press that a second contact met: a palm may rest on the control.

        The finger may have missed its own, or come too soon to be taken.
        """
        if under is not None or self._pressed not in ALWAYS:
            self._let_go()

    def _is_too_soon(self, read: Report, under: str | None) -> bool:
        """Whether an answer may not be meant.

        It may be the second of two taps that meant the page before, or a palm beside a finger
        that has just missed.
        """
        if under not in self._answers:
            return False
        if read.t_ns < self._missed_ns + DEBOUNCE_NS:
            return True
        if self._guarded is None:
            return False
        soon = read.t_ns < self._begun_ns + ANSWER_NS
        return soon and self._guarded.colliderect(self.areas[under])

    def _up(self, read: Report, under: str | None) -> str | None:
        """End a press; it counts if it ends where it began."""
        if read.pointer in self._passed_over:
            self._passed_over.discard(read.pointer)
            self._hush(read.t_ns)
        if read.pointer != self._pointer:
            self._missed_ns = read.t_ns
            return None
        pressed = self._pressed
        self._let_go()
        self._pointer = None
        if pressed is not None and pressed == under:
            self._canvas.window.last_press = self.areas[pressed].copy()
            return pressed
        self._hush(read.t_ns)
        return None

    def _let_go(self) -> None:
        """Forget what is pressed; its finger may still be down."""
        if self._pressed is not None and self._pressed in self.areas:
            self._canvas.lift(self.areas[self._pressed], pressed=False)
        self._pressed = None

    def _hush(self, t_ns: int) -> None:
        """Take nothing until the finger has been still for a moment."""
        self._quiet_until_ns = max(self._quiet_until_ns, t_ns + DEBOUNCE_NS)

    def _corner(self, read: Report, place_px: tuple[float, float]) -> bool:
        """Whether the lower corners were tapped left, right, left within five seconds."""
        width_px, height_px = self._canvas.surface.get_size()
        size = self._canvas.px(CORNER_MM)
        if place_px[1] < height_px - size:
            return False
        if place_px[0] < size:
            self._corners.append((read.t_ns, "left"))
        elif place_px[0] >= width_px - size:
            self._corners.append((read.t_ns, "right"))
        else:
            return False
        self._corners = self._corners[-len(CORNERS_IN_ORDER) :]
        in_order = tuple(corner for _, corner in self._corners) == CORNERS_IN_ORDER
        return in_order and read.t_ns - self._corners[0][0] <= CORNERS_WITHIN_NS
