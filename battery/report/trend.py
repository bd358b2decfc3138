"""The trends: one panel a task and hand, all on one time axis."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from battery.report import shapes
from battery.report.judged import Occasion, Page
from battery.report.lines import COMPOSITE, Line, Shown, gaps_days
from battery.report.page_rows import Reading, VisitRow
from battery.report.shapes import COLOURS, DASHES, FAINT, GREY, INK, PT_PER_MM, Axis
from battery.report.widths import width_pt
from battery.scoring import Measure
from norms.verdict import Step

WIDTH_MM = 65.0
LEFT, RIGHT = 25.0, 4.0
DIRECTIONS = {
    "lower": "lower is better",
    "higher": "higher is better",
    "toward_one": "nearer to 1 is better",
    "toward_zero": "nearer to 0 is better",
    "none": "neither is better",
}


@dataclass(frozen=True, slots=True)
class Timeline:
    """The one time axis of a page.

    Parameters
    ----------
    gap_days : float
        No line crosses a longer time between two visits.
    when : mapping of int to datetime
        By number of the visit.
    marker_size : float
        Half the width of a point.
    alarmed : mapping of int to bool
        Visits with an alarm, by number; whether one of it is still open.
    """

    axis: Axis
    visits: tuple[VisitRow, ...]
    occasions: tuple[Occasion, ...]
    gap_days: float
    width: float
    when: Mapping[int, datetime]
    marker_size: float
    alarmed: Mapping[int, bool]

    @classmethod
    def of(cls, page: Page, width_mm: float = WIDTH_MM) -> Timeline:
        """Lay the axis over all visits and markers of a page."""
        width = width_mm * PT_PER_MM
        when = sorted(v.when for v in page.rows.visits)
        ends = [when[0], when[-1], *(m.when for m in page.rows.markers)]
        first, last = _days(min(ends)), _days(max(ends))
        room = max(0.03 * (last - first), 2.0)
        axis = Axis(first - room, max(last, first + 7) + room, LEFT, width - RIGHT)
        days = [_days(t) for t in when]
        return cls(
            axis=axis,
            visits=page.rows.visits,
            occasions=page.occasions,
            gap_days=gaps_days(days),
            width=width,
            when={v.number: v.when for v in page.rows.visits},
            marker_size=_marker_size([axis.at(day) for day in days]),
            alarmed=alarmed(page),
        )

    def at(self, when: datetime) -> float:
        """Place of a moment."""
        return self.axis.at(_days(when))

    def visit_at(self, number: int) -> float:
        """Place of a visit."""
        return self.at(self.when[number])


def alarmed(page: Page) -> dict[int, bool]:
    """Return the visits with an alarm, and whether one of it is still open."""
    found: dict[int, bool] = {}
    for alarm in page.rows.alarms:
        if alarm.visit is not None:
            found[alarm.visit] = found.get(alarm.visit, False) or alarm.open
    return found


def _marker_size(places: Sequence[float]) -> float:
    """Half the width of a point: smaller where visits stand close."""
    steps = sorted(b - a for a, b in itertools.pairwise(places))
    usual = steps[len(steps) // 2] if steps else 10.0
    return min(max(0.26 * usual, 1.0), 2.5)


def _days(when: datetime) -> float:
    return when.timestamp() / 86_400


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
    days = {number: _days(when) for number, when in time.when.items()}
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
        day = _days(time.when[reading.visit])
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


def header_strip(time: Timeline, height: float = 21.0) -> str:
    """Draw letters of what happened, how long gaps were, and the visits' numbers."""
    parts = []
    taken = -math.inf
    for occasion in time.occasions:
        at = max(time.at(occasion.when), taken + 9)
        taken = at
        at = min(at, time.width - 4)
        parts.append(shapes.text(at, 8, occasion.letter, anchor="middle", bold=True))
    letters = [time.at(o.when) for o in time.occasions]
    for before, after in itertools.pairwise(sorted(time.visits, key=lambda v: v.when)):
        days = _days(after.when) - _days(before.when)
        left, right = time.at(before.when) + 6, time.at(after.when) - 6
        missed = round(days / 7) - 1
        told = [f"{missed} weeks without", f"{missed} weeks", f"{missed} w"]
        fitting = [words for words in told if width_pt(words) <= right - left]
        if days <= time.gap_days or missed < 2 or not fitting:
            continue
        free = not any(left - 4 < x < right + 4 for x in letters)
        y = 8.0 if free else height - 3
        parts.append(
            shapes.text((left + right) / 2, y, fitting[0], anchor="middle", colour=GREY)
        )
    parts += [
        shapes.text(time.at(v.when), height - 3, str(v.number), anchor="middle", colour=GREY)
        for v in numbered(time)
    ]
    parts += [
        shapes.box(
            (time.visit_at(number) - 3.4, height - 11.4),
            6.8,
            10.6,
            stroke=INK,
            edge=1.4 if is_open else 0.6,
        )
        for number, is_open in time.alarmed.items()
    ]
    return shapes.ornament(time.width, height, parts)


def numbered(time: Timeline) -> list[VisitRow]:
    """Choose the visits whose numbers are shown: all, or round ones and the last."""
    ordered = sorted(time.visits, key=lambda v: v.when)
    for step in (1, 2, 5, 10, 20, 50, 100, 200):
        chosen = [v for v in ordered if v.number == 1 or v.number % step == 0]
        if chosen and chosen[-1] is not ordered[-1]:
            room = width_pt(str(ordered[-1].number)) + 1.6
            if time.at(ordered[-1].when) - time.at(chosen[-1].when) < room:
                chosen.pop()
            chosen.append(ordered[-1])
        steps = itertools.pairwise(chosen)
        if all(
            time.at(b.when) - time.at(a.when) >= width_pt(str(b.number)) + 1.6 for a, b in steps
        ):
            return chosen
    return ordered[-1:]


def footer_strip(time: Timeline, height: float = 11.5) -> str:
    """Draw the dates below the panels."""
    parts = [
        shapes.text(
            min(max(time.at(when), LEFT + 2), time.width - width_pt(label) / 2 - 1),
            8.5,
            label,
            anchor="middle",
            colour=GREY,
        )
        for when, label in date_ticks(time)
    ]
    return shapes.ornament(time.width, height, parts)


def date_ticks(time: Timeline) -> list[tuple[datetime, str]]:
    """Choose days for the axis: weeks, months or years, so that labels do not touch."""
    first = min(v.when for v in time.visits)
    last = datetime.fromtimestamp(time.axis.high * 86_400, tz=first.tzinfo)
    span = _days(last) - _days(first)
    if span <= 80:
        days = max(7, 7 * math.ceil(34 / max((time.axis.at(7) - time.axis.at(0)), 1e-9)))
        count = int(span // days) + 1
        moments = [first + timedelta(days=days * k) for k in range(count)]
        return [(m, f"{m.day} {m:%b}") for m in moments if m <= last]
    per_month = time.axis.at(30.4) - time.axis.at(0)
    step = next((s for s in (1, 2, 3, 6, 12) if s * per_month >= 34), 12)
    month = first.year * 12 + first.month  # the month after the first visit, from 0
    found: list[tuple[datetime, str]] = []
    while True:
        when = first.replace(
            year=month // 12, month=month % 12 + 1, day=1, hour=0, minute=0, second=0,
            microsecond=0,
        )  # fmt: skip
        if when > last:
            return found
        if (when.month - 1) % step == 0 or step == 1:
            label = f"{when:%b %Y}" if when.month == 1 or step == 12 else f"{when:%b}"
            found.append((when, label))
        month += 1
