"""How the hands differ: as a ratio on the log scale, never without both values beside it.

A ratio alone hides that both hands got worse, and it is noisier than either hand, so it is
never a main measure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from norms.baseline import Point


@dataclass(frozen=True, slots=True)
class Asymmetry:
    """Difference of the hands at one visit.

    Parameters
    ----------
    affected, other : float
        The values it stands on.
    log_ratio : float
        ``ln(affected / other)``: swapping the hands changes its sign and nothing else.
    percent : float
        How much the affected hand's value is above the other's, percent of the other's.
    percent_of_mean : float
        The difference in percent of the mean of both.
    """

    affected: float
    other: float
    log_ratio: float
    percent: float
    percent_of_mean: float


def asymmetry(affected: float, other: float) -> Asymmetry:
    """Compare one measure of both hands.

    Raises
    ------
    ValueError
        If a value is not above 0.
    """
    if not (affected > 0 and other > 0):
        msg = f"{affected=} and {other=} must be above 0"
        raise ValueError(msg)
    ratio = affected / other
    return Asymmetry(
        affected,
        other,
        math.log(ratio),
        100 * (ratio - 1),
        100 * (affected - other) / ((affected + other) / 2),
    )


def ratio_points(affected: Sequence[Point], other: Sequence[Point]) -> tuple[Point, ...]:
    """Return the ratio of the hands visit by visit, to be judged like a measure.

    Judge it on the log scale with direction "toward_one". A visit counts where both hands count
    and are above 0.
    """
    others = {point.visit: point for point in other}
    points = []
    for point in affected:
        beside = others.get(point.visit)
        if beside is None:
            points.append(
                Point(point.visit, math.nan, comparable=False, reason="one hand only")
            )
        elif not (point.counts and beside.counts and min(point.value, beside.value) > 0):
            reason = point.reason or beside.reason or "one hand does not count"
            points.append(Point(point.visit, math.nan, comparable=False, reason=reason))
        else:
            points.append(Point(point.visit, point.value / beside.value))
    return tuple(points)


def log_ratio_sd(affected_sd: float, other_sd: float, *, correlation: float = 0.0) -> float:
    """Return the scatter of the log ratio from the scatter of both hands' logarithms."""
    variance = affected_sd**2 + other_sd**2 - 2 * correlation * affected_sd * other_sd
    return math.sqrt(variance)
