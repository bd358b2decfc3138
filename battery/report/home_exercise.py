"""Under the trend's time axis: home exercise, planned, told and seen; and symptoms."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

from battery.answers import PAUSE_RISE
from battery.report import shapes
from battery.report.judged import Page
from battery.report.page_rows import HomeExerciseRow
from battery.report.shapes import GREY, INK, Axis
from battery.report.strips import numbered
from battery.report.timeline import LEFT, RIGHT, Timeline

HEIGHT = 24.0
SYMPTOM_HEIGHT = 12.4
PALE, DARK = "#c3cacf", "#5f666c"


def home_exercise_strip(page: Page, time: Timeline, height: float = HEIGHT) -> str:
    """Draw one pair of bars a week; empty if nothing was planned, told or seen."""
    rows = page.rows.home_exercise
    if not rows:
        return ""
    top = max((x for row in rows for x in (row.planned, row.told, row.seen) if x), default=1.0)
    y = Axis(0.0, top, height - 1.5, 4.0)
    parts = [
        shapes.text(LEFT - 3, 8.0, f"{top:g}", anchor="end", colour=GREY),
        shapes.rule((LEFT, y.start), (time.width - RIGHT, y.start), colour=GREY, width=0.5),
    ]
    for row in rows:
        parts += _week(page, row, y, time)
    parts += _planned(page, y, time)
    return shapes.drawing(
        time.width,
        height,
        parts,
        name="home exercise, times a week",
        about="; ".join(f"week from {row.week_from}: {_counts(row)}" for row in rows),
    )


def _week(page: Page, row: HomeExerciseRow, y: Axis, time: Timeline) -> list[str]:
    left, right = _edges(page, row, time)
    if right - left < 0.4:
        return []
    width = right - left
    title = f"week from {row.week_from}: {_counts(row)}"
    bars = []
    for count, start, share, fill in (
        (row.told, 0.12, 0.76, PALE),
        (row.seen, 0.3, 0.4, DARK),
    ):
        if count:
            foot = y.at(count)
            bars.append(
                shapes.box(
                    (left + start * width, foot), share * width, y.start - foot, fill=fill,
                    title=title,
                )
            )  # fmt: skip
    return bars


def _planned(page: Page, y: Axis, time: Timeline) -> list[str]:
    """Draw the plan as a line over its weeks, with steps where it changed."""
    points: list[list[tuple[float, float]]] = [[]]
    for row in page.rows.home_exercise:
        left, right = _edges(page, row, time)
        if row.planned is None or right <= left:
            continue
        points[-1] += [(left, y.at(row.planned)), (right, y.at(row.planned))]
    return [shapes.polyline(run, colour=INK, width=1.1) for run in points if len(run) > 1]


def _edges(page: Page, row: HomeExerciseRow, time: Timeline) -> tuple[float, float]:
    zone = page.rows.visits[0].when.tzinfo
    monday = datetime.combine(row.week_from, datetime.min.time(), tzinfo=zone)
    low, high = LEFT, time.width - RIGHT
    left, right = (time.at(t) for t in (monday, monday + timedelta(days=7)))
    return min(max(left, low), high), min(max(right, low), high)


def _counts(row: HomeExerciseRow) -> str:
    told = [
        f"{word} {count:g}"
        for word, count in (
            ("planned", row.planned),
            ("reported", row.told),
            ("seen", row.seen),
        )
        if count is not None
    ]
    return ", ".join(told) or "nothing known"


def symptom_strip(page: Page, time: Timeline, height: float = SYMPTOM_HEIGHT) -> str:
    """Write the most of any symptom, 0 to 10, under each visit; empty if nobody asked.

    Bold with a ring where one rose so far within the visit that it paused or stopped it.
    """
    if not any(v.symptoms for v in page.rows.visits):
        return ""
    shown = {v.number for v in numbered(time)}
    parts, told = [], []
    for visit in page.rows.visits:
        if not visit.symptoms:
            continue
        most = max(visit.symptoms.values())
        rose = max(visit.rises.values(), default=0) >= PAUSE_RISE
        told.append(f"visit {visit.number} {most}" + (" (rose)" if rose else ""))
        at = time.visit_at(visit.number)
        if rose:
            parts.append(shapes.circle((at, height / 2), height / 2 - 0.6, stroke=INK))
        if rose or visit.number in shown:
            parts.append(shapes.text(at, height - 3.2, str(most), anchor="middle", bold=rose))
    return shapes.drawing(
        time.width,
        height,
        parts,
        name="most of any symptom at each visit, 0 to 10",
        about="; ".join(told),
    )


def home_exercise_words(page: Page) -> str:
    """Say the counts of the last whole week before the latest visit, as the strip's caption."""
    row = last_week(page)
    return "" if row is None else f"week from {row.week_from:%d %b}: {_counts(row)}"


def last_week(page: Page) -> HomeExerciseRow | None:
    """Return the last whole week before the latest visit; None where nothing is known."""
    rows, visits = page.rows.home_exercise, page.rows.visits
    if not rows or not visits:
        return None
    latest = max(v.when for v in visits).date()
    whole = [a for a, b in pairwise(rows) if b.week_from <= latest]
    return whole[-1] if whole else rows[0]
