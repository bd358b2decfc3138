"""The staff's way out: the lower corners in order, then a code."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pygame

from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.places import GAP_MM, Button
from battery.stage.language import texts
from battery.stage.pages.page import Left, Page, TextPage
from battery.stage.pages.presses import Presses

ROWS = ("12345", "67890")


@dataclass
class StaffPage(TextPage):
    """Digits to type the code with, and the way back; the right code closes the program.

    Parameters
    ----------
    code : str
        Empty: a button leaves at once.
    """

    code: str = ""
    _typed: str = ""

    def content(self, canvas: Canvas, presses: Presses) -> None:
        """Draw two rows of digits above the foot."""
        if not self.code:
            return
        size, gap = canvas.px(canvas.sizes.button), canvas.px(GAP_MM)
        wide = len(ROWS[0]) * size + (len(ROWS[0]) - 1) * gap
        left = (canvas.surface.get_width() - wide) // 2
        top = canvas.foot_px - gap - len(ROWS) * size - (len(ROWS) - 1) * gap
        for row, digits in enumerate(ROWS):
            for column, digit in enumerate(digits):
                place = (left + column * (size + gap), top + row * (size + gap), size, size)
                self._put(canvas, presses, Button(digit, digit, main=False), pygame.Rect(place))

    def lowest_px(self, canvas: Canvas, lowest_px: int) -> int:
        """Words end above the digits."""
        rows = len(ROWS) * canvas.px(canvas.sizes.button + GAP_MM) + canvas.px(GAP_MM)
        return canvas.foot_px - rows if self.code else lowest_px

    def pressed(self, key: str, canvas: Canvas, presses: Presses) -> str | None:
        """Collect digits; the right code ends everything, a wrong one is forgotten."""
        del canvas, presses
        if key not in "".join(ROWS):
            return key
        self._typed = (self._typed + key)[-len(self.code) :]
        return "leave" if self._typed == self.code else None


def staff_page(
    back: Page, code: str, *, opened: Callable[[], Page] | None = None, **shared: Any
) -> StaffPage:
    """Make the page that leads back to `back` or, with the code, on or out of the program.

    Parameters
    ----------
    opened : callable or None
        Returns the page behind the code; None leaves the program.
    """

    def after(key: str) -> Page | None:
        if key != "leave":
            return back
        if opened is None:
            raise Left
        return opened()

    ways = [Button("back", texts.BACK, "left", main=False)]
    if not code:
        word = texts.LEAVE if opened is None else texts.GO_ON
        ways.append(Button("leave", word, "right", main=False))
    lines = texts.STAFF_LINES if opened is None else texts.STAFF_CODE_LINES
    return StaffPage(
        "staff",
        texts.STAFF_TITLE,
        lines if code else texts.STAFF_OPEN_LINES,
        tuple(ways),
        after,
        stop=False,
        code=code,
        **shared,
    )
