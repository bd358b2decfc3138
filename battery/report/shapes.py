"""Inline SVG: the few shapes of the page, each readable without colour and by a screen reader.

Everything is in points (1/72 inch), so that a letter of size 9 is a 9 point letter on paper.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from battery.recording import Hand

BLUE, VERMILLION = "#0072B2", "#D55E00"  # told apart by form and dash as well
INK, GREY, FAINT = "#1b1f23", "#5f666c", "#d9dee2"
COLOURS: dict[Hand, str] = {"right": BLUE, "left": VERMILLION}
DASHES: dict[Hand, str] = {"right": "", "left": "4 2.4"}
# How a point looks by what it counts for; each look has one meaning.
STYLES = {
    "familiarisation": "faint",
    "earlier": "small",
    "baseline": "hollow",
    "later": "solid",
}
PT_PER_MM = 72 / 25.4
TEXT_PT = 9.0
# Metric-compatible faces: the same line breaks on every system that has one of them.
FACES = "Arial, Helvetica, 'Liberation Sans', Arimo, 'Nimbus Sans', sans-serif"
Place = tuple[float, float]


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

    def within(self, value: float) -> float:
        """Place of a value, held inside the drawing."""
        first, last = sorted((self.start, self.end))
        return min(max(self.at(value), first), last)


def ticks(low: float, high: float, most: int) -> list[float]:
    """Round numbers between two values: steps of 1, 2 or 5 times a power of ten.

    Parameters
    ----------
    most : int
        At most so many, at least 1.

    Returns
    -------
    list of float
        Empty if no such number lies between them.
    """
    if not high > low:
        return []
    power = 10.0 ** math.floor(math.log10((high - low) / most))
    finer: list[float] = []
    for step in (power, 2 * power, 5 * power, 10 * power, 20 * power, 50 * power):
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        found = [round(k * step, 10) for k in range(first, last + 1)]
        if len(found) <= most:
            # One number alone gives no scale: then the ends of the finer ones.
            return [finer[0], finer[-1]] if len(found) < 2 <= most and finer else found
        finer = found
    return []


def number(value: float) -> str:
    """Write a number as the page does: about three figures, a true minus, no exponent."""
    size = abs(float(f"{value:.3g}"))  # 99.96 is written like 100
    digits = 0 if size >= 100 or value == 0 else 1 if size >= 10 else 2 if size >= 0.1 else 3
    return f"{value:.{digits}f}".replace("-", "\N{MINUS SIGN}")


def signed(value: float, n_digits: int = 0) -> str:
    """Write a number with its sign; a rounded 0 has none."""
    text = f"{value:+.{n_digits}f}"
    if float(text) == 0:
        return text[1:]
    return text.replace("-", "\N{MINUS SIGN}")


def text(
    x: float,
    y: float,
    words: str,
    *,
    anchor: str = "start",
    colour: str = INK,
    bold: bool = False,
    size: float = TEXT_PT,
) -> str:
    """Draw a piece of text; `y` is its base line."""
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" '
        f'fill="{colour}"{weight}>{escape(words)}</text>'
    )


def polyline(
    points: Sequence[Place],
    *,
    colour: str,
    width: float = 1.2,
    dash: str = "",
    opacity: float = 1,
) -> str:
    """Draw an open line; nothing for fewer than two points."""
    if len(points) < 2:
        return ""
    where = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    pale = f' opacity="{opacity:g}"' if opacity < 1 else ""
    return (
        f'<polyline points="{where}" fill="none" stroke="{colour}" stroke-width="{width:g}"'
        f'{dashed}{pale} stroke-linejoin="round"/>'
    )


def rule(start: Place, end: Place, *, colour: str, width: float = 0.6, dash: str = "") -> str:
    """Draw a straight line."""
    return polyline([start, end], colour=colour, width=width, dash=dash)


def box(
    corner: Place,
    width: float,
    height: float,
    *,
    fill: str = "none",
    stroke: str = "none",
    edge: float = 0.6,
    opacity: float = 1,
    title: str = "",
) -> str:
    """Draw a rectangle from its upper left corner; `edge` is how wide its outline is."""
    pale = f' fill-opacity="{opacity:g}"' if opacity < 1 else ""
    drawn = (
        f'<rect x="{corner[0]:.1f}" y="{corner[1]:.1f}" width="{max(width, 0):.1f}" '
        f'height="{max(height, 0):.1f}" fill="{fill}"{pale} stroke="{stroke}" '
        f'stroke-width="{edge:g}"'
    )
    return f"{drawn}>{_title(title)}</rect>" if title else f"{drawn}/>"


def circle(
    centre: Place, radius: float, *, fill: str = "none", stroke: str = GREY, width: float = 0.8
) -> str:
    """Draw a circle."""
    return (
        f'<circle cx="{centre[0]:.1f}" cy="{centre[1]:.1f}" r="{radius:.1f}" fill="{fill}" '
        f'stroke="{stroke}" stroke-width="{width:g}"/>'
    )


def marker(place: Place, hand: Hand, *, style: str, size: float = 2.5, title: str = "") -> str:
    """Draw a point: a disc for the right hand, a square for the left.

    Parameters
    ----------
    style : {"solid", "hollow", "faint", "small"}
    size : float
        Half its width.
    """
    (x, y), colour = place, COLOURS[hand]
    fill = "#fff" if style == "hollow" else colour
    size = size / 2 if style == "small" else size
    pale = ' opacity="0.4"' if style == "faint" else ""
    look = f'fill="{fill}" stroke="{colour}" stroke-width="1.1"{pale}'
    if hand == "right":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size:g}" {look}>{_title(title)}</circle>'
    side = 1.86 * size
    return (
        f'<rect x="{x - side / 2:.1f}" y="{y - side / 2:.1f}" width="{side:.1f}" '
        f'height="{side:.1f}" {look}>{_title(title)}</rect>'
    )


def cross(place: Place, *, size: float = 2.6, title: str = "") -> str:
    """Draw a grey cross: a visit that is shown and does not count."""
    (x, y), wide = place, 2 * size
    return (
        f'<path d="M{x - size:.1f} {y - size:.1f}l{wide:g} {wide:g}m0 -{wide:g}'
        f'l-{wide:g} {wide:g}" stroke="{GREY}" stroke-width="1.3" fill="none">'
        f"{_title(title)}</path>"
    )


def arrow(start: Place, end: Place, hand: Hand) -> str:
    """Draw an arrow in the hand's colour and dash; a very short one has no head."""
    colour = COLOURS[hand]
    line = polyline([start, end], colour=colour, width=1.2, dash=DASHES[hand])
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = math.hypot(dx, dy)
    if length < 7:
        return line
    ux, uy = dx / length, dy / length
    tip = (end[0] - 3.2 * ux, end[1] - 3.2 * uy)  # ends at the rim of the marker
    back = (tip[0] - 4.5 * ux, tip[1] - 4.5 * uy)
    wings = ((back[0] - 2.2 * uy, back[1] + 2.2 * ux), (back[0] + 2.2 * uy, back[1] - 2.2 * ux))
    where = " ".join(f"{x:.1f},{y:.1f}" for x, y in (wings[0], tip, wings[1]))
    return f'{line}<polygon points="{where}" fill="{colour}"/>'


def drawing(
    width: float, height: float, parts: Sequence[str], *, name: str, about: str = ""
) -> str:
    """Make a whole drawing, with a name and a description for those who cannot see it."""
    described = f"<desc>{escape(about)}</desc>" if about else ""
    return (
        f'{_opening(width, height)} role="img" aria-label="{escape(name)}">'
        f"<title>{escape(name)}</title>{described}{''.join(parts)}</svg>"
    )


def ornament(width: float, height: float, parts: Sequence[str]) -> str:
    """Make a drawing that says nothing the text beside it does not say."""
    return f'{_opening(width, height)} aria-hidden="true">{"".join(parts)}</svg>'


def _opening(width: float, height: float) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.1f}pt" '
        f'height="{height:.1f}pt" viewBox="0 0 {width:.1f} {height:.1f}" '
        f'font-family="{FACES}"'
    )


def _title(words: str) -> str:
    return f"<title>{escape(words)}</title>" if words else ""
