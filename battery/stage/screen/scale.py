"""Pixels and millimetres: the one place where the screen's scale is applied.

A place in pixels is continuous: 0 is the left or upper edge of the drawing area, pixel `i`
covers `i` to `i + 1`. A report that names pixel `i` is taken as its middle, so that left and
right mirror each other exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

from battery.recording import Screen

GUESS_MM_PER_PX = 25.4 / 96  # the nominal pixel of desktop systems; a guess, and flagged as one
HALF_PX = 0.5
MIN_RATIO, MAX_RATIO = 0.95, 1.05  # pixels are square but for a few percent


@dataclass(frozen=True, slots=True)
class Scale:
    """Turns places on the glass (mm, origin in the centre, y up) into pixels and back."""

    screen: Screen

    def to_px(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Place in pixels, from the top left corner."""
        s = self.screen
        return (
            s.width_px / 2 + x_mm / s.mm_per_px_x,
            s.height_px / 2 - y_mm / s.mm_per_px_y,
        )

    def to_mm(self, x_px: float, y_px: float) -> tuple[float, float]:
        """Millimetres from the centre of a place in pixels."""
        s = self.screen
        return (
            (x_px - s.width_px / 2) * s.mm_per_px_x,
            (s.height_px / 2 - y_px) * s.mm_per_px_y,
        )

    def pixel_to_mm(self, column: float, row: float) -> tuple[float, float]:
        """Millimetres from the centre of the middle of the pixel that a report names."""
        return self.to_mm(column + HALF_PX, row + HALF_PX)

    def length_px(self, length_mm: float) -> float:
        """Length in pixels along x; the axes of a panel differ by less than a percent."""
        return length_mm / self.screen.mm_per_px_x


def guessed_screen(width_px: int, height_px: int) -> Screen:
    """Return a screen of unknown size: 96 pixels to the inch, marked as a guess."""
    return Screen(width_px, height_px, GUESS_MM_PER_PX, GUESS_MM_PER_PX, "guess")


def screen_of(
    size_px: tuple[int, int],
    desktop_px: tuple[int, int],
    known: dict[tuple[int, int], Screen],
) -> Screen:
    """Return the drawing area's screen; a window shares the scale of its desktop.

    A panel that was measured lying is known upright, too.

    Parameters
    ----------
    size_px : (width, height)
        Size of the drawing area.
    desktop_px : (width, height)
        Size of the whole screen, the key of `known`.
    known : dict of (width_px, height_px) to Screen
        Screens that were measured on this machine.
    """
    measured = known.get(desktop_px)
    if measured is not None:
        sides_mm = (measured.mm_per_px_x, measured.mm_per_px_y)
    else:
        measured = known.get(desktop_px[::-1])
        if measured is None:
            return guessed_screen(*size_px)
        sides_mm = (measured.mm_per_px_y, measured.mm_per_px_x)
    return Screen(*size_px, *sides_mm, measured.scale_source)
