"""The one time axis of a page, and the days that are named on it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from battery.report.judged import Occasion, Page
from battery.report.lines import gaps_days
from battery.report.page_rows import VisitRow
from battery.report.shapes import PT_PER_MM, Axis

WIDTH_MM = 65.0
LEFT, RIGHT = 25.0, 4.0


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
        first, last = days_of(min(ends)), days_of(max(ends))
        room = max(0.03 * (last - first), 2.0)
        axis = Axis(first - room, max(last, first + 7) + room, LEFT, width - RIGHT)
        days = [days_of(t) for t in when]
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
        return self.axis.at(days_of(when))

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


def days_of(when: datetime) -> float:
    """Return a moment in days since 1970."""
    return when.timestamp() / 86_400


def date_ticks(time: Timeline) -> list[tuple[datetime, str]]:
    """Choose days for the axis: weeks, months or years, so that labels do not touch."""
    first = min(v.when for v in time.visits)
    last = datetime.fromtimestamp(time.axis.high * 86_400, tz=first.tzinfo)
    span = days_of(last) - days_of(first)
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
