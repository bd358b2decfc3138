"""Letters of a stated height in a typeface made for low vision, evenly set at every size.

The toolkit shapes a row with HarfBuzz, so pairs of letters are set by the typeface's own
kerning, but it rounds every step to a whole pixel. Rows are therefore shaped and drawn some
times too large and scaled down: the rounding shrinks with them.
"""

from __future__ import annotations

import math
import re
from collections import OrderedDict
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

import pygame

from battery.stage.language.languages import Direction
from battery.stage.screen.theme import Colour

Weight = Literal["regular", "strong"]

FONTS = Path(__file__).parent / "fonts"
FILES: Mapping[Weight, Path] = {
    "regular": FONTS / "AtkinsonHyperlegibleNext-Regular.ttf",
    "strong": FONTS / "AtkinsonHyperlegibleNext-SemiBold.ttf",
}
CAP_SHARE = 0.668  # height of a capital over the size, from the typeface's OS/2 table
DRAWN_PX = 150  # rows are drawn about so large at least, three or four times their size
MIN_CAP_PX = 7  # below it no letter is told from another
DIRECTIONS: Mapping[Direction, int] = {
    "ltr": pygame.DIRECTION_LTR,
    "rtl": pygame.DIRECTION_RTL,
}
NUMBER = re.compile(r"(\d+(?:[.,:]\d+)*)")
UNIT = re.compile(r"(?<=\d) (?=%|(?:mm|ms|s|g|min)\b)")  # the space before a unit
LINE_PITCH = 1.2  # distance of rows over the size
MAX_KEPT = 20_000  # widths; a visit has 2,500
MAX_KEPT_PX = (
    8_000_000  # of rows that were drawn, four bytes each; those of a visit are 6 million
)
HYPHEN, MIN_PART = "-", 3  # letters of a word on a row

_Row = tuple[str, int, int, Weight, Direction]

_widths: dict[_Row, int] = {}


class _Pictures:
    """Rows as they were drawn last: most of a visit's are shown three or four times."""

    def __init__(self) -> None:
        self._kept: OrderedDict[tuple[_Row, Colour], pygame.Surface] = OrderedDict()
        self._px = 0

    def get(self, key: tuple[_Row, Colour]) -> pygame.Surface | None:
        """Return a row that was kept."""
        found = self._kept.get(key)
        if found is not None:
            self._kept.move_to_end(key)
        return found

    def keep(self, key: tuple[_Row, Colour], picture: pygame.Surface) -> None:
        """Keep a row, and let go of those that were asked for longest ago."""
        self._kept[key] = picture
        self._px += picture.get_width() * picture.get_height()
        while self._px > MAX_KEPT_PX and len(self._kept) > 1:
            _, old = self._kept.popitem(last=False)
            self._px -= old.get_width() * old.get_height()


_pictures = _Pictures()


class Lettering:
    """The typeface at one size: the same letters on every machine.

    Parameters
    ----------
    cap_px : float
        Height of a capital letter; at least 7 pixels are taken.
    direction : {"ltr", "rtl"}
        Way of reading. Numbers keep their order in both; words of another script inside a
        row from right to left are not turned around.
    weight : {"regular", "strong"}
        Strong for titles, buttons and labels.
    """

    def __init__(
        self, cap_px: float, direction: Direction = "ltr", weight: Weight = "regular"
    ) -> None:
        size_px = max(cap_px, MIN_CAP_PX) / CAP_SHARE
        self._larger = min(max(math.ceil(DRAWN_PX / size_px), 3), 4)
        self._size = round(self._larger * size_px)
        self._direction: Direction = direction
        self._weight: Weight = weight
        self._opened: pygame.font.Font | None = None

    @property
    def _font(self) -> pygame.font.Font:
        """The toolkit's font, opened when something is not known yet."""
        if self._opened is None:
            self._opened = pygame.font.Font(FILES[self._weight], self._size)
        return self._opened

    @property
    def pitch_px(self) -> int:
        """Distance from row to row."""
        return round(LINE_PITCH * self._size / self._larger)

    def width_px(self, text: str) -> int:
        """Width of a row."""
        key = self._key(text)
        if key not in _widths:
            if len(_widths) >= MAX_KEPT:
                _widths.clear()
            wide = sum(self._size_of(run)[0] for run in self._runs(text))
            _widths[key] = -(-wide // self._larger)
        return _widths[key]

    def picture(self, text: str, colour: Colour) -> pygame.Surface:
        """Return a row of text on a clear ground, as high as the distance of rows.

        It is kept and shown again: copy it before drawing on it.
        """
        key = self._key(text), colour
        picture = _pictures.get(key)
        if picture is None:
            picture = self._drawn(text, colour)
            _pictures.keep(key, picture)
        return picture

    def _key(self, text: str) -> _Row:
        return text, self._size, self._larger, self._weight, self._direction

    def _drawn(self, text: str, colour: Colour) -> pygame.Surface:
        large = self._row([self._rendered(run, colour) for run in self._runs(text)])
        tall = min(self.pitch_px * self._larger, large.get_height())
        band = pygame.Rect(0, (large.get_height() - tall) // 2, large.get_width(), tall)
        size_px = (-(-large.get_width() // self._larger), -(-tall // self._larger))
        return pygame.transform.smoothscale(large.subsurface(band), size_px)

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
        for word in words_of(text):
            longer = f"{row} {word}".strip()
            if row and self.width_px(longer) > width_px:
                rows.append(row)
                row = word
            else:
                row = longer
        return [*rows, row]

    def parted(self, word: str, width_px: int) -> list[str]:
        """Part a word that is wider than a row, with hyphens, near its middle."""
        if self.width_px(word) <= width_px or len(word) < 2 * MIN_PART:
            return [word]
        n_parts = -(-self.width_px(word) // width_px)
        at = max(len(word) // n_parts, MIN_PART)
        while at > MIN_PART and self.width_px(word[:at] + HYPHEN) > width_px:
            at -= 1
        return [word[:at] + HYPHEN, *self.parted(word[at:], width_px)]


def words_of(text: str) -> list[str]:
    """Return the words of a text; a number keeps its unit, as a space that keeps asks for."""
    return [word for word in UNIT.sub("\u00a0", text).split(" ") if word]
