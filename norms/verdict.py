"""What a series allows us to say: one of four words, with the reason.

The rule was chosen by simulation among the usual ones
(``python -m norms.calibration.simulate_rules``): the running mean of the visits since
baseline, the newest weighing most, must leave limits whose price is set for all lines of a
page together and for a year of weekly looks.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from norms.band import Band, OutsideSem, Prior, band
from norms.baseline import BaselineRule, Point, Split, looks, split
from norms.limits import Kind, limits_by_look
from norms.running import (
    KEPT_SHARE,
    MIN_LOOKS,
    N_LOOKS,
    RULE_VERSION,
    follow,
    running_mean,
    weight_so_far,
)

Floats = NDArray[np.float64]
Word = Literal["beyond error", "possible, repeat", "within error", "withheld"]
Direction = Literal["lower", "higher", "toward_one", "none"]
# Slow learning may go on for half a year of weekly visits, and no rule tells it from change.
LEARNING_UNTIL_VISIT = 26
# Fewer visits set apart than this leave quick learning in the series too.
MIN_VISITS_APART = 6
LEARNING_LEVEL = 0.8
N_RECENT = 4


@dataclass(frozen=True, slots=True)
class Step:
    """The running mean after a look and the limits that decided there, for drawing.

    Parameters
    ----------
    visit : int
        The last visit of the look.
    value, low, high : float
        In the measure's unit. Limits are infinitely wide (or reach the end of the scale) at the
        first look, which never makes a verdict; while a verdict stands they are those within
        which it would end.
    side : int
        On which side it was out after this look; 0 for none.
    """

    visit: int
    value: float
    low: float
    high: float
    side: int


@dataclass(frozen=True, slots=True)
class Average:
    """The running mean of the visits since baseline, and what it is judged by.

    Parameters
    ----------
    value : float
        In the measure's unit; the newest look weighs 0.3, the one before it 0.7 of
        that, and so on.
    low, high : float
        The limits that decided at this look: those it left or did not leave, or, where the
        verdict stands from an earlier look and the mean lies within the limits again, those
        within which the verdict would end.
    n_visits : int
        Visits since baseline that count.
    named_look : bool
        Whether this is the look named beforehand, whose limits are narrower.
    since_visit : int or None
        The visit at which it left the limits, while the verdict stands.
    change_percent, low_percent, high_percent : float
        The same against the centre of the band; nan for a centre of 0.
    held : bool
        Whether the verdict stands from an earlier look while the mean lies within the limits.
    steps : tuple of Step
        After each look.
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
    held: bool = False
    steps: tuple[Step, ...] = ()


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
        "possible, repeat": the latest look lies outside the band. "within error": neither,
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
    n_repeats : int
        Repeat visits in the latest look: with one, its mean is what is told possible or not.
    kind : {"headline", "line", "alone"}
        The price its limits keep.
    doubt : str
        Which doubtful visits a worsening was told with, in words; empty without.
    rule : int
        Version of the rule.
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
    n_repeats: int = 0
    kind: Kind = "line"
    doubt: str = ""
    rule: int = RULE_VERSION


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
    kind: Kind = "line",
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
    kind : {"headline", "line", "alone"}
        Which price of false verdicts the line keeps.
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
            [p.value for p in parts.baseline],
            prior,
            log_scale=log_scale,
            outside=outside,
            later=_look_values(parts, log_scale=log_scale),
            days=[look[-1].day for look in looks(parts.later)],
            kind=kind,
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
    return _verdict(parts, own, direction, rule, kind)


def _nothing_counts(points: Sequence[Point], new_series: str) -> str:
    if not points:
        return "not done yet"
    reasons = sorted({point.reason for point in points if point.reason})
    said = f"no visit that counts ({'; '.join(reasons)})" if reasons else "no visit that counts"
    return f"new series, {new_series}: {said}" if new_series else said


