"""Pixels and millimetres: the one place where the screen's scale is applied."""

from __future__ import annotations

from dataclasses import dataclass

from battery.recording import Screen

GUESS_MM_PER_PX = 25.4 / 96  # the nominal pixel of desktop systems; a guess, and flagged as one


@dataclass(frozen=True, slots=True)
class Scale:
    """Turns places on the glass (mm, origin in the centre, y up) into pixels and back."""

    screen: Screen

    def to_px(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        """Pixel coordinates, from the top left corner."""
        s = self.screen
        return (
            s.width_px / 2 + x_mm / s.mm_per_px_x,
            s.height_px / 2 - y_mm / s.mm_per_px_y,
        )

    def to_mm(self, x_px: float, y_px: float) -> tuple[float, float]:
        """Millimetres from the centre."""
        s = self.screen
        return (
            (x_px - s.width_px / 2) * s.mm_per_px_x,
            (s.height_px / 2 - y_px) * s.mm_per_px_y,
        )

    def length_px(self, length_mm: float) -> float:
        """Length in pixels along x; the axes of a panel differ by less than a percent."""
        return length_mm / self.screen.mm_per_px_x


def guessed_screen(width_px: int, height_px: int) -> Screen:
    """Return a screen of unknown size: 96 pixels to the inch, marked as a guess."""
    return Screen(width_px, height_px, GUESS_MM_PER_PX, GUESS_MM_PER_PX, "guess")
