"""A page with a scale of 0 to 10: eleven fields, one tap for the number, one to go on."""

from __future__ import annotations

from dataclasses import dataclass

import pygame

from battery.answers import MAX_RATING, MIN_RATING
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.places import GAP_MM, Button
from battery.stage.pages.page import TextPage
from battery.stage.pages.presses import Presses

FIELD_MM, MAX_MM = 20.0, 26.0  # least and greatest side of a field
FIELD_GAP_MM = 4.0
IN_A_ROW = 6
GO = "go"
NUMBERS = tuple(str(number) for number in range(MIN_RATING, MAX_RATING + 1))


@dataclass
class ScalePage(TextPage):
    """A question answered from 0 to 10.

    Nothing is answered until a number was tapped; then the button that leads on comes, and
    until it is pressed another number may be tapped. So no answer is given by one tap, and none
    by a tap that was meant for the page before.

    Parameters
    ----------
    value : int or None
        The number that was tapped.
    earlier : int or None
        What was answered before the visit; its field has a ring.
    """

    value: int | None = None
    earlier: int | None = None

    def content(self, canvas: Canvas, presses: Presses) -> None:
        """Draw the fields."""
        for number, rect in zip(NUMBERS, self._fields(canvas), strict=True):
            self._field(canvas, presses, number, rect)

    def foot(self, canvas: Canvas, presses: Presses) -> None:
        """Draw the buttons; the one that leads on only with a number."""
        for button in map(self._mirrored, self.buttons):
            if button.key != GO or self.value is not None:
                self._put(canvas, presses, button, canvas.button_rect(button, 2))

    def lowest_px(self, canvas: Canvas, lowest_px: int) -> int:
        """Words end above the fields."""
        del lowest_px
        return self._fields(canvas)[0].top - canvas.px(GAP_MM)

    def pressed(self, key: str, canvas: Canvas, presses: Presses) -> str | None:
        """Take the number; anything else leaves the page."""
        if key not in NUMBERS:
            return key
        self.value = int(key)
        self.content(canvas, presses)
        self.foot(canvas, presses)
        pygame.display.flip()
        return None

    def _field(self, canvas: Canvas, presses: Presses, number: str, rect: pygame.Rect) -> None:
        chosen = self.value == int(number)
        self._put(canvas, presses, Button(number, number, main=chosen), rect)
        if self.earlier == int(number):
            ring = rect.inflate(-canvas.px(3.0), -canvas.px(3.0))
            line = max(2, canvas.px(0.8))
            ink = canvas.theme.on_main if chosen else canvas.theme.main
            pygame.draw.rect(canvas.surface, ink, ring, line, border_radius=canvas.px(2.5))

    def _fields(self, canvas: Canvas) -> list[pygame.Rect]:
        """Return the places of the numbers: two rows, more where the screen is upright."""
        gap = canvas.px(FIELD_GAP_MM)
        width_px = canvas.surface.get_width()
        room = width_px - 2 * canvas.margin_px
        columns = IN_A_ROW
        while columns > 1 and (room - (columns - 1) * gap) // columns < canvas.px(FIELD_MM):
            columns -= 1
        columns = -(-len(NUMBERS) // -(-len(NUMBERS) // columns))
        rows = -(-len(NUMBERS) // columns)
        side = min((room - (columns - 1) * gap) // columns, canvas.px(canvas.sizes.button))
        wide = min(side, canvas.px(MAX_MM))
        low = canvas.foot_px - canvas.px(GAP_MM)
        free = low - canvas.body.top - (rows - 1) * gap
        tall = min(wide, max(free // rows, canvas.px(FIELD_MM)))
        left = (width_px - columns * wide - (columns - 1) * gap) // 2
        top = low - rows * tall - (rows - 1) * gap
        return [
            pygame.Rect(
                left + number % columns * (wide + gap),
                top + number // columns * (tall + gap),
                wide,
                tall,
            )
            for number in range(len(NUMBERS))
        ]
