"""What a series allows us to say: one of four words, with the reason.

The rule was chosen by simulation among the usual ones
(``python -m norms.calibration.simulate_rules``): the running mean of the visits since
baseline, the newest weighing most, must leave limits which at most one unchanged person in
twenty leaves in twelve weekly looks.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import stdtrit

from norms.band import Band, OutsideSem, Prior, band
from norms.baseline import BaselineRule, Point, Split, split
from norms.limits import limits
from norms.running import N_LOOKS, follow, running_mean, weight_so_far

Word = Literal["beyond error", "possible, repeat", "within error", "withheld"]
Direction = Literal["lower", "higher", "toward_one", "none"]
LEARNING_UNTIL_VISIT = 6
LEARNING_LEVEL = 0.8
N_RECENT = 4


@dataclass(frozen=True, slots=True)
class Average:
    """The running mean of the visits since baseline, and what it is judged by.

    Parameters
    ----------
    value : float
        In the measure's unit; the newest visit weighs a quarter, the one before three quarters
        of that, and so on.
    low, high : float
        The limits for this number of visits: they narrow as visits add up.
    n_visits : int
        Visits since baseline that count.
    named_look : bool
        Whether this is the look named beforehand, whose limits are narrower.
    since_visit : int or None
        The visit at which it left the limits, while it has not come back within the inner ones.
    change_percent, low_percent, high_percent : float
        The same against the centre of the band; nan for a centre of 0.
    """

    value: float
    low: float
    high: float
    n_visits: int
    named_look: bool
    since_visit: int | None
    change_percent: float
    low_percent: float
    high_percent: float


@dataclass(frozen=True, slots=True)
class Recent:
    """The mean of the last visits since baseline (up to four), with its 95 % interval.

    It says how large a change is; whether there is one is said by the verdict.
    """

    value: float
    low: float
    high: float
    n_visits: int
    change_percent: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on one measure of one hand.

    Parameters
    ----------
    word : str
        "beyond error": the running mean of the visits since baseline has left its limits.
        "possible, repeat": the latest visit lies outside the band. "within error": neither,
        which is not the same as no change. "withheld": there is no verdict, and `reason` says
        why.
    better : bool or None
        With a word that tells a side: whether that side is the better one; None where the
        measure has no better side.
    band : Band or None
    latest : Point or None
        The last point that counts.
    change_percent : float or None
        Of the latest against the centre of the band.
    learning : bool
        Whether learning the test may explain it.
    average : Average or None
    recent : Recent or None
    """

    word: Word
    reason: str = ""
    better: bool | None = None
    band: Band | None = None
    latest: Point | None = None
    change_percent: float | None = None
    learning: bool = False
    average: Average | None = None
    recent: Recent | None = None


def judge(
    points: Sequence[Point],
    prior: Prior | None,
    *,
    log_scale: bool,
    direction: Direction,
    rule: BaselineRule | None = None,
    restart_visit: int | None = None,
    outside: OutsideSem | None = None,
    new_series: str = "",
) -> Verdict:
    """Judge a series of visits against its own baseline.

    Parameters
    ----------
    points : sequence of Point
        One series, in order of visits, flagged ones included.
    prior : Prior or None
        Scatter of everybody, or None when nobody can be pooled.
    log_scale : bool
        Whether values are compared on logarithms.
    direction : {"lower", "higher", "toward_one", "none"}
        Which way is better.
    rule : BaselineRule, optional
        Fixed at enrolment.
    restart_visit : int, optional
        First visit of a new baseline begun on purpose.
    outside : OutsideSem, optional
        Measurement error from a reliability study, in place of the scatter found here.
    new_series : str
        Why this series is a new one, in words; said where the verdict is withheld.
    """
    rule = rule or BaselineRule()
    parts = split(points, rule, restart_visit=restart_visit)
    counting = (*parts.familiarisation, *parts.baseline, *parts.later)
    if not counting:
        return Verdict("withheld", _nothing_counts(points, new_series))
    latest = counting[-1]
    if len(parts.baseline) < rule.baseline:
        need = len(parts.familiarisation) + rule.baseline
        need = max(need, 0 if restart_visit is not None else rule.n_visits)
        reason = f"{len(counting)} of the {need} visits that make the baseline"
        if new_series:
            reason = f"new series, {new_series}: {reason}"
        return Verdict("withheld", reason, latest=latest, learning=True)
    if log_scale and any(p.value <= 0 for p in (*parts.baseline, *parts.later)):
        return Verdict("withheld", "a value of 0 has no logarithm", latest=latest)
    try:
        own = band(
            [p.value for p in parts.baseline], prior, log_scale=log_scale, outside=outside
        )
    except ValueError as error:
        return Verdict("withheld", str(error), latest=latest)
    if not parts.later:
        return Verdict(
            "withheld",
            "no visit after the baseline yet",
            band=own,
            latest=latest,
            learning=True,
        )
    return _verdict(parts, own, direction, rule)


