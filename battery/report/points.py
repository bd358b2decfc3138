"""Readings as the points of a series: of which hand, in which series, from which value on."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from battery.recording import Hand
from battery.report.page_rows import Reading
from battery.scoring import MEASURES
from battery.store import Person
from norms.baseline import BaselineRule, Point, split
from norms.pooled import weeks_of
from norms.series import Break, breaks, series_of


def rule_of(person: Person) -> BaselineRule:
    """Return the rule fixed when the person was enrolled."""
    return BaselineRule(person.n_familiarisation, person.n_baseline)


def role(hand: Hand, person: Person) -> str:
    """Return the role of a hand: scatter is pooled over hands of the same role."""
    if person.affected_side in ("both", "unknown"):
        return person.affected_side
    return "affected" if hand == person.affected_side else "other"


def hand_order(person: Person) -> tuple[Hand, Hand]:
    """Return the hands as the page lists them: the more affected one first."""
    first: Hand = person.dominant_hand
    if person.affected_side == "left":
        first = "left"
    elif person.affected_side == "right":
        first = "right"
    return (first, "left" if first == "right" else "right")


def baseline_values(readings: Sequence[Reading], rule: BaselineRule) -> tuple[float, ...]:
    """Return the baseline of the current series; empty before it is complete."""
    return baseline_and_series(readings, rule)[0]


def baseline_and_series(
    readings: Sequence[Reading], rule: BaselineRule
) -> tuple[tuple[float, ...], tuple[float, ...], list[int]]:
    """Return the baseline of the current series, it with all that followed, and their weeks.

    All are empty before the baseline is complete.
    """
    points, _, _ = current_points(readings)
    parts = split(points, rule)
    if len(parts.baseline) < rule.baseline:
        return (), (), []
    whole = (*parts.baseline, *parts.later)
    series = tuple(p.value for p in whole)
    return series[: rule.baseline], series, weeks_of(p.day for p in whole)


def point_of(reading: Reading, least: float | None = None, day: float | None = None) -> Point:
    """Return a reading as a point; the least that is compared may be told, as many are made."""
    reason = reading.aside or (reading.reason if math.isnan(reading.value) else "")
    value = max(reading.value, least_compared(reading.measure) if least is None else least)
    # nan stays nan
    day = reading.day if day is None else day
    return Point(reading.visit, value, not reading.aside, reason, reading.error, day)


def least_compared(name: str) -> float:
    """Value below which readings are equal."""
    measure = MEASURES.get(name)
    return measure.min_compared if measure is not None else 0.0


def current_points(
    readings: Sequence[Reading], days: Mapping[int, float] = MappingProxyType({})
) -> tuple[list[Point], str, tuple[Break, ...]]:
    """Return the points of the current series, why it began, and all breaks before it.

    Only readings that count make a series: a broken-off block on another tablet begins none.
    """
    least = (
        least_compared(readings[0].measure) if readings else 0.0
    )  # they are all of one measure
    counting = [r for r in readings if r.counts]
    if not counting:
        return [point_of(r, least, days.get(r.visit)) for r in readings], "", ()
    only = counting[0].key
    if all(r.key is only for r in counting):  # as it nearly always is
        first = counting[0].visit
        points = [
            point_of(r, least, days.get(r.visit))
            for r in readings
            if r.counts or r.visit > first
        ]
        return points, "", ()
    keyed = [(point_of(r, least), r.key) for r in counting]
    current = series_of(keyed)[-1]
    inside = {p.visit for p in current.points}
    points = [
        point_of(r, least, days.get(r.visit))
        for r in readings
        if r.visit in inside or (not r.counts and r.visit > min(inside))
    ]
    return points, current.reason, breaks([(p.visit, key) for p, key in keyed])
