"""The small pictures of the first sheet: points, running mean, the limits that decide."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

from battery.report import shapes
from battery.report.lines import Line
from battery.report.shapes import COLOURS, DASHES, INK, Axis
from battery.report.timeline import Timeline
from battery.report.trend import running_steps, scale_of, value_axis

SIZE_PT, STRIP_PT = 10.5, 13.0


def strip(time: Timeline) -> str:
    """Draw the numbers of the first and the last visit, and a mark at each with an alarm."""
    ordered = sorted(time.visits, key=lambda v: v.when)
    ends = {ordered[0].number, ordered[-1].number}
    parts = [
        shapes.text(
            min(max(time.visit_at(n), 5.0), time.width - 7.0), 9.5, str(n), anchor="middle",
            colour=shapes.GREY, size=SIZE_PT,
        )
        for n in sorted(ends)
    ]  # fmt: skip
    taken = [time.visit_at(n) for n in ends]
    for number, is_open in time.alarmed.items():
        at = time.visit_at(number)
        if is_open and all(abs(at - other) > 9 for other in taken):
            parts.append(shapes.text(at, 9.5, "!", anchor="middle", bold=True, size=SIZE_PT))
            taken.append(at)
    return shapes.ornament(time.width, STRIP_PT, parts)


def panel(line: Line, lines: Sequence[Line], time: Timeline, height: float) -> str:
    """Draw a line small: points, running mean, and the limits that decide."""
    y = _axis(line, lines, height)
    scale, colour = scale_of(line), COLOURS[line.hand]
    parts = [
        shapes.rule((time.at(o.when), 0), (time.at(o.when), height), colour=INK, width=0.7,
                    dash="1.5 1.5")
        for o in time.occasions
    ]  # fmt: skip
    own = line.verdict.band
    left, right = time.axis.start, time.axis.end
    if own is not None:
        at = y.within(own.centre * scale)
        parts.append(shapes.rule((left, at), (right, at), colour=INK, width=0.6))
    steps = [s for s in running_steps(line) if math.isfinite(s.low) and math.isfinite(s.high)]
    for a, b in itertools.pairwise(steps):
        x0, x1 = time.visit_at(a.visit), time.visit_at(b.visit)
        ends = sorted((y.within(b.high * scale), y.within(b.low * scale)))
        if not _apart(a.visit, b.visit, time):
            height_pt = ends[1] - ends[0]
            parts.append(
                shapes.box((x0, ends[0]), x1 - x0, height_pt, fill=colour, opacity=0.14)
            )
    for a, b in itertools.pairwise(running_steps(line)):
        if not _apart(a.visit, b.visit, time):
            mean = [(time.visit_at(s.visit), y.within(s.value * scale)) for s in (a, b)]
            parts.append(shapes.polyline(mean, colour=colour, width=3.4, opacity=0.45))
    parts += _points(line, y, time)
    told = "; ".join(
        f"visit {s.reading.visit} {shapes.number(s.reading.value * scale)}"
        for s in line.shown
        if not math.isnan(s.reading.value)
    )
    return shapes.drawing(
        time.width,
        height,
        parts,
        name=f"{line.hand} hand at a glance, {line.measure.title} over the visits",
        about=told or "no value yet",
    )


def _apart(before: int, after: int, time: Timeline) -> bool:
    """Whether a gap lies between two visits that nothing is drawn across."""
    gone = time.when[after] - time.when[before]
    return gone.total_seconds() / 86_400 > time.gap_days


def _points(line: Line, y: Axis, time: Timeline) -> list[str]:
    scale = scale_of(line)
    parts = []
    for before, after in itertools.pairwise([s for s in line.shown if s.standing != "aside"]):
        same = (before.standing == "earlier") == (after.standing == "earlier")
        if same and not _apart(before.reading.visit, after.reading.visit, time):
            ends = [
                (time.visit_at(s.reading.visit), y.within(s.reading.value * scale))
                for s in (before, after)
            ]
            parts.append(
                shapes.polyline(ends, colour=COLOURS[line.hand], width=0.9,
                                dash=DASHES[line.hand])
            )  # fmt: skip
    for shown in line.shown:
        value = shown.reading.value
        x = time.visit_at(shown.reading.visit)
        if shown.standing == "aside":
            place = y.start - 1 if math.isnan(value) else y.within(value * scale)
            parts.append(shapes.cross((x, place), size=max(time.marker_size, 1.8)))
        else:
            parts.append(
                shapes.marker(
                    (x, y.within(value * scale)),
                    line.hand,
                    style=shapes.STYLES[shown.standing],
                    size=time.marker_size,
                )
            )
    return parts


def _axis(line: Line, lines: Sequence[Line], height: float) -> Axis:
    """One axis for both hands, with room for the limits that decide."""
    plain = value_axis(lines, height)
    limits = [
        x * scale_of(own)
        for own in lines
        for step in running_steps(own)[-3:]
        for x in (step.low, step.high)
        if math.isfinite(x)
    ]
    del line
    return Axis(min([plain.low, *limits]), max([plain.high, *limits]), plain.start, plain.end)
