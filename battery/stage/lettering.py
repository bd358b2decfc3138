"""Letters of a stated height, drawn three times too large and scaled down for even spacing."""

from __future__ import annotations

from collections.abc import Mapping

import pygame

from battery.stage.language import Direction
from battery.stage.theme import Colour

CAP_SHARE = 0.5  # height of a capital over the size of the toolkit's own font
LARGER = 3
LEAST_CAP_PX = 7  # below it no letter is told from another
DIRECTIONS: Mapping[Direction, int] = {
    "ltr": pygame.DIRECTION_LTR,
    "rtl": pygame.DIRECTION_RTL,
}
LINE_PITCH = 0.84  # distance of rows over the font's size


class Lettering:
    """The toolkit's own font at one size: the same letters on every machine.

    Parameters
    ----------
    cap_px : float
        Height of a capital letter; at least 7 pixels are taken.
    direction : {"ltr", "rtl"}
        Way of reading. A row is shaped as a whole in it; words of the other way inside a
        row are not turned around.
    """

    def __init__(self, cap_px: float, direction: Direction = "ltr") -> None:
        self._size = round(LARGER * max(cap_px, LEAST_CAP_PX) / CAP_SHARE)
        self._font = pygame.font.Font(None, self._size)
        self._font.set_direction(DIRECTIONS[direction])

    @property
    def pitch_px(self) -> int:
        """Distance from row to row."""
        return round(LINE_PITCH * self._size / LARGER)

    def width_px(self, text: str) -> int:
        """Width of a row."""
        return -(-self._font.size(text)[0] // LARGER)

    def picture(self, text: str, colour: Colour) -> pygame.Surface:
        """Return a row of text on a clear ground."""
        large = self._font.render(text, True, colour)
        size_px = (-(-large.get_width() // LARGER), -(-large.get_height() // LARGER))
        return pygame.transform.smoothscale(large, size_px)

    def wrap(self, text: str, width_px: int) -> list[str]:
        """Break a text between words so that every row fits, if its longest word does."""
        rows: list[str] = []
        row = ""
        for word in text.split():
            longer = f"{row} {word}".strip()
            if row and self.width_px(longer) > width_px:
                rows.append(row)
                row = word
            else:
                row = longer
        return [*rows, row]
