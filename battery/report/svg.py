"""Inline SVG: small drawings with a title for the reader and one for every point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import Literal

Hand = Literal["left", "right"]

BLUE, VERMILLION, GREY = "#0072B2", "#D55E00", "#6b7075"  # told apart by form as well
COLOURS = {"right": BLUE, "left": VERMILLION}
DASHES = {"right": "", "left": "5 3"}


@dataclass(frozen=True, slots=True)
class Axis:
    """A linear axis from data to the drawing."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        """Place of a value in the drawing."""
        share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)


def ticks(low: float, high: float, most: int = 4) -> list[float]:
    """Round numbers between two values: steps of 1, 2 or 5 times a power of ten."""
    if not high > low:
        return [low]
    size = 10.0**-9
    while (high - low) / size > 10 * most:
        size *= 10
    for step in (size, 2 * size, 5 * size, 10 * size, 20 * size, 50 * size):
        if (high - low) / step <= most:
            first = -(-low // step)
            count = int(high / step - first + 1e-9) + 1
            return [round((first + i) * step, 10) for i in range(count)]
    return [low, high]


def number(value: float) -> str:
    """Write a number as the page does: three figures, no exponent."""
    if value == 0:
        return "0"
    digits = 2 if abs(value) < 10 else 1 if abs(value) < 100 else 0
    if abs(value) < 0.1:
        digits = 3
    return f"{value:.{digits}f}".replace("-", "\N{MINUS SIGN}")


def text(
    x: float,
    y: float,
    words: str,
    *,
    size: float = 9,
    anchor: str = "start",
    colour: str = "#222",
    weight: str = "normal",
) -> str:
    """Draw a piece of text."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}" '
        f'fill="{colour}" font-weight="{weight}">{escape(words)}</text>'
    )


def polyline(
    points: Sequence[tuple[float, float]], *, colour: str, width: float = 1.4, dash: str = ""
) -> str:
    """Draw an open line."""
    if len(points) < 2:
        return ""
    where = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<polyline points="{where}" fill="none" stroke="{colour}" stroke-width="{width}"'
        f'{dashed} stroke-linejoin="round"/>'
    )


def marker(
    x: float, y: float, hand: Hand, *, solid: bool, title: str, faint: bool = False
) -> str:
    """Draw a point: disc for the right hand, square for the left; hollow or solid."""
    colour = COLOURS[hand]
    fill = colour if solid else "#fff"
    pale = ' opacity="0.45"' if faint else ""
    style = f'fill="{fill}" stroke="{colour}" stroke-width="1.3"{pale}'
    if hand == "right":
        shape = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" {style}>'
        return f"{shape}<title>{escape(title)}</title></circle>"
    shape = f'<rect x="{x - 2.8:.1f}" y="{y - 2.8:.1f}" width="5.6" height="5.6" {style}>'
    return f"{shape}<title>{escape(title)}</title></rect>"


def cross(x: float, y: float, *, title: str) -> str:
    """Draw a grey cross: a visit that is shown and does not count."""
    return (
        f'<path d="M{x - 3:.1f} {y - 3:.1f}l6 6m0 -6l-6 6" stroke="{GREY}" stroke-width="1.4" '
        f'fill="none"><title>{escape(title)}</title></path>'
    )


def drawing(width: float, height: float, parts: Sequence[str], *, name: str, about: str) -> str:
    """Make a whole drawing, with a name and a description for those who cannot see it."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" '
        f'role="img" '
        f'aria-label="{escape(name)}" font-family="inherit"><title>{escape(name)}</title>'
        f"<desc>{escape(about)}</desc>{''.join(parts)}</svg>"
    )
