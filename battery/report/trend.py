"""The trends: one panel a task and hand, all on one time axis."""

from __future__ import annotations

import math
from collections.abc import Sequence

from battery.report import shapes
from battery.report.combined import COMPOSITE
from battery.report.lines import Line, Shown
from battery.report.page_rows import Reading
from battery.report.shapes import COLOURS, DASHES, FAINT, GREY, INK, Axis
from battery.report.timeline import LEFT, RIGHT, Timeline, date_ticks, days_of
from battery.scoring import Measure
from norms.verdict import Step

DIRECTIONS = {
    "lower": "lower is better",
    "higher": "higher is better",
    "toward_one": "nearer to 1 is better",
    "toward_zero": "nearer to 0 is better",
    "none": "neither is better",
}


def scale_of(line: Line) -> float:
    """Return what a line's values are multiplied by for showing.

    All tasks together have no unit: 100 is their baseline, or the first visit before there is
    one.
    """
    if line.measure.name != COMPOSITE.name:
        return 1.0
    own = line.verdict.band
    if own is not None and own.centre:
        return 100 / own.centre
    first = line.of("familiarisation", "baseline", "later", "earlier")
    return 100 / first[0].value if first else 1.0


def value_axis(lines: Sequence[Line], height: float) -> Axis:
    """Return one axis for both hands of a measure, with room for points and bands."""
    shown: list[float] = []
    aside: list[float] = []
    for line in lines:
        scale = scale_of(line)
        for s in line.shown:
            if not math.isnan(s.reading.value):
                (aside if s.standing == "aside" else shown).append(s.reading.value * scale)
        own = line.verdict.band
        if own is not None:
            shown += [own.low * scale, own.high * scale]
    shown = shown or aside  # what does not count sets the scale only where nothing counts
    low, high = (min(shown), max(shown)) if shown else (0.0, 1.0)
    room = 0.1 * (high - low) or 0.2 * abs(high) or 1.0
    floor = low - room
    return Axis(0.0 if low >= 0 > floor else floor, high + room, height - 2.5, 2.5)


def panel(
    line: Line, lines: Sequence[Line], time: Timeline, height: float, *, running: bool = False
) -> str:
    """Draw one line of the trend.

    Parameters
    ----------
    lines : sequence of Line
        Those that share its axis of values: the same measure of both hands.
    height : float
        Points.
    running : bool
        Whether to draw the running mean and its limits too; all tasks together always have it.
    """
    y = value_axis(lines, height)
    parts = _ground(y, time, height)
    parts += _band(line, y, time)
    parts += _verticals(time, height)
    if running or line.measure.name == COMPOSITE.name:
        parts += _running(line, y, time)
    parts += _runs(line, y, time)
    parts += [_mark(line, s, y, time) for s in line.shown]
    unit = f" {line.measure.unit}" if line.measure.unit not in ("", "1") else ""
    about = "; ".join(
        f"visit {s.reading.visit} {shapes.number(s.reading.value * scale_of(line))}{unit}"
        + (" (does not count)" if s.standing == "aside" else "")
        for s in line.shown
        if not math.isnan(s.reading.value)
    )
    return shapes.drawing(
        time.width,
        height,
        parts,
        name=f"{line.hand} hand, {line.measure.title} over the visits, "
        f"{DIRECTIONS[line.measure.direction]}",
        about=about or "no value yet",
    )