def _look_values(parts: Split, *, log_scale: bool) -> list[float]:
    """Return one value a look: of a visit and its repeats the mean on that scale."""
    values = []
    for look in looks(parts.later):
        if log_scale:
            values.append(math.exp(sum(math.log(p.value) for p in look) / len(look)))
        else:
            values.append(sum(p.value for p in look) / len(look))
    return values


def _verdict(
    parts: Split, own: Band, direction: Direction, rule: BaselineRule, kind: Kind
) -> Verdict:
    latest = parts.later[-1]
    grouped = looks(parts.later)
    # A visit in which less was done is less exact, so its change counts for less.
    changes = [[own.change(p.value) / p.error for p in look] for look in grouped]
    means = np.array([sum(look) / len(look) for look in changes])
    average, side = _average(means, grouped, own, kind)
    newest, n_newest = float(means[-1]), len(grouped[-1])
    half = own.half_width(n_newest, own.level)
    latest_side = int(newest > half) - int(newest < -half)
    word: Word = "within error"
    better = None
    if side != 0:
        word = "beyond error"
        better = _better(side, direction, own, average.value)
    # A visit far out on the worse side takes the good news away.
    turned = side != 0 and latest_side == -side and better is True
    if turned or (side == 0 and latest_side != 0):
        word = "possible, repeat"
        better = _better(latest_side, direction, own, own.value_at(newest))
    learning = latest.visit <= LEARNING_UNTIL_VISIT or rule.n_visits < MIN_VISITS_APART
    if word in ("beyond error", "possible, repeat") and better:
        learning |= _was_learning(parts, own, direction)
    single = np.array([change for look in changes for change in look])
    return Verdict(
        word,
        "",
        better,
        own,
        latest,
        _percent(latest.value, own),
        learning,
        average,
        _recent(single, own),
        n_newest - 1,
        kind,
    )


def _average(
    means: Floats, grouped: Sequence[Sequence[Point]], own: Band, kind: Kind
) -> tuple[Average, int]:
    """Return the running mean after the latest look and the side it is out on, or 0."""
    allowed = limits_by_look(own.behind, own.n_baseline, kind)
    sds = np.array(own.sds)
    # A look whose week knew no scatter at all cannot be weighed, so it moves nothing.
    weighed = np.divide(
        means - np.array(own.shifts), sds, out=np.zeros_like(means), where=sds > 0
    )
    running = running_mean(weighed)
    sides, since = follow(running, allowed)
    steps = []
    held = False
    for n, (step, side) in enumerate(zip(running.tolist(), sides.tolist(), strict=True), 1):
        limit = float(allowed[n - 1])
        held = side != 0 and abs(step) <= limit
        if held:
            limit *= KEPT_SHARE
        unit = float(sds[n - 1]) / weight_so_far(n)
        reach = unit * limit if n >= MIN_LOOKS and unit > 0 else math.inf
        low, high = (own.value_at(x) if math.isfinite(x) else x for x in (-reach, reach))
        visit = grouped[n - 1][-1].visit
        steps.append(Step(visit, own.value_at(unit * step), low, high, side))
    last = steps[-1]
    change, low_percent, high_percent = (
        math.nan if percent is None else percent
        for percent in (_percent(x, own) for x in (last.value, last.low, last.high))
    )
    n = len(steps)
    average = Average(
        last.value,
        last.low,
        last.high,
        sum(len(look) for look in grouped),
        n == N_LOOKS,
        grouped[int(since) - 1][-1].visit if since else None,
        change,
        low_percent,
        high_percent,
        held,
        tuple(steps),
    )
    return average, last.side


def _recent(changes: Floats, own: Band) -> Recent:
    last = changes[-N_RECENT:]
    half = own.half_width(len(last), 0.95)
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
    t = float(stdtrit(own.df + own.more_df, LEARNING_LEVEL))
    return worse > t * own.error_of_mean(len(first))


def _better(side: int, direction: Direction, own: Band, value: float) -> bool | None:
    if direction == "none":
        return None
    if direction == "toward_one":
        return abs(value - 1) < abs(own.centre - 1)
    return (side < 0) == (direction == "lower")
