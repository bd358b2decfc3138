"""Speed beside accuracy: where each hand was at baseline and where it is now."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from battery.recording import Hand
from battery.report import shapes
from battery.report.judged import Page
from battery.report.lines import Line
from battery.report.page_rows import Reading
from battery.report.shapes import FAINT, GREY, PT_PER_MM, Axis
from norms.band import transform
from norms.verdict import N_RECENT

WIDTH_MM, HEIGHT_MM = 45.0, 25.0
LEFT, FOOT = 25.0, 12.0


def ends_of(line: Line) -> tuple[float, float]:
    """Return a line's baseline mean and the mean of its last visits; nan where there is none.

    The same means as those of band and verdict: geometric where the measure is compared on
    logarithms. They need no band, which counts that never vary do not have.
    """
    log_scale = line.measure.log_scale
    baseline, later = line.of("baseline"), line.of("later")[-N_RECENT:]
    if not baseline or not later:
        return math.nan, math.nan
    return _mean(baseline, log_scale=log_scale), _mean(later, log_scale=log_scale)


def _reach(lines: Iterable[Line]) -> list[float]:
    """Return the ends of the error bands, so that an axis never magnifies noise."""
    bands = [line.verdict.band for line in lines]
    return [end for own in bands if own is not None for end in (own.low, own.high)]


def _mean(readings: Sequence[Reading], *, log_scale: bool) -> float:
    values = transform([r.value for r in readings], log_scale=log_scale)
    return float(np.exp(values.mean())) if log_scale else float(values.mean())


def pair_figure(page: Page, task: str, height_mm: float = HEIGHT_MM) -> str:
    """Draw a task's pair: to the right is faster, upwards is more exact.

    Returns
    -------
    str
        Empty before there is a visit after the baseline.
    """
    places: list[tuple[Hand, tuple[float, float], tuple[float, float]]] = []
    lines: list[tuple[Line, Line]] = []
    for hand in page.hands:
        pair = page.pair(task, hand)
        if pair is None:
            continue
        (x0, x1), (y0, y1) = ends_of(pair[0]), ends_of(pair[1])
        if not any(math.isnan(v) for v in (x0, x1, y0, y1)):
            places.append((hand, (x0, y0), (x1, y1)))
            lines.append(pair)
    if not places:
        return ""
    width, height = WIDTH_MM * PT_PER_MM, height_mm * PT_PER_MM
    speed, exact = lines[0]
    ends = [end for _, start, now in places for end in (start, now)]
    x = _axis([*(end[0] for end in ends), *_reach(p[0] for p in lines)], LEFT + 4, width - 5)
    y = _axis([*(end[1] for end in ends), *_reach(p[1] for p in lines)], height - FOOT - 4, 5)
    if exact.measure.name.split(".")[-1].startswith("n_"):  # nobody makes less than no error
        y = Axis(max(y.low, 0.0), y.high, y.start, y.end)
    if speed.measure.direction == "lower":
        x = Axis(x.high, x.low, x.start, x.end)
    y = Axis(y.high, y.low, y.start, y.end)  # every accuracy here is an error: less is upwards
    parts = _ground(x, y, width, height)
    for hand, start, end in places:
        a, b = (x.at(start[0]), y.at(start[1])), (x.at(end[0]), y.at(end[1]))
        parts.append(shapes.arrow(a, b, hand))
        parts.append(shapes.marker(a, hand, style="hollow", size=2.4))
        parts.append(shapes.marker(b, hand, style="solid", size=2.4))
    about = "; ".join(
        f"{hand} hand: {speed.measure.title} from {shapes.number(s[0])} to "
        f"{shapes.number(e[0])} {_unit(speed)}, {exact.measure.title} from "
        f"{shapes.number(s[1])} to {shapes.number(e[1])} {_unit(exact)}"
        for hand, s, e in places
    )
    name = f"{speed.measure.title} and {exact.measure.title}, baseline to recent mean"
    return shapes.drawing(width, height, parts, name=name, about=about)


def _unit(line: Line) -> str:
    return "" if line.measure.unit == "1" else line.measure.unit


def _axis(values: Sequence[float], start: float, end: float) -> Axis:
    low, high = min(values), max(values)
    least = 0.15 * max(abs(low), abs(high)) or 1.0
    room = max(least - (high - low), 0.0) / 2 + 0.08 * (high - low)
    return Axis(low - room, high + room, start, end)


def _ground(x: Axis, y: Axis, width: float, height: float) -> list[str]:
    foot = height - FOOT
    parts = [
        shapes.box((LEFT, 1), width - LEFT - 1, foot - 1, stroke="#b9c0c6"),
    ]
    for tick in shapes.ticks(min(x.low, x.high), max(x.low, x.high), 3):
        at = x.at(tick)
        parts.append(shapes.rule((at, 1), (at, foot), colour=FAINT))
        parts.append(shapes.text(at, foot + 8.5, f"{tick:g}", anchor="middle", colour=GREY))
    for tick in shapes.ticks(min(y.low, y.high), max(y.low, y.high), 3):
        at = y.at(tick)
        parts.append(shapes.rule((LEFT, at), (width - 1, at), colour=FAINT))
        parts.append(shapes.text(LEFT - 3, min(max(at + 3, 8), foot), f"{tick:g}", anchor="end",
                                 colour=GREY))  # fmt: skip
    return parts
