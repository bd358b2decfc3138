"""Measuring the screen: a field of light is made as large as a bank card that lies on it.

The card covers the field; as long as light is seen beside it, the field is too large. A bank
card is 85.60 mm wide and 53.98 mm high (ISO/IEC 7810, ID-1).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import pygame

from battery.recording import Screen
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.places import GAP_MM, TEXT_EDGE_MM, Button
from battery.stage.language import texts
from battery.stage.language.languages import Text
from battery.stage.pages.page import Page, TextPage
from battery.stage.pages.presses import Presses
from battery.stage.screen.scale import MAX_RATIO, MIN_RATIO
from battery.stage.screen.window import Window

CARD_MM = (85.60, 53.98)  # ISO/IEC 7810:2019, ID-1, nominal
ASSUMED_DIAGONAL_MM = 256.5  # of a ten-inch tablet, while nothing is known
FIRST_STEP_PX = 32
MIN_PRESSES = 3
SAME_WAY = 4  # presses one way after which the step doubles again
KEY_MM = 30.0
Axis = Literal["width", "height"]
AXES: tuple[Axis, Axis] = ("width", "height")


@dataclass
class Fit:
    """A length that is changed by presses: half the step after every turn.

    Parameters
    ----------
    px : int
        The length.
    least, most : int
        Its limits.

    Attributes
    ----------
    tried : bool
        Whether it was changed so much that it may be said to fit: once the other way, or by
        several presses one way.
    """

    px: int
    least: int
    most: int
    step: int = FIRST_STEP_PX
    tried: bool = False
    _way: int = 0
    _run: int = 0
    _presses: int = 0

    def press(self, way: Literal[-1, 1]) -> None:
        """Make it longer (1) or shorter (-1)."""
        if self._way and way != self._way:
            self.step, self._run = max(self.step // 2, 1), 0
        else:
            self._run += 1
            if self._run >= SAME_WAY:
                self.step, self._run = min(self.step * 2, FIRST_STEP_PX), 0
        self._presses += 1
        self.tried = self.tried or self._presses >= MIN_PRESSES or way == -self._way
        self._way = way
        self.px = min(max(self.px + way * self.step, self.least), self.most)


@dataclass
class CardPage(TextPage):
    """The field with one of its sides to be fitted, and two large buttons beside it.

    The button that says it fits comes when the field was changed: who only presses on must not
    leave a scale behind that nobody has seen.
    """

    axis: Axis = "width"
    card: Card | None = None

    def content(self, canvas: Canvas, presses: Presses) -> None:
        """Draw the field and the two buttons."""
        minus, plus = self._column(canvas, canvas.body.top, canvas.px(KEY_MM))
        self.step_buttons(canvas, presses, minus, plus)
        if self.card is not None:
            self.card.limit(self._room(canvas))
            self._show(canvas)

    def foot(self, canvas: Canvas, presses: Presses) -> None:
        """Draw the two buttons below, in the same column."""
        places = self._column(canvas, canvas.foot_px, canvas.px(canvas.sizes.button))
        for button, rect in zip(self.buttons, places, strict=True):
            if button.key != "go" or (self.card and self.card.sides[self.axis].tried):
                self._put(canvas, presses, button, rect)

    def pressed(self, key: str, canvas: Canvas, presses: Presses) -> str | None:
        """Change the field."""
        if key not in ("minus", "plus") or self.card is None:
            return key
        self.card.sides[self.axis].press(1 if key == "plus" else -1)
        self._show(canvas)
        self.foot(canvas, presses)
        pygame.display.flip()
        return None

    def _show(self, canvas: Canvas) -> None:
        room = self._room(canvas)
        canvas.empty(room)
        if self.card is not None:
            size = (self.card.sides["width"].px, self.card.sides["height"].px)
            place = pygame.Rect(room.topleft, size)
            pygame.draw.rect(canvas.surface, canvas.theme.main, place)
            canvas.boxes.append(("field", place))

    def _room(self, canvas: Canvas) -> pygame.Rect:
        """Return how far the field may grow: to the column of buttons and the lower edge."""
        body = canvas.body
        right = self._column(canvas, 0, 1)[0].left - canvas.px(GAP_MM)
        low = canvas.surface.get_height() - canvas.px(TEXT_EDGE_MM)
        return pygame.Rect(body.left, body.top, right - body.left, low - body.top)

    @staticmethod
    def _column(canvas: Canvas, top: int, tall: int) -> tuple[pygame.Rect, pygame.Rect]:
        """Return two places side by side at the right edge."""
        wide, gap = canvas.px(KEY_MM), canvas.px(GAP_MM)
        right = pygame.Rect(canvas.body.right - wide, top, wide, tall)
        return right.move(-wide - gap, 0), right


@dataclass
class Card:
    """The field while it is fitted.

    Parameters
    ----------
    desktop_px : (width, height)
        Size of the whole screen.
    """

    desktop_px: tuple[int, int]
    sides: dict[Axis, Fit] = field(init=False)

    def __post_init__(self) -> None:
        px_per_mm = 1 / assumed_mm_per_px(self.desktop_px)
        self.sides = {
            axis: Fit(round(mm * px_per_mm), round(mm), round(mm * px_per_mm * 3))
            for axis, mm in zip(AXES, CARD_MM, strict=True)
        }

    def limit(self, room: pygame.Rect) -> None:
        """Let the field grow no further than its room."""
        for axis, most in zip(AXES, room.size, strict=True):
            self.sides[axis].most = min(self.sides[axis].most, most)

    def screen(self) -> Screen:
        """Return the screen as measured."""
        x, y = (mm / self.sides[axis].px for axis, mm in zip(AXES, CARD_MM, strict=True))
        return Screen(*self.desktop_px, x, y, "card")

    @property
    def fits(self) -> bool:
        """Whether the pixels come out about square, as those of every panel are."""
        screen = self.screen()
        return MIN_RATIO <= screen.mm_per_px_x / screen.mm_per_px_y <= MAX_RATIO


def assumed_mm_per_px(desktop_px: tuple[int, int]) -> float:
    """Scale of a ten-inch tablet of that many pixels: what is drawn with until it is known."""
    return ASSUMED_DIAGONAL_MM / math.hypot(*desktop_px)


class CardPages:
    """Two pages that measure the screen of a window.

    Parameters
    ----------
    window : Window
        Drawn on at an assumed scale until the last page.
    changed : bool
        Whether another screen was measured on this machine before.
    found : callable
        Gets the measured screen.
    after : callable
        Returns the page that follows, measured or not.
    shared : mapping
        What pages of a visit share: sides, help.
    stopped : callable, optional
        Gets a page to come back to and returns the one after Stop; without it there is none.
    """

    def __init__(
        self,
        window: Window,
        *,
        changed: bool,
        found: Callable[[Screen], None],
        after: Callable[[], Page | None],
        shared: Mapping[str, Any] | None = None,
        stopped: Callable[[Page], Page | None] | None = None,
        large: bool = False,
    ) -> None:
        self._shared = shared or {}
        self._stopped = stopped
        self._window = window
        self._changed = changed
        self._found = found
        self._after = after
        self._large = large
        self._card = Card(window.desktop_px)
        self._before = window.screen

    def first(self) -> Page:
        """Return the first page."""
        size_px = self._window.surface.get_size()
        mm_per_px = assumed_mm_per_px(self._window.desktop_px)
        self._window.use(Screen(*size_px, mm_per_px, mm_per_px, "guess"))
        title = texts.CARD_CHANGED if self._changed else texts.CARD_WIDTH
        return self._page("width", title, self._high)

    def _high(self) -> Page | None:
        return self._page("height", texts.CARD_HEIGHT, self._done)

    def _done(self) -> Page | None:
        desktop_px = self._window.desktop_px
        if not self._card.fits or self._card.desktop_px != desktop_px:
            self._card = Card(desktop_px)
            return self._page("width", texts.CARD_AGAIN, self._high)
        screen = self._card.screen()
        size_px = self._window.surface.get_size()
        self._window.use(Screen(*size_px, screen.mm_per_px_x, screen.mm_per_px_y, "card"))
        self._found(screen)
        return self._after()

    def _left_out(self) -> Page | None:
        self._window.use(self._before)
        return self._after()

    def _page(self, axis: Axis, title: Text, forward: Callable[[], Page | None]) -> CardPage:
        def after(key: str) -> Page | None:
            if key == "stop" and self._stopped is not None:
                return self._stopped(page)
            return forward() if key == "go" else self._left_out()

        page = CardPage(
            f"card {axis}",
            title,
            (),
            (Button("skip", texts.NO_CARD, main=False), Button("go", texts.FITS)),
            after,
            **{"large": self._large, **self._shared, "stop": self._stopped is not None},
            axis=axis,
            card=self._card,
        )
        return page
