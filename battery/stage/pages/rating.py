"""A page with a number that is changed by two large buttons: a scale of 0 to 10."""

from __future__ import annotations

from dataclasses import dataclass

import pygame

from battery.answers import MAX_RATING, MIN_RATING
from battery.stage.drawing.canvas import GAP_MM, Canvas
from battery.stage.pages.page import TextPage
from battery.stage.pages.presses import Presses

MINUS, PLUS = "minus", "plus"
STEP_MM = 30.0  # large for everybody: these two are pressed many times
DIGIT_MM = 18.0
IN_A_ROW = 3  # room at the foot, whether all three buttons are there or not
GO, BACK, SHORT = "go", "back", "short"


@dataclass
class ScalePage(TextPage):
    """A question answered from 0 to 10.

    Nothing is answered until a number stands there. `buttons` are the way back, the short
    answer (none at all, or the same as before) and the button that leads on, which comes
    when there is a number.

    Parameters
    ----------
    value : int or None
        What stands there.
    short_value : int
        What the short answer means.
    """

    value: int | None = None
    short_value: int = MIN_RATING

    def content(self, canvas: Canvas, presses: Presses) -> None:
        """Draw minus, the number and plus."""
        room = self._row(canvas)
        size = canvas.px(STEP_MM)
        left = pygame.Rect(room.left, room.top, size, size)
        right = pygame.Rect(room.right - size, room.top, size, size)
        self.step_buttons(canvas, presses, left, right)
        self._show_value(canvas)

    def foot(self, canvas: Canvas, presses: Presses) -> None:
        """Draw the buttons; the one that leads on only with a number."""
        for button in map(self._mirrored, self.buttons):
            if button.key != GO or self.value is not None:
                rect = canvas.button_rect(button, IN_A_ROW)
                self._put(canvas, presses, button, rect)

    def lowest_px(self, canvas: Canvas, lowest_px: int) -> int:
        """Words end above the two large buttons."""
        del lowest_px
        return self._row(canvas).top - canvas.px(GAP_MM)

    def pressed(self, key: str, canvas: Canvas, presses: Presses) -> str | None:
        """Change the number; anything else is an answer."""
        if key == SHORT:
            self.value = self.short_value
            return GO
        if key not in (MINUS, PLUS):
            return key
        if self.value is None:
            self.value = self.short_value
        self.value = min(max(self.value + (1 if key == PLUS else -1), MIN_RATING), MAX_RATING)
        self._show_value(canvas)
        self.foot(canvas, presses)
        pygame.display.flip()
        return None

    def _row(self, canvas: Canvas) -> pygame.Rect:
        """Return the room of the two buttons and the number, above the foot."""
        height = canvas.px(STEP_MM)
        width = min(canvas.px(4 * STEP_MM), canvas.body.width)
        row = pygame.Rect(0, canvas.foot_px - canvas.px(GAP_MM) - height, width, height)
        row.centerx = canvas.surface.get_width() // 2
        return row

    def _show_value(self, canvas: Canvas) -> None:
        row = self._row(canvas)
        room = row.inflate(-2 * canvas.px(STEP_MM + 2.0), 0)
        canvas.empty(room)
        if self.value is None:
            line = pygame.Rect(0, 0, canvas.px(12.0), max(2, canvas.px(0.8)))
            line.midbottom = (room.centerx, room.bottom - canvas.px(6.0))
            pygame.draw.rect(canvas.surface, canvas.theme.edge, line)
            return
        letters = canvas.lettering(DIGIT_MM)
        picture = letters.picture(str(self.value), canvas.theme.text)
        place = canvas.surface.blit(picture, picture.get_rect(center=room.center))
        canvas.boxes.append(("number", place.clip(room)))