def _ground(y: Axis, time: Timeline, height: float) -> list[str]:
    parts = []
    most = max(1, min(4, int((height - 2) // 12)))
    for tick in shapes.ticks(y.low, y.high, most):
        at = y.at(tick)
        parts.append(shapes.rule((LEFT, at), (time.width - RIGHT, at), colour=FAINT))
        foot = min(max(at + 3.2, 7.5), height - 1.2)
        parts.append(shapes.text(LEFT - 3, foot, f"{tick:g}", anchor="end", colour=GREY))
    for when, _ in date_ticks(time):
        parts.append(shapes.rule((time.at(when), 0), (time.at(when), height), colour="#eceff1"))
    return parts


def _band(line: Line, y: Axis, time: Timeline) -> list[str]:
    own, scale = line.verdict.band, scale_of(line)
    current = line.of("familiarisation", "baseline", "later")
    if own is None or not current:
        return []
    left = max(time.visit_at(current[0].visit) - 4, LEFT)
    right = time.width - RIGHT
    top, foot = y.within(own.high * scale), y.within(own.low * scale)
    colour = COLOURS[line.hand]
    label = (
        f"error band of one visit: {shapes.number(own.low * scale)} to "
        f"{shapes.number(own.high * scale)}, baseline {shapes.number(own.centre * scale)}"
    )
    centre = y.at(own.centre * scale)
    return [
        shapes.box(
            (left, top), right - left, foot - top, fill=colour, opacity=0.13, title=label
        ),
        *(
            shapes.rule((left, edge), (right, edge), colour=colour, width=0.4)
            for edge in (top, foot)
        ),
        shapes.rule((left, centre), (right, centre), colour=INK, width=0.6),
    ]


def _verticals(time: Timeline, height: float) -> list[str]:
    return [
        shapes.rule((time.at(o.when), 0), (time.at(o.when), height), colour=INK, width=0.7,
                    dash="1.5 1.5")
        for o in time.occasions
    ]  # fmt: skip


def running_steps(line: Line) -> tuple[Step, ...]:
    """Return the running mean of a line after each look, with the limits that decided there."""
    average = line.verdict.average
    return average.steps if average is not None else ()


def _running(line: Line, y: Axis, time: Timeline) -> list[str]:
    """Draw the running mean and its limits; like the points, not across a gap."""
    scale, steps = scale_of(line), running_steps(line)
    days = {number: days_of(when) for number, when in time.when.items()}
    runs: list[list[Step]] = []
    for step in steps:
        apart = runs and days[step.visit] - days[runs[-1][-1].visit] > time.gap_days
        if not runs or apart:
            runs.append([])
        runs[-1].append(step)
    parts = []
    for run in runs:
        x = [time.visit_at(step.visit) for step in run]
        known = [i for i, step in enumerate(run) if math.isfinite(step.high)]
        for ends in ([s.low for s in run], [s.high for s in run]):
            bounds = [(x[i], y.within(ends[i] * scale)) for i in known]
            parts.append(shapes.polyline(bounds, colour=INK, width=0.8, dash="0.8 2"))
        mean = [(x[i], y.within(step.value * scale)) for i, step in enumerate(run)]
        parts.append(shapes.polyline(mean, colour=COLOURS[line.hand], width=4.2, opacity=0.4))
    return parts


def _runs(line: Line, y: Axis, time: Timeline) -> list[str]:
    """Lines between visits: none across a gap, a break, or a visit set aside."""
    scale = scale_of(line)
    breaks = {b.visit for b in line.breaks}
    parts: list[str] = []
    run: list[tuple[float, float]] = []
    before: tuple[Reading, bool, float] | None = None
    for shown in line.shown:
        if shown.standing == "aside":
            continue
        reading, old = shown.reading, shown.standing == "earlier"
        day = days_of(time.when[reading.visit])
        apart = before is not None and (
            day - before[2] > time.gap_days or reading.visit in breaks or old != before[1]
        )
        if apart and before is not None:
            parts.append(_run(line, run, old=before[1]))
            run = []
        run.append((time.visit_at(reading.visit), y.at(reading.value * scale)))
        before = (reading, old, day)
    return [*parts, _run(line, run, old=before is not None and before[1])]


def _run(line: Line, run: Sequence[tuple[float, float]], *, old: bool) -> str:
    return shapes.polyline(
        run,
        colour=COLOURS[line.hand],
        width=1.1,
        dash=DASHES[line.hand],
        opacity=0.4 if old else 1,
    )


def _mark(line: Line, shown: Shown, y: Axis, time: Timeline) -> str:
    reading, x = shown.reading, time.visit_at(shown.reading.visit)
    title, size = reading_title(line, shown, time), time.marker_size
    if shown.standing == "aside":
        place = (
            y.start - 1
            if math.isnan(reading.value)
            else y.within(reading.value * scale_of(line))
        )
        return shapes.cross((x, place), size=size + 0.1, title=title)
    style = shapes.STYLES[shown.standing]
    return shapes.marker(
        (x, y.at(reading.value * scale_of(line))),
        line.hand,
        style=style,
        size=size,
        title=title,
    )


def width_words(measure: Measure, low: float, high: float) -> str:
    """Say from where to where an interval goes, or the middle half of what it stands on."""
    ends = f"{shapes.number(low)} to {shapes.number(high)}"
    return f"{ends}, middle half" if getattr(measure, "width", "") == "spread" else ends


def reading_title(line: Line, shown: Shown, time: Timeline) -> str:
    """Say all about a point: visit, day, value with interval, what it stands on, its block."""
    reading, scale = shown.reading, scale_of(line)
    when = time.when[reading.visit]
    words = [f"visit {reading.visit}, {when:%Y-%m-%d}: "]
    unit = f" {line.measure.unit}" if line.measure.unit not in ("", "1") else ""
    if math.isnan(reading.value):
        words.append("no value")
    else:
        words.append(f"{shapes.number(reading.value * scale)}{unit}")
    if not math.isnan(reading.low):
        words.append(f" ({width_words(line.measure, reading.low, reading.high)})")
    if line.measure.name == COMPOSITE.name:
        words.append(f", from {reading.n} tasks; baseline is 100")
    else:
        words.append(f", n={reading.n}, block {reading.block_id[:8]}")
    told = {"familiarisation": "getting used to the test", "earlier": "another series"}
    why = reading.aside or reading.reason if shown.standing == "aside" else ""
    said = f"does not count: {why}" if why else told.get(shown.standing, shown.standing)
    return "".join(words) + f"; {said}"
