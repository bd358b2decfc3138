"""How well a measure repeats: from people measured at several visits without any change.

The intraclass correlation says how well people are told apart and depends on how much they
differ; the standard error of measurement does not, and is what the error band needs.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtri, stdtrit

from norms.scatter import transform

Floats = NDArray[np.float64]
MIN_PEOPLE = 3
Z95 = 1.96  # as the formulas are printed


class MeanSquares(NamedTuple):
    """Mean squares of a table of people by visits.

    Parameters
    ----------
    n_people, n_visits : int
    people, within, visits, error : float
        Between people; within people; between visits; what neither explains.
    """

    n_people: int
    n_visits: int
    people: float
    within: float
    visits: float
    error: float


class Interval(NamedTuple):
    """A value and its 95 % interval."""

    value: float
    low: float
    high: float


class BlandAltman(NamedTuple):
    """Agreement of two visits (Bland & Altman 1986, Lancet 1:307-310).

    Parameters
    ----------
    bias : Interval
        Mean difference, second minus first.
    sd : float
        Standard deviation of the differences.
    low, high : float
        Limits of agreement, ``bias ± 1.96 sd``: 95 of 100 differences lie between them.
    n_people : int
    """

    bias: Interval
    sd: float
    low: float
    high: float
    n_people: int


@dataclass(frozen=True, slots=True)
class Reliability:
    """What repeated visits of several people say about a measure.

    Parameters
    ----------
    n_people, n_visits : int
    icc : mapping of str to Interval
        By name: (1,1), (2,1), (3,1) for one visit, (1,k), (2,k), (3,k) for the mean of all.
    sem : float
        Standard error of measurement on the scale of comparison.
    mdc95 : float
        Smallest difference of two single visits beyond error, same scale.
    sem_percent, mdc95_percent : float
        On the log scale: as percent of the value, the second one upwards; nan otherwise.
    first_to_last : BlandAltman
        Of the first and the last visit: whether people drift.
    """

    n_people: int
    n_visits: int
    icc: Mapping[str, Interval]
    sem: float
    mdc95: float
    sem_percent: float
    mdc95_percent: float
    first_to_last: BlandAltman


def mean_squares(scores: ArrayLike) -> MeanSquares:
    """Split the spread of people by visits.

    Parameters
    ----------
    scores : array_like, shape (n_people, n_visits)
        Complete: a person with a missing visit is left out by the caller, who then knows it.

    Raises
    ------
    ValueError
        If the table is too small or has a missing value.
    """
    table = np.asarray(scores, dtype=float)
    if table.ndim != 2 or table.shape[0] < MIN_PEOPLE or table.shape[1] < 2:
        msg = f"a table of {table.shape} is too small; at least {MIN_PEOPLE} people by 2 visits"
        raise ValueError(msg)
    if not np.isfinite(table).all():
        n_bad = int((~np.isfinite(table).all(axis=1)).sum())
        msg = f"{n_bad} people have a missing visit; leave them out or the visit"
        raise ValueError(msg)
    n, k = table.shape
    rows, columns = table.mean(axis=1), table.mean(axis=0)
    left = table - rows[:, np.newaxis] - columns + table.mean()
    return MeanSquares(
        n,
        k,
        float(k * rows.var(ddof=1)),
        float(table.var(axis=1, ddof=1).mean()),
        float(n * columns.var(ddof=1)),
        float((left**2).sum() / ((n - 1) * (k - 1))),
    )


def icc(scores: ArrayLike) -> dict[str, Interval]:
    """Return the six intraclass correlations with their 95 % intervals.

    (1,·): each person by other raters or devices; (2,·): agreement, systematic differences
    between visits count as error; (3,·): consistency, they do not. k: the mean of all visits.

    References
    ----------
    .. [1] Shrout PE, Fleiss JL (1979). Intraclass correlations: uses in assessing rater
       reliability. Psychol Bull 86:420-428.
    .. [2] McGraw KO, Wong SP (1996). Forming inferences about some intraclass correlation
       coefficients. Psychol Methods 1:30-46. (The interval of (2,1).)
    """
    ms = mean_squares(scores)
    n, k = ms.n_people, ms.n_visits
    one = _from_ratio(ms.people / ms.within, n - 1, n * (k - 1), k)
    three = _from_ratio(ms.people / ms.error, n - 1, (n - 1) * (k - 1), k)
    two = _agreement(ms)
    found = {"(1,1)": one, "(2,1)": two, "(3,1)": three}
    for name, single in list(found.items()):
        found[name.replace(",1", ",k")] = Interval(*(_of_mean(x, k) for x in single))
    return found


def _of_mean(single: float, k: int) -> float:
    return k * single / (1 + (k - 1) * single)


def _from_ratio(f: float, df1: float, df2: float, k: int) -> Interval:
    def of(ratio: float) -> float:
        return (ratio - 1) / (ratio + k - 1)

    low = f / float(fdtri(df1, df2, 0.975))
    high = f * float(fdtri(df2, df1, 0.975))
    return Interval(of(f), of(low), of(high))


def _agreement(ms: MeanSquares) -> Interval:
    n, k = ms.n_people, ms.n_visits
    value = (ms.people - ms.error) / (
        ms.people + (k - 1) * ms.error + k * (ms.visits - ms.error) / n
    )
    if ms.error == 0:
        return Interval(value, math.nan, math.nan)
    ratio = ms.visits / ms.error
    top = k * value * ratio + n * (1 + (k - 1) * value) - k * value
    df = (
        (k - 1)
        * (n - 1)
        * top**2
        / ((n - 1) * k**2 * value**2 * ratio**2 + (n * (1 + (k - 1) * value) - k * value) ** 2)
    )
    f_low, f_high = float(fdtri(n - 1, df, 0.975)), float(fdtri(df, n - 1, 0.975))
    rest = k * ms.visits + (k * n - k - n) * ms.error
    low = n * (ms.people - f_low * ms.error) / (f_low * rest + n * ms.people)
    high = n * (f_high * ms.people - ms.error) / (rest + n * f_high * ms.people)
    return Interval(value, low, high)


def sem(scores: ArrayLike) -> float:
    """Return the standard error of measurement: the root of the error mean square.

    Preferred to ``SD sqrt(1 - ICC)``, as it does not depend on how much the people differ
    (Weir 2005, J Strength Cond Res 19:231-240).
    """
    return math.sqrt(mean_squares(scores).error)


def sem_from_icc(sd: float, reliability: float) -> float:
    """Return the standard error of measurement from a published spread and correlation.

    Raises
    ------
    ValueError
        If the spread is negative or the correlation not between 0 and 1.
    """
    if sd < 0 or not 0 <= reliability <= 1:
        msg = f"{sd=} must not be negative and {reliability=} lie between 0 and 1"
        raise ValueError(msg)
    return sd * math.sqrt(1 - reliability)


def mdc95(sem: float, *, n_baseline: int = 1) -> float:
    """Return the smallest change beyond error: one visit against the mean of n baseline visits.

    ``1.96 sem sqrt(1 + 1/n)``; holds where the standard error is known, not estimated from
    those very visits.
    """
    return Z95 * sem * math.sqrt(1 + 1 / n_baseline)


def percent_up(log_change: float) -> float:
    """Return a change of logarithms as percent upwards."""
    return 100 * math.expm1(log_change)


def bland_altman(first: ArrayLike, second: ArrayLike) -> BlandAltman:
    """Compare two visits of the same people.

    Raises
    ------
    ValueError
        If they differ in length or are fewer than three pairs.
    """
    a, b = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if a.shape != b.shape or a.ndim != 1 or len(a) < MIN_PEOPLE:
        msg = f"{a.shape} and {b.shape} are not the same {MIN_PEOPLE} or more people"
        raise ValueError(msg)
    difference = b - a
    mean, sd, n = float(difference.mean()), float(difference.std(ddof=1)), len(a)
    half = float(stdtrit(n - 1, 0.975)) * sd / math.sqrt(n)
    return BlandAltman(
        Interval(mean, mean - half, mean + half), sd, mean - Z95 * sd, mean + Z95 * sd, n
    )


def reliability(scores: ArrayLike, *, log_scale: bool) -> Reliability:
    """Put together what repeated visits say about a measure.

    Parameters
    ----------
    scores : array_like, shape (n_people, n_visits)
        Visits between which nobody changed; complete.
    log_scale : bool
        Whether the measure is compared on logarithms.

    Raises
    ------
    ValueError
        If the table is too small, has a missing value, or a value without a logarithm.
    """
    table = transform(scores, log_scale=log_scale)
    ms = mean_squares(table)
    error = math.sqrt(ms.error)
    change = mdc95(error)
    return Reliability(
        ms.n_people,
        ms.n_visits,
        icc(table),
        error,
        change,
        100 * math.sqrt(math.expm1(error**2)) if log_scale else math.nan,
        percent_up(change) if log_scale else math.nan,
        bland_altman(table[:, 0], table[:, -1]),
    )
