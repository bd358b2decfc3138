"""Strips above and below trends: numbers of visits, events, alarms and dates."""

from __future__ import annotations

import itertools
import math

from battery.report import shapes
from battery.report.page_rows import VisitRow
from battery.report.shapes import GREY, INK
from battery.report.timeline import LEFT, Timeline, date_ticks, days_of
from battery.report.widths import width_pt


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
        days = days_of(after.when) - days_of(before.when)
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
