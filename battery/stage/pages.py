"""Pages: each draws itself, takes contacts and returns the page that follows.

Menus forgive: a button acts on release inside it, sliding off cancels, only the first finger
on a button counts, and for a moment after one press nothing else is taken.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

import pygame

from battery.errors import StageError
from battery.recording import Hand
from battery.stage import texts
from battery.stage.canvas import GAP_MM, Button, Canvas, StopArea
from battery.stage.live import FRAMES_PER_S
from battery.stage.pointer import Key, Read, Report
from battery.stage.window import Window
from tasks.contract import NS_PER_MS, NS_PER_S

DEBOUNCE_NS = 300 * NS_PER_MS
FRAME_NS = NS_PER_S // FRAMES_PER_S
MOST_PAGES = 1000
WORDS_SHARE = 0.5  # of the height, at most, above a picture
CONFIRM_KEYS = ("return", "space", "enter")


class Page(Protocol):
    """Something that is on the screen until it is done."""

    name: str

    def run(self, window: Window) -> Page | None:
        """Show it and return the page that follows; None ends the visit."""


class Picture(Protocol):
    """Something drawn in the middle of a page."""

    def begin(self, canvas: Canvas, room: pygame.Rect) -> None:
        """Draw it into its room for the first time."""

    def step(self, shown_s: float) -> list[pygame.Rect]:
        """Draw what it looks like after `shown_s` seconds; return what has changed."""


class Left(Exception):  # noqa: N818  # not an error: the person left the window
    """The window was closed on a page."""


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
    large : bool
        The large profile.
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
    _pressed: str | None = field(default=None, init=False)
    _pointer: int | None = field(default=None, init=False)

    def run(self, window: Window) -> Page | None:
        """Show the page until a button is pressed."""
        return self.after(self._answer(window))

    def _answer(self, window: Window) -> str:
        canvas = Canvas(window, large=self.large)
        stop = canvas.stop_area(self.hand)
        window.reader.forget()
        begun_ns = window.now_ns()
        room = self._draw(canvas, stop)
        areas = {"stop": stop.rect} if self.stop else {}
        waiting = True
        frame_ns = begun_ns
        while True:
            now_ns = window.now_ns()
            if waiting and now_ns - begun_ns >= self.wait_s * NS_PER_S:
                waiting = False
                areas |= self._show_buttons(canvas, room)
                self._publish(canvas, areas)
            for read in window.reader.drain():
                key = self._take(read, canvas, areas, begun_ns)
                if key is not None:
                    return key
            if self.picture is not None and now_ns >= frame_ns:
                changed = self.picture.step((now_ns - begun_ns) / NS_PER_S)
                if changed:
                    pygame.display.update(changed)
                frame_ns = max(frame_ns + FRAME_NS, now_ns)
            window.reader.rest(max(frame_ns, now_ns + FRAME_NS // 8))

    def _take(
        self, read: Read, canvas: Canvas, areas: dict[str, pygame.Rect], begun_ns: int
    ) -> str | None:
        """Return the key of what one thing that was read has pressed."""
        if read == "quit":
            raise Left
        if isinstance(read, Key):
            if canvas.window.now_ns() - begun_ns < DEBOUNCE_NS:
                return None
            main = next((b.key for b in self.buttons if b.main and b.key in areas), None)
            if self.stop:
                return "stop"
            return main if read.name in CONFIRM_KEYS else None
        if isinstance(read, Report):
            return self._press(read, canvas, areas, begun_ns)
        return None

    def _press(
        self, read: Report, canvas: Canvas, areas: dict[str, pygame.Rect], begun_ns: int
    ) -> str | None:
        """Return the key of a button whose press ended on it."""
        place_px = canvas.window.scale.to_px(read.x_mm, read.y_mm)
        under = next((key for key, rect in areas.items() if rect.collidepoint(place_px)), None)
        if read.kind == "down" and self._pointer is None and under is not None:
            if read.t_ns - begun_ns >= DEBOUNCE_NS:
                self._pointer, self._pressed = read.pointer, under
                canvas.lift(areas[under], pressed=True)
        elif read.kind == "up" and read.pointer == self._pointer and self._pressed is not None:
            pressed, self._pointer, self._pressed = self._pressed, None, None
            canvas.lift(areas[pressed], pressed=False)
            if pressed == under:
                return pressed
        return None

    def _draw(self, canvas: Canvas, stop: StopArea) -> pygame.Rect:
        """Draw everything but the buttons; return the room of the buttons."""
        canvas.clear()
        if self.stop:
            canvas.draw_stop(stop, texts.STOP)
        if self.hand is not None:
            canvas.side_bar(self.hand)
        column = canvas.column(self.hand)
        top = canvas.words((self.title,), column, cap_mm=canvas.sizes.title)
        width_px, height_px = canvas.surface.get_size()
        lowest = column.bottom if self.picture is None else round(WORDS_SHARE * height_px)
        left = pygame.Rect(column.left, top, column.width, lowest - top)
        bottom = canvas.words(self.lines, left, cap_mm=canvas.sizes.text)
        foot = pygame.Rect(0, canvas.foot_px, width_px, height_px - canvas.foot_px)
        if self.picture is not None:
            top = max(bottom, stop.rect.bottom + canvas.px(GAP_MM) if self.stop else 0)
            room = canvas.beside_button(self.buttons[0], top)
            canvas.boxes.append(("picture", room))
            self.picture.begin(canvas, room)
        if self.wait_s > 0 and self.wait_line:
            words = foot.inflate(-2 * canvas.margin_px, 0)
            canvas.words(
                (self.wait_line,), words, cap_mm=canvas.sizes.small, colour=canvas.theme.quiet
            )
        pygame.display.flip()
        if self.wait_s > 0:
            self._publish(canvas, {"stop": stop.rect} if self.stop else {})
        return foot

    def _show_buttons(self, canvas: Canvas, foot: pygame.Rect) -> dict[str, pygame.Rect]:
        if self.wait_s > 0:
            canvas.empty(foot)
            if self.hand is not None:
                canvas.side_bar(self.hand)
        rects = canvas.buttons(self.buttons)
        pygame.display.update(foot)
        return rects

    def _publish(self, canvas: Canvas, areas: dict[str, pygame.Rect]) -> None:
        words = {button.key: button.text for button in self.buttons} | {"stop": texts.STOP}
        canvas.window.publisher.show(
            {
                "page": self.name,
                "running": False,
                "buttons": [
                    {"key": key, "text": canvas.say(words[key]), "rect_px": list(rect)}
                    for key, rect in areas.items()
                ],
                "boxes": [[kind, list(rect)] for kind, rect in canvas.boxes],
                "discs": [],
                "tracks": [],
                "px_per_mm": round(canvas.window.scale.length_px(1.0), 4),
            }
        )


def run_pages(window: Window, first: Page, *, large: bool = False) -> None:
    """Show pages until one returns None or the window is closed.

    If a page fails, the person reads a calm sentence before the failure goes on to the caller.
    """
    page: Page | None = first
    shown = 0
    while page is not None and not window.closing:
        shown += 1
        if shown > MOST_PAGES:
            msg = f"more than {MOST_PAGES} pages in one visit; what was done is stored"
            raise StageError(msg)
        try:
            page = page.run(window)
        except Left:
            window.closing = True
        except Exception:
            _say_trouble(window, large=large)
            raise


def _say_trouble(window: Window, *, large: bool) -> None:
    page = TextPage(
        "trouble",
        texts.TROUBLE_TITLE,
        texts.TROUBLE_LINES,
        (Button("end", texts.CLOSE),),
        lambda _: None,
        stop=False,
        large=large,
    )
    try:
        page.run(window)
    except Left:
        window.closing = True