def _nothing_counts(points: Sequence[Point], new_series: str) -> str:
    if not points:
        return "not done yet"
    reasons = sorted({point.reason for point in points if point.reason})
    said = f"no visit that counts ({'; '.join(reasons)})" if reasons else "no visit that counts"
    return f"new series, {new_series}: {said}" if new_series else said


def _verdict(parts: Split, own: Band, direction: Direction, rule: BaselineRule) -> Verdict:
    latest = parts.later[-1]
    changes = np.array([own.change(p.value) for p in parts.later])
    average, side = _average(changes, parts.later, own)
    latest_side = own.side(latest.value)
    word: Word = "within error"
    better = None
    if side != 0 and latest_side != -side:
        word = "beyond error"
        better = _better(side, direction, own, average.value)
    elif latest_side != 0:
        word = "possible, repeat"
        better = _better(latest_side, direction, own, latest.value)
    learning = latest.visit <= LEARNING_UNTIL_VISIT or rule.n_visits < LEARNING_UNTIL_VISIT
    if word in ("beyond error", "possible, repeat") and better:
        learning |= _was_learning(parts, own, direction)
    return Verdict(
        word,
        "",
        better,
        own,
        latest,
        _percent(latest.value, own),
        learning,
        average,
        _recent(changes, own),
    )


def _average(
    changes: np.ndarray[tuple[int], np.dtype[np.float64]], later: Sequence[Point], own: Band
) -> tuple[Average, int]:
    """Return the running mean after the latest visit and the side it is out on, or 0."""
    allowed = limits(own.df, n_baseline=own.n_baseline, autocorrelation=own.autocorrelation)
    steps = running_mean(changes) / own.sd
    out, since = (int(x) for x in follow(steps, *allowed))
    n = len(later)
    limit = allowed.inner if n == N_LOOKS or out else allowed.outer
    weight = weight_so_far(n)
    ends = (float(steps[-1]), -limit, limit)
    value, low, high = (own.value_at(own.sd * end / weight) for end in ends)
    change, low_percent, high_percent = (
        math.nan if percent is None else percent
        for percent in (_percent(x, own) for x in (value, low, high))
    )
    average = Average(
        value,
        low,
        high,
        n,
        n == N_LOOKS,
        later[since - 1].visit if since else None,
        change,
        low_percent,
        high_percent,
    )
    return average, out


def _recent(changes: np.ndarray[tuple[int], np.dtype[np.float64]], own: Band) -> Recent:
    last = changes[-N_RECENT:]
    half = float(stdtrit(own.df, 0.975)) * own.error_of_mean(len(last))
    mean = float(last.mean())
    value, low, high = (own.value_at(x) for x in (mean, mean - half, mean + half))
    change = _percent(value, own)
    return Recent(value, low, high, len(last), math.nan if change is None else change)


def _percent(value: float, own: Band) -> float | None:
    return 100 * (value - own.centre) / abs(own.centre) if own.centre else None


def _was_learning(parts: Split, own: Band, direction: Direction) -> bool:
    """Whether the visits left out for familiarisation were worse than the baseline.

    By more than one unchanged person in five would show: a caution, so it is given freely.
    """
    first = [p.value for p in parts.familiarisation]
    if not first or direction not in ("lower", "higher"):
        return False
    if own.log_scale and min(first) <= 0:
        return False
    fell = sum(own.change(value) for value in first) / len(first)
    worse = fell if direction == "lower" else -fell
    return worse > float(stdtrit(own.df, LEARNING_LEVEL)) * own.error_of_mean(len(first))


def _better(side: int, direction: Direction, own: Band, value: float) -> bool | None:
    if direction == "none":
        return None
    if direction == "toward_one":
        return abs(value - 1) < abs(own.centre - 1)
    return (side < 0) == (direction == "lower")
