"""The pictures of the page: trends with bands, and what the hand did then and now."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime

import numpy as np

from battery.report import svg
from battery.report.data import Line, PageData, Trace, Value

WIDTH, HEIGHT = 340.0, 82.0
LEFT, RIGHT, TOP, FOOT = 36.0, 6.0, 13.0, 14.0
GAP_DAYS = 10  # more than this between visits is a gap and no line crosses it
DIRECTIONS = {
    "lower": "lower is better",
    "higher": "higher is better",
    "toward_one": "nearer to 1 is better",
    "none": "neither way is better",
}


def trend(data: PageData, lines: Sequence[Line], line: Line) -> str:
    """Trend of one measure and hand, on the axes of `lines` (both hands)."""
    times = [_days(v.when) for one in lines for v in one.values]
    x = svg.Axis(min(times) - 3, max(max(times), min(times) + 7) + 3, LEFT, WIDTH - RIGHT)
    y = _value_axis(lines)
    parts = _frame(x, y, data)
    own = line.verdict.band
    if own is not None:
        top, foot = max(TOP, y.at(own.high)), min(HEIGHT - FOOT, y.at(own.low))
        label = f"error band {svg.number(own.low)} to {svg.number(own.high)}"
        parts.append(
            f'<rect x="{LEFT}" y="{top:.1f}" width="{WIDTH - LEFT - RIGHT}" '
            f'height="{max(foot - top, 0.5):.1f}" fill="{svg.COLOURS[line.hand]}" '
            f'opacity="0.13"><title>{label}</title></rect>'
        )
        centre = y.at(own.centre)
        parts.append(
            svg.polyline([(LEFT, centre), (WIDTH - RIGHT, centre)], colour=svg.GREY, width=0.8)
        )
    parts += _breaks(data, x)
    parts += _points(line, x, y)
    hand = f"{line.hand.capitalize()} hand"
    unit = "" if line.measure.unit == "1" else f", {line.measure.unit}"
    parts.append(
        svg.text(
            LEFT,
            9,
            f"{hand}: {line.measure.title}{unit}",
            size=9.5,
            colour=svg.COLOURS[line.hand],
            weight="bold",
        )
    )
    about = ", ".join(f"visit {v.visit} {svg.number(v.score.value)}" for v in line.values)
    return svg.drawing(
        WIDTH, HEIGHT, parts, name=f"{hand}, {line.measure.title} over the visits", about=about
    )


def _days(when: datetime) -> float:
    return when.timestamp() / 86_400


def _value_axis(lines: Sequence[Line]) -> svg.Axis:
    shown = [
        v.score.value for one in lines for v in one.values if not math.isnan(v.score.value)
    ]
    for one in lines:
        if one.verdict.band is not None:
            shown += [one.verdict.band.low, one.verdict.band.high]
    low, high = (min(shown), max(shown)) if shown else (0.0, 1.0)
    room = 0.08 * (high - low) or 0.1 * abs(high) or 1.0
    floor = low - room
    return svg.Axis(0.0 if low >= 0 > floor else floor, high + room, HEIGHT - FOOT, TOP)


def _frame(x: svg.Axis, y: svg.Axis, data: PageData) -> list[str]:
    parts = []
    for tick in svg.ticks(y.low, y.high):
        at = y.at(tick)
        parts.append(
            svg.polyline([(LEFT, at), (WIDTH - RIGHT, at)], colour="#dfe3e6", width=0.7)
        )
        parts.append(svg.text(LEFT - 4, at + 3, f"{tick:g}", anchor="end", size=8.5))
    parts.append(
        svg.polyline([(LEFT, y.start), (WIDTH - RIGHT, y.start)], colour="#555", width=0.8)
    )
    visits = data.visits
    step = max(1, -(-len(visits) // 7))
    for visit in visits[::step]:
        when = datetime.fromisoformat(visit.header.started_utc)
        at = x.at(_days(when))
        if x.start <= at <= x.end:
            parts.append(svg.text(at, HEIGHT - 4, f"{when:%d %b}", anchor="middle", size=8))
    return parts


def _breaks(data: PageData, x: svg.Axis) -> list[str]:
    when = {
        v.header.sequence: datetime.fromisoformat(v.header.started_utc) for v in data.visits
    }
    parts = []
    for visit, why in data.breaks:
        at = x.at(_days(when[visit]) - 2)
        parts.append(
            svg.polyline([(at, TOP), (at, HEIGHT - FOOT)], colour="#333", width=1, dash="2 2")
        )
        parts.append(svg.text(at + 2, TOP + 7, why, size=8))
    return parts


def _points(line: Line, x: svg.Axis, y: svg.Axis) -> list[str]:
    parts: list[str] = []
    run: list[tuple[float, float]] = []
    before: Value | None = None
    marks: list[str] = []
    counted = 0
    for value in line.values:
        if math.isnan(value.score.value):
            continue
        at = (x.at(_days(value.when)), y.at(value.score.value))
        if not value.point.counts:
            marks.append(svg.cross(*at, title=_title(line, value)))
            continue
        counted += 1
        if before is not None and (value.when - before.when).days > GAP_DAYS:
            parts.append(_run(line, run))
            run = []
        run.append(at)
        before = value
        familiar = counted <= line.n_familiarisation
        solid = not familiar and value.visit not in line.baseline_visits
        marks.append(
            svg.marker(*at, line.hand, solid=solid, faint=familiar, title=_title(line, value))
        )
    return [*parts, _run(line, run), *marks]


def _run(line: Line, run: list[tuple[float, float]]) -> str:
    return svg.polyline(run, colour=svg.COLOURS[line.hand], dash=svg.DASHES[line.hand])


def _title(line: Line, value: Value) -> str:
    score = value.score
    interval = (
        ""
        if math.isnan(score.low)
        else f" ({svg.number(score.low)} to {svg.number(score.high)})"
    )
    flags = f"; does not count: {', '.join(value.flags) or 'another series'}"
    return (
        f"visit {value.visit}, {value.when:%Y-%m-%d}: {svg.number(score.value)} "
        f"{line.measure.unit}{interval}, n={score.n}, block {score.block_id[:8]}"
        + ("" if value.point.counts else flags)
    )


TRACE_WIDTH, TRACE_HEIGHT = 160.0, 96.0


def traces(baseline: Trace | None, latest: Trace | None) -> list[str]:
    """Draw what the hand did at baseline and now, on the same scale."""
    return [
        _trace(t, w) for t, w in ((baseline, "baseline"), (latest, "latest")) if t is not None
    ]


def _trace(trace: Trace, when: str) -> str:
    colour = svg.COLOURS[trace.hand]
    middle_x, middle_y = TRACE_WIDTH / 2, TRACE_HEIGHT / 2 + 6
    parts = [
        f'<rect x="0.5" y="0.5" width="{TRACE_WIDTH - 1}" height="{TRACE_HEIGHT - 1}" '
        'fill="#fff" stroke="#c9ced2"/>'
    ]
    if trace.task == "tapping":
        per_mm = 36 / 15.0
        parts.append(
            f'<circle cx="{middle_x}" cy="{middle_y}" r="{trace.target_r_mm * per_mm:.1f}" '
            'fill="none" stroke="#555"/>'
        )
        for x_mm, y_mm in trace.ends_mm:
            x, y = middle_x + x_mm * per_mm, middle_y - y_mm * per_mm
            if 0 < x < TRACE_WIDTH and 0 < y < TRACE_HEIGHT:
                parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="1.8" fill="{colour}"/>')
    else:
        per_mm = 150 / 184.0
        for path_mm in trace.paths_mm:
            shifted = path_mm - (0 if trace.task == "trail" else np.array([0, _level(trace)]))
            points = [
                (middle_x + x * per_mm, middle_y - y * per_mm) for x, y in shifted.tolist()
            ]
            parts.append(svg.polyline(points, colour=colour, width=0.7))
    parts.append(svg.text(5, 11, f"{when}, visit {trace.visit}", size=9))
    mm = 10 * per_mm
    parts.append(
        svg.polyline([(6, TRACE_HEIGHT - 6), (6 + mm, TRACE_HEIGHT - 6)], colour="#222")
    )
    parts.append(svg.text(9 + mm, TRACE_HEIGHT - 3, "10 mm", size=8))
    name = f"{trace.hand} hand, {trace.task}, {when}"
    about = f"visit {trace.visit}, block {trace.block_id[:8]}"
    return svg.drawing(TRACE_WIDTH, TRACE_HEIGHT, parts, name=name, about=about)


def _level(trace: Trace) -> float:
    """Height of the track: the middle of what was drawn."""
    return float(np.median(np.concatenate([p[:, 1] for p in trace.paths_mm])))
