"""95 % intervals from windows in order of time, where neighbours may depend on each other."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import stdtrit

from battery.scoring.stats.intervals import NONE, TAIL, Floats, Interval, of_root
from battery.scoring.stats.resampling import MIN_RESAMPLED

MIN_WINDOWS = 3
REACH_OF_DEPENDENCE = 1 / 3  # of a record, over which windows may depend on each other


def of_dependent_mean(values: Floats) -> tuple[float, float]:
    """Error of a mean of values in order of time, and its multiple for a 95 % interval.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Of windows or pieces; only their differences from their mean count.

    Returns
    -------
    error : float
        Standard error, nan for n < 3; at least seven tenths of that without dependence.
    reach : float
        Multiple of it that makes half of a 95 % interval.

    Notes
    -----
    Covariances up to a third of the record, with Bartlett's weights (Newey WK, West KD 1987,
    Econometrica 55:703-708). So long a reach makes the error itself uncertain; the multiple
    allows for that (Kiefer NM, Vogelsang TJ 2005, Econometric Theory 21:1130-1164: 2.98 for a
    third; the polynomial from memory, held by `tests/literature/test_pointing.py`).
    """
    n = len(values)
    if n < MIN_WINDOWS:
        return math.nan, math.nan
    off = values - values.mean()
    most = max(1, round(REACH_OF_DEPENDENCE * n))
    covariances = np.correlate(off, off, "full")[n - 1 : n - 1 + most] / n
    alone = float(covariances[0])
    grown = alone + 2 * float((1 - np.arange(1, most) / most) @ covariances[1:])
    share = most / n
    reach = 1.9600 + 2.9694 * share + 0.4160 * share**2 - 0.5324 * share**3
    error = math.sqrt(max(grown, 0.5 * alone) / n)
    return error, max(reach, float(stdtrit(n - 1, 1 - TAIL)))


def of_root_power(powers: Floats, weights: Floats) -> Interval:
    """Interval of the root of a weighted mean power, on the log scale.

    Parameters
    ----------
    powers, weights : ndarray, shape (n,)
        Of windows in order of time.

    Returns
    -------
    low, high : float
        nan for fewer than three windows, or without any power.
    """
    n = len(powers)
    if n < 3 or not weights.sum() > 0:
        return NONE
    mean_power = float(np.average(powers, weights=weights))
    if not mean_power > 0:
        return NONE
    error, reach = of_dependent_mean(weights * (powers - mean_power) * n / weights.sum())
    return of_root(mean_power, reach * error)


def of_ratio(pieces: Floats) -> Interval:
    """Interval of a sum over a sum, of pieces in order of time.

    Parameters
    ----------
    pieces : ndarray, shape (n, 2)
        Numerator and denominator of each.

    Returns
    -------
    low, high : float
        nan for n < 5, and where all pieces have the same ratio.

    Notes
    -----
    Cochran WG (1977). Sampling Techniques, 6.3: the error of a ratio is that of the mean of
    ``numerator - ratio * denominator``. Pieces may depend on each other (`of_dependent_mean`).
    """
    above, below = pieces.sum(axis=0).tolist()
    if len(pieces) < MIN_RESAMPLED or not below > 0:
        return NONE
    found = above / below
    error, reach = of_dependent_mean(pieces[:, 0] - found * pieces[:, 1])
    if error == 0:
        return NONE
    half = reach * error * len(pieces) / below
    return found - half, found + half


def of_deleted(found: float, deleted: Floats) -> Interval:
    """Interval from leaving out one piece of time after another (jackknife).

    Parameters
    ----------
    found : float
        The statistic of the whole.
    deleted : ndarray, shape (n,)
        The statistic with each of n pieces left out, in order of time.

    Notes
    -----
    Künsch HR (1989). The jackknife and the bootstrap for general stationary observations. Ann
    Stat 17:1217-1241. What neighbouring pieces have in common counts (`of_dependent_mean`).
    """
    n = len(deleted)
    if n < 3 or not np.all(np.isfinite(deleted)):
        return NONE
    error, reach = of_dependent_mean((n - 1) * deleted)
    half = reach * error * math.sqrt(n / (n - 1))
    return found - half, found + half
