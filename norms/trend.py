"""Whether and how fast a series drifts: without supposing a shape of errors.

A description beside the verdict, never a verdict: a trend over all visits cannot tell learning
from change, and dependent weeks make it look surer than it is (an autocorrelation of 0.4 gives
a test at 5 % a false alarm in 15 % of twelve-visit series).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import accumulate
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from norms.scatter import transform

# With four visits the smallest two-sided probability is 1/12: no order of them can show a
# trend.
MIN_VISITS = 5
# Above this many tied visits counting out all orders takes too long.
MAX_COUNTED = 60


class Slope(NamedTuple):
    """Median slope with its 95 % interval, per unit of time."""

    value: float
    low: float
    high: float


class MannKendall(NamedTuple):
    """Test of steady rise or fall.

    Parameters
    ----------
    s : int
        Pairs that rise minus pairs that fall.
    tau : float
        The same as a part of all pairs that differ (tau-b).
    p : float
        Two-sided, exact unless `exact` is false.
    n_visits : int
    exact : bool
        Whether p was counted out over all orders; the normal approximation is used only for
        long series with ties.
    """

    s: int
    tau: float
    p: float
    n_visits: int
    exact: bool


class Trend(NamedTuple):
    """A series' drift for the page.

    Parameters
    ----------
    per_week : Slope
        In the measure's unit, or for log scale in percent a week.
    p : float
        Of Mann-Kendall; nan with fewer than five visits.
    n_visits : int
    reason : str
        Why there is none; empty otherwise.
    """

    per_week: Slope
    p: float
    n_visits: int
    reason: str = ""


def theil_sen(values: ArrayLike, times: ArrayLike) -> Slope:
    """Return the median of the slopes of all pairs, with its 95 % interval.

    Parameters
    ----------
    values, times : array_like, shape (n,)

    Raises
    ------
    ValueError
        If there are fewer than two visits or no two times differ.

    References
    ----------
    .. [1] Sen PK (1968). Estimates of the regression coefficient based on Kendall's tau. J Am
    Stat
       Assoc 63:1379-1389.
    """
    y, t = np.asarray(values, dtype=float), np.asarray(times, dtype=float)
    if len(y) < 2 or len(y) != len(t) or np.ptp(t) == 0:
        msg = f"{len(y)} values at {len(t)} times; at least 2 at different times are needed"
        raise ValueError(msg)
    from scipy.stats import theilslopes  # slow to load, and a verdict needs none of it

    found = theilslopes(y, t, alpha=0.95)
    return Slope(float(found.slope), float(found.low_slope), float(found.high_slope))


def mann_kendall(values: ArrayLike) -> MannKendall:
    """Test whether a series, in order of visits, rises or falls.

    Raises
    ------
    ValueError
        If there are fewer than three visits.

    References
    ----------
    .. [1] Mann HB (1945). Nonparametric tests against trend. Econometrica 13:245-259.
    .. [2] Kendall MG (1938). A new measure of rank correlation. Biometrika 30:81-93.
    """
    y = np.asarray(values, dtype=float)
    n = len(y)
    if n < 3:
        msg = f"{n} visits; at least 3 are needed"
        raise ValueError(msg)
    upper = np.triu_indices(n, 1)
    signs = np.sign(y[upper[1]] - y[upper[0]])
    s = int(signs.sum())
    if not signs.any():
        return MannKendall(0, 0.0, 1.0, n, exact=True)
    tied = bool((signs == 0).any())
    from scipy.stats import kendalltau

    found = kendalltau(np.arange(n), y, method="asymptotic" if tied else "exact")
    counted = tied and n <= MAX_COUNTED
    p = _counted(y, s) if counted else float(found.pvalue)
    return MannKendall(s, float(found.statistic), p, n, counted or not tied)


def _counted(y: NDArray[np.float64], s: int) -> float:
    """Count the orders of tied values that are at least as steady, exactly.

    The number of orders with i pairs the wrong way round is the i-th coefficient of the
    Gaussian multinomial ``prod(1 - q^k, k = 1..n) / prod(1 - q^j, j = 1..m of each tie)``
    (MacMahon PA, 1915, Combinatory Analysis), and S is the untied pairs less twice i.
    """
    sizes = [int(m) for m in np.unique(y, return_counts=True)[1]]
    n = len(y)
    untied = n * (n - 1) // 2 - sum(m * (m - 1) // 2 for m in sizes)
    ways = [1] + [0] * untied
    below = [j for m in sizes for j in range(1, m + 1)]
    for k, j in zip(range(1, n + 1), below, strict=True):
        ways = [a - b for a, b in zip(ways, [0] * k + ways, strict=False)]
        for start in range(j):
            ways[start::j] = accumulate(ways[start::j])
    as_steady = sum(w for i, w in enumerate(ways) if abs(untied - 2 * i) >= abs(s))
    return as_steady / sum(ways)


def trend(values: Sequence[float], weeks: Sequence[float], *, log_scale: bool) -> Trend:
    """Describe the drift of a series.

    Parameters
    ----------
    values : sequence of float
        Visits that count, in order.
    weeks : sequence of float
        When they were, in weeks from any day.
    log_scale : bool
        Whether the slope is told in percent a week.
    """
    nothing = Slope(math.nan, math.nan, math.nan)
    if len(values) < MIN_VISITS:
        reason = f"{len(values)} visits can show no trend; at least {MIN_VISITS} are needed"
        return Trend(nothing, math.nan, len(values), reason)
    if log_scale and min(values) <= 0:
        return Trend(nothing, math.nan, len(values), "a value of 0 has no logarithm")
    y = transform(values, log_scale=log_scale)
    slope = theil_sen(y, weeks)
    if log_scale:
        slope = Slope(*(100 * math.expm1(x) for x in slope))
    return Trend(slope, mann_kendall(y).p, len(values))
