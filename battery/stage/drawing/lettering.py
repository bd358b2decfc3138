"""Letters of a stated height, drawn three times too large and scaled down for even spacing."""

from __future__ import annotations

import re
from collections.abc import Mapping

import pygame

from battery.stage.language.languages import Direction
from battery.stage.screen.theme import Colour

CAP_SHARE = 0.5  # height of a capital over the size of the toolkit's own font
LARGER = 3
LEAST_CAP_PX = 7  # below it no letter is told from another
DIRECTIONS: Mapping[Direction, int] = {
    "ltr": pygame.DIRECTION_LTR,
    "rtl": pygame.DIRECTION_RTL,
}
NUMBER = re.compile(r"(\d+(?:[.,:]\d+)*)")
LINE_PITCH = 0.84  # distance of rows over the font's size


class Lettering:
    """The toolkit's own font at one size: the same letters on every machine.

    Parameters
    ----------
    cap_px : float
        Height of a capital letter; at least 7 pixels are taken.
    direction : {"ltr", "rtl"}
        Way of reading. Numbers keep their order in both; words of another script inside a
        row from right to left are not turned around.
    """

    def __init__(self, cap_px: float, direction: Direction = "ltr") -> None:
        self._size = round(LARGER * max(cap_px, LEAST_CAP_PX) / CAP_SHARE)
        self._font = pygame.font.Font(None, self._size)
        self._direction: Direction = direction

    @property
    def pitch_px(self) -> int:
        """Distance from row to row."""
        return round(LINE_PITCH * self._size / LARGER)

    def width_px(self, text: str) -> int:
        """Width of a row."""
        return -(-sum(self._size_of(run)[0] for run in self._runs(text)) // LARGER)

    def picture(self, text: str, colour: Colour) -> pygame.Surface:
        """Return a row of text on a clear ground."""
        large = self._row([self._rendered(run, colour) for run in self._runs(text)])
        size_px = (-(-large.get_width() // LARGER), -(-large.get_height() // LARGER))
        return pygame.transform.smoothscale(large, size_px)

    def _runs(self, text: str) -> list[str]:
        """Return a row as parts of one direction each."""
        if self._direction == "ltr":
            return [text]
        return [run for run in NUMBER.split(text) if run] or [text]

    def _turn(self, run: str) -> None:
        number = NUMBER.fullmatch(run) is not None
        self._font.set_direction(DIRECTIONS["ltr" if number else self._direction])

    def _size_of(self, run: str) -> tuple[int, int]:
        self._turn(run)
        return self._font.size(run)

    def _rendered(self, run: str, colour: Colour) -> pygame.Surface:
        self._turn(run)
        return self._font.render(run, True, colour)

    @staticmethod
    def _row(runs: list[pygame.Surface]) -> pygame.Surface:
        """Put parts beside one another, the first at the right."""
        if len(runs) == 1:
            return runs[0]
        width_px = sum(run.get_width() for run in runs)
        row = pygame.Surface((width_px, runs[0].get_height()), pygame.SRCALPHA)
        right = width_px
        for run in runs:
            right -= run.get_width()
            row.blit(run, (right, 0))
        return row

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
