"""Pages: each draws itself, takes contacts and returns the page that follows.

Menus forgive: a button acts on release inside it, sliding off cancels, only the first finger
counts, and for a moment after one press nothing else is taken.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

import pygame

from battery.errors import StageError
from battery.recording import Hand
from battery.stage.canvas import Button, Canvas, StopArea
from battery.stage.painter import FINGER
from battery.stage.pointer import Report
from battery.stage.theme import QUIET
from battery.stage.window import Window

DEBOUNCE_S = 0.3
FRAME_S = 1 / 60


class Page(Protocol):
    """Something that is on the screen until it is done."""

    name: str

    def run(self, window: Window) -> Page | None:
        """Show it and return the page that follows; None ends the visit."""


class Left(Exception):  # noqa: N818  # not an error: the person left the window
    """The window was closed on a page."""


Picture = Callable[[Canvas, pygame.Rect, float], None]  # canvas, room for it, seconds shown


@dataclass
class TextPage:
    """A title, a few lines, a picture if need be, and buttons.

    Parameters
    ----------
    after : callable
        Gets the key of the button that was pressed and returns the next page.
    hand : {"left", "right"} or None
        The hand in use: its side lights up, Stop moves away from it.
    stop : bool
        Whether Stop is shown; pressing it, or any key, gives the key "stop".
    small : bool
        Smaller letters, for a page with much text.
    wait_s : float
        The buttons come after this time; until then `wait_line` is shown.
    """

    name: str
    title: str
    lines: tuple[str, ...]
    buttons: tuple[Button, ...]
    after: Callable[[str], Page | None]
    hand: Hand | None = None
    picture: Picture | None = None
    stop: bool = True
    large: bool = False
    wait_s: float = 0.0
    wait_line: str = ""
    moving: bool = False
    small: bool = False
    _pressed: str | None = field(default=None, init=False)
    _pointer: int | None = field(default=None, init=False)

    def run(self, window: Window) -> Page | None:
        """Show the page until a button is pressed."""
        return self.after(self._answer(window))

    def _answer(self, window: Window) -> str:
        canvas = Canvas(window, large=self.large)
        stop = canvas.stop_area(self.hand)
        begun_s = time.perf_counter()
        window.reader.forget()
        rects = self._draw(canvas, stop, 0.0)
        due_s = begun_s + FRAME_S
        while True:
            for read in window.reader.drain():
                now_s = time.perf_counter() - begun_s
                if read == "quit":
                    raise Left
                if read == "key" and self.stop and now_s >= DEBOUNCE_S:
                    return "stop"
                if isinstance(read, Report) and now_s >= DEBOUNCE_S:
                    key = self._press(read, rects, stop)
                    if key is not None:
                        return key
            now_s = time.perf_counter()
            shown_s = now_s - begun_s
            waited = bool(self.wait_s) and shown_s >= self.wait_s and not rects
            if now_s >= due_s and (self.moving or waited):
                rects = self._draw(canvas, stop, shown_s)
                due_s = now_s + FRAME_S
            else:
                window.reader.nap()

    def _press(self, read: Report, rects: dict[str, pygame.Rect], stop: StopArea) -> str | None:
        """Return the key of a button whose press ended on it."""
        place_px = stop.window.scale.to_px(read.x_mm, read.y_mm)
        areas = {**rects, **({"stop": stop.rect} if self.stop else {})}
        under = next((key for key, rect in areas.items() if rect.collidepoint(place_px)), None)
        if read.kind == "down" and self._pointer is None:
            self._pointer, self._pressed = read.pointer, under
        elif read.kind == "up" and read.pointer == self._pointer:
            pressed, self._pointer, self._pressed = self._pressed, None, None
            if pressed is not None and pressed == under:
                return pressed
        return None

    def _draw(self, canvas: Canvas, stop: StopArea, shown_s: float) -> dict[str, pygame.Rect]:
        canvas.clear()
        width_px, height_px = canvas.surface.get_size()
        left = canvas.margin_px
        if self.stop:
            canvas.draw_stop(stop)
            if stop.rect.left == 0:
                left = stop.rect.right + canvas.px(4.0)
        if self.hand is not None:
            canvas.side_bar(self.hand)
        room = width_px - left - canvas.margin_px
        if self.stop and stop.rect.left > 0:
            room = stop.rect.left - left - canvas.px(4.0)
        top = canvas.text(
            (self.title,),
            top_px=canvas.margin_px,
            cap_mm=1.35 * canvas.text_mm,
            left_px=left,
            width_px=room,
        )
        top = max(top, stop.rect.bottom + canvas.px(3.0) if self.stop else top)
        ready = shown_s >= self.wait_s
        foot = height_px - canvas.margin_px - canvas.px(canvas.button_mm)
        cap_mm = canvas.small_mm if self.small else canvas.text_mm
        top = canvas.text(self.lines, top_px=top, cap_mm=cap_mm)
        if self.picture is not None:
            between = canvas.px(3.0)
            self.picture(
                canvas,
                pygame.Rect(0, top + between, width_px, max(foot - top - 2 * between, 40)),
                shown_s,
            )
        rects = canvas.buttons(self.buttons) if ready else {}
        if not ready and self.wait_line:
            canvas.text((self.wait_line,), top_px=foot, cap_mm=canvas.small_mm, colour=QUIET)
        pygame.display.flip()
        self._publish(canvas, rects, stop)
        return rects

    def _publish(self, canvas: Canvas, rects: dict[str, pygame.Rect], stop: StopArea) -> None:
        buttons = [
            {"key": b.key, "text": b.text, "rect_px": list(rects[b.key])}
            for b in self.buttons
            if b.key in rects
        ]
        if self.stop:
            buttons.append(stop.as_button())
        canvas.window.publisher.show(
            {"page": self.name, "running": False, "buttons": buttons, "discs": [], "tracks": []}
        )


def hand_picture(hand: Hand, word: str) -> Picture:
    """Return a picture of a hand with its name, on its own side of the page."""

    def draw(canvas: Canvas, room: pygame.Rect, shown_s: float) -> None:
        del shown_s
        height_mm = room.height / canvas.window.scale.length_px(1.0)
        share = 0.3 if hand == "left" else 0.7
        centre = (round(room.width * share), room.centery)
        where = canvas.hand(hand, centre, min(height_mm, 90.0))
        font = canvas.font(1.2 * canvas.text_mm)
        label = font.render(word, True, FINGER)
        beside = where.right + canvas.px(6) if hand == "left" else where.left - canvas.px(6)
        place = label.get_rect(midleft=(beside, room.centery))
        if hand == "right":
            place = label.get_rect(midright=(beside, room.centery))
        canvas.surface.blit(label, place)

    return draw


def run_pages(window: Window, first: Page) -> None:
    """Show pages until one returns None or the window is closed."""
    page: Page | None = first
    shown = 0
    while page is not None:
        shown += 1
        if shown > 1000:
            msg = "more than 1000 pages in one visit; what was done is stored"
            raise StageError(msg)
        try:
            page = page.run(window)
        except Left:
            return
