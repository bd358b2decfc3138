"""The error band: how far a visit may lie from baseline without anything having changed.

The person's own baseline scatter is shrunk towards that of everybody in the same store
(empirical Bayes for variances: Smyth 2004, Stat Appl Genet Mol Biol 3:3), because four visits
alone say little about a person's scatter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import digamma, polygamma
from scipy.stats import t as student

# Two visits running outside the band on one side. At these levels at most 5 % of unchanged
# people meet that rule in 12 weekly looks after 4 baseline visits; held by a test.
LEVEL_POOLED = 0.975
LEVEL_OWN = 0.98
LEAST_PEOPLE = 3


@dataclass(frozen=True, slots=True)
class Prior:
    """Scatter of everybody: a variance and how many degrees of freedom it is worth.

    `df` is infinite when people do not differ in scatter by more than chance.
    """

    variance: float
    df: float
    n_people: int
    n_visits: int


@dataclass(frozen=True, slots=True)
class Band:
    """Baseline plus and minus measurement error, in the measure's unit.

    Parameters
    ----------
    centre, low, high : float
    log_scale : bool
        Whether it was computed on logarithms; then it is wider upwards.
    df : float
        Degrees of freedom behind the scatter.
    n_baseline : int
    n_people : int
        People behind the pooled scatter; 0 when the person's own scatter stands alone, which
        is provisional and wide.
    """

    centre: float
    low: float
    high: float
    log_scale: bool
    df: float
    n_baseline: int
    n_people: int

    @property
    def provisional(self) -> bool:
        """Whether nobody could be pooled."""
        return self.n_people == 0

    @property
    def percent(self) -> tuple[float, float]:
        """How far down and up the band reaches, percent of the centre."""
        return 100 * (self.low / self.centre - 1), 100 * (self.high / self.centre - 1)

    def side(self, value: float) -> int:
        """1 above the band, -1 below it, 0 inside."""
        return int(value > self.high) - int(value < self.low)


def transform(
    values: Sequence[float], *, log_scale: bool
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Bring values to the scale on which they are compared.

    Raises
    ------
    ValueError
        If the log of a value that is not positive is asked for.
    """
    array = np.asarray(values, dtype=float)
    if not log_scale:
        return array
    if np.any(array <= 0):
        msg = f"{float(array.min())} has no logarithm; values must be above 0"
        raise ValueError(msg)
    return np.asarray(np.log(array))


def pool(groups: Sequence[Sequence[float]], *, log_scale: bool) -> Prior | None:
    """Estimate the prior scatter from everybody's baseline visits.

    Parameters
    ----------
    groups : sequence of sequences
        One group a person: the baseline values. Groups of fewer than two are passed over.

    Returns
    -------
    Prior or None
        None with fewer than three people: nobody to pool.

    Notes
    -----
    Moment estimates of Smyth (2004), section 6.2: with
    e = log s² - digamma(d/2) + log(d/2), the variance of e beyond trigamma(d/2) gives the prior degrees of freedom and its mean the prior
    variance.
    """
    useful = [transform(g, log_scale=log_scale) for g in groups if len(g) >= 2]
    variances = np.array([g.var(ddof=1) for g in useful])
    df = np.array([len(g) - 1 for g in useful], dtype=float)
    kept = variances > 0
    variances, df = variances[kept], df[kept]
    n_people = len(variances)
    if n_people < LEAST_PEOPLE:
        return None
    e = np.log(variances) - digamma(df / 2) + np.log(df / 2)
    excess = float(e.var(ddof=1) - polygamma(1, df / 2).mean())
    n_visits = int((df + 1).sum())
    if excess <= 0:
        return Prior(math.exp(float(e.mean())), math.inf, n_people, n_visits)
    prior_df = 2 * inverse_trigamma(excess)
    log_variance = float(e.mean() + digamma(prior_df / 2) - math.log(prior_df / 2))
    return Prior(math.exp(log_variance), prior_df, n_people, n_visits)


def inverse_trigamma(y: float) -> float:
    """Solve trigamma(x) = y for x, both above 0."""

    def miss(log_x: float) -> float:
        return float(polygamma(1, math.exp(log_x))) - y

    return math.exp(brentq(miss, -30, 30))


def moderate(own_variance: float, own_df: int, prior: Prior | None) -> tuple[float, float]:
    """Combine a person's own scatter with everybody's.

    Returns
    -------
    variance, df : float
        The weighted mean of both variances and the sum of their degrees of freedom; the own
        ones without a prior.
    """
    if prior is None:
        return own_variance, own_df
    if math.isinf(prior.df):
        return prior.variance, math.inf
    df = prior.df + own_df
    return (prior.df * prior.variance + own_df * own_variance) / df, df


def band(baseline: Sequence[float], prior: Prior | None, *, log_scale: bool) -> Band:
    """Compute the band of a person's baseline visits.

    Half width: ``t * s * sqrt(1 + 1/k)`` with k baseline visits, on the scale of comparison.

    Raises
    ------
    ValueError
        If there are fewer than two baseline visits.
    """
    k = len(baseline)
    if k < 2:
        msg = f"{k} baseline visits; at least 2 are needed for a band"
        raise ValueError(msg)
    values = transform(baseline, log_scale=log_scale)
    variance, df = moderate(float(values.var(ddof=1)), k - 1, prior)
    level = LEVEL_OWN if prior is None else LEVEL_POOLED
    half = float(student.ppf(level, df)) * math.sqrt(variance * (1 + 1 / k))
    centre = float(values.mean())
    low, high = centre - half, centre + half
    if log_scale:
        low, centre, high = math.exp(low), math.exp(centre), math.exp(high)
    return Band(centre, low, high, log_scale, df, k, prior.n_people if prior else 0)
