"""Signs typed on the glass: a number, a code or initials, for staff without a keyboard."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Any

import pygame

from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.language.languages import Said, Text
from battery.stage.pages.page import Page, TextPage
from battery.stage.pages.presses import Presses

DIGITS = "0123456789"
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
DELETE = "delete"
LEAST_MM, MOST_MM = 12.0, 22.0
PAD_GAP_MM = 3.0
SHOWN_MM = 12.0  # height of what was typed
TOP_MM = 22.0  # staff pages have no corners, so keys begin higher
NOT_YET = "·"


@dataclass
class PadPage(TextPage):
    """Keys to type with and what was typed; the way on comes when it is long enough.

    Parameters
    ----------
    keys : str
        Signs to choose from.
    least, most : int
        How many are typed; the pad takes no more.
    allowed : callable
        Whether one may go on with what was typed.
    typed : str
        What stands there at first.
    """

    keys: str = DIGITS
    least: int = 1
    most: int = 4
    allowed: Callable[[str], bool] = bool
    typed: str = ""

    def content(self, canvas: Canvas, presses: Presses) -> None:
        """Draw what was typed, and the keys."""
        self._show(canvas)
        words = [(sign, Said(sign)) for sign in self.keys] + [(DELETE, texts.DELETE)]
        for (key, word), rect in zip(words, self._places(canvas, len(words)), strict=True):
            self._put(canvas, presses, Button(key, word, main=False), rect)

    def foot(self, canvas: Canvas, presses: Presses) -> None:
        """Draw the row of buttons, the way on only when there is enough."""
        for button in map(self._mirrored, self.buttons):
            if button.key != "go" or self._enough:
                rect = canvas.button_rect(button, max(len(self.buttons), 2))
                self._put(canvas, presses, button, rect)

    def lowest_px(self, canvas: Canvas, lowest_px: int) -> int:
        """No words stand between title and keys."""
        del lowest_px
        return self._room(canvas).top

    def pressed(self, key: str, canvas: Canvas, presses: Presses) -> str | None:
        """Take a sign or take the last one away."""
        if key != DELETE and (len(key) != 1 or key not in self.keys):
            return key
        had = self._enough
        self.typed = self.typed[:-1] if key == DELETE else (self.typed + key)[: self.most]
        self._show(canvas)
        if had != self._enough:
            foot = pygame.Rect(0, canvas.foot_px, *canvas.surface.get_size())
            canvas.empty(foot)
            for button in self.buttons:
                presses.areas.pop(button.key, None)
            self.foot(canvas, presses)
        pygame.display.flip()
        return None

    @property
    def _enough(self) -> bool:
        return len(self.typed) >= self.least and self.allowed(self.typed)

    def _show(self, canvas: Canvas) -> None:
        room = self._line(canvas)
        canvas.empty(room)
        shown = self.typed + NOT_YET * max(self.least - len(self.typed), 0)
        canvas.caption(Said(" ".join(shown)), room)

    def _line(self, canvas: Canvas) -> pygame.Rect:
        body = canvas.body
        top, tall = canvas.px(TOP_MM), canvas.px(SHOWN_MM)
        if not canvas.window.sound.speaks:
            return pygame.Rect(body.left, top, body.width, tall)
        head = canvas.beside_say(self.used)
        return pygame.Rect(head.left, top, head.width, tall)

    def _head(self, canvas: Canvas) -> pygame.Rect:
        head = super()._head(canvas)
        head.height = canvas.px(TOP_MM) - head.top
        return head

    def _room(self, canvas: Canvas) -> pygame.Rect:
        """Return where the keys stand."""
        top = canvas.px(TOP_MM + SHOWN_MM + PAD_GAP_MM)
        body = canvas.body
        return pygame.Rect(body.left, top, body.width, max(body.bottom - top, 1))

    def _places(self, canvas: Canvas, n_keys: int) -> list[pygame.Rect]:
        """Return places in as many columns as make the keys largest."""
        room, gap = self._room(canvas), canvas.px(PAD_GAP_MM)

        def side(columns: int) -> float:
            rows = -(-n_keys // columns)
            return min((room.width + gap) / columns - gap, (room.height + gap) / rows - gap)

        columns = max(range(1, n_keys + 1), key=side)
        wide = min((room.width + gap) // columns - gap, canvas.px(2 * MOST_MM))
        rows = -(-n_keys // columns)
        tall = min((room.height + gap) // rows - gap, canvas.px(MOST_MM))
        whole = columns * (wide + gap) - gap
        left = room.left + (room.width - whole) // 2
        return [
            pygame.Rect(left + c * (wide + gap), room.top + r * (tall + gap), wide, tall)
            for r, c in itertools.islice(itertools.product(range(rows), range(columns)), n_keys)
        ]


def code_allowed(codes: Collection[str]) -> Callable[[str], bool]:
    """Return what tells whether a typed code is one of these."""
    return lambda typed: typed in codes


def pad_page(
    name: str,
    title: Text,
    buttons: tuple[Button, ...],
    after: Callable[[PadPage, str], Page | None],
    **more: Any,
) -> PadPage:
    """Make a pad whose `after` gets the page itself and the key that left it."""
    page = PadPage(name, title, (), buttons, lambda key: after(page, key), stop=False, **more)
    return page
