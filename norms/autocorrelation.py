"""How much one visit resembles the next within a person, from everybody's series.

A good week that drags into the next makes visits less than independent: limits set for
independent visits would then be crossed by one unchanged person in five instead of one in
twenty. Nobody's own series is long enough to tell; everybody's together may be.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Residual degrees of freedom over all series from which an autocorrelation is worth using: its
# standard error is then about 0.2.
LEAST_SERIES_DF = 30
MOST_AUTOCORRELATION = 0.7
LEAST_SERIES = 4
_GRID = np.linspace(-0.9, 0.95, 75)
_TINY = 1e-300


def autocorrelation(series: Sequence[Floats]) -> float:
    """Estimate how much one visit resembles the next, over everybody's series.

    Parameters
    ----------
    series : sequence of ndarray
        Values on the scale of comparison, one array a person, in order.

    Returns
    -------
    float
        0 to 0.7. 0 also where all series together hold too little to say (fewer than 30
        residual degrees of freedom), and where the estimate is negative: limits are never
        narrowed by it.

    Notes
    -----
    A slow change of the person is no scatter, so each series is freed of a level (fewer than 6
    visits), a line (fewer than 10) or a parabola. What is left has a lag-1 correlation that is
    too low by a known amount; the value returned is that of the first-order autoregression
    whose residuals are expected to correlate as found. Missed weeks are not seen: visits
    count as neighbours.
    """
    groups: dict[int, list[Floats]] = {}
    for values in series:
        if len(values) >= LEAST_SERIES:
            groups.setdefault(len(values), []).append(values)
    stacked = [np.array(rows) for rows in groups.values()]
    return float(pooled_autocorrelation(stacked)) if stacked else 0.0


def residual_maker(n: int) -> Floats:
    """Return the matrix that frees a series of n visits of its slow change, shape (n, n)."""
    degree = 0 if n < 6 else 1 if n < 10 else 2
    design = np.vander(np.linspace(-1, 1, n), degree + 1)
    return np.asarray(np.eye(n) - design @ np.linalg.pinv(design))


def pooled_autocorrelation(stacked: Sequence[Floats]) -> Floats:
    """Estimate the autocorrelation from stacks of series of the same length.

    Parameters
    ----------
    stacked : sequence of ndarray, each of shape (..., n_people, n_visits)
        Leading axes are separate clinics, the same in every stack.

    Returns
    -------
    ndarray, shape (...)
    """
    found = np.float64(0)
    expected = np.zeros(len(_GRID))
    total = 0.0
    for values in stacked:
        n_people, n = values.shape[-2:]
        maker = residual_maker(n)
        df = n_people * float(np.trace(maker))
        left = values @ maker
        squares = (left**2).sum(axis=-1)
        # Large scatter must not rule the estimate; a larger share of the own would bias it.
        weight = 1 / (0.1 * squares + 0.9 * squares.mean(axis=-1, keepdims=True) + _TINY)
        lag = (weight * (left[..., 1:] * left[..., :-1]).sum(axis=-1)).sum(axis=-1)
        found = found + df * lag / ((weight * squares).sum(axis=-1) + _TINY)
        for index, rho in enumerate(_GRID):
            spread = maker @ correlation(n, float(rho)) @ maker
            expected[index] += df * np.trace(spread, offset=1) / np.trace(spread)
        total += df
    if total < LEAST_SERIES_DF:
        return np.zeros(np.shape(found))
    rho = np.interp(found / total, expected / total, _GRID)
    return np.asarray(np.clip(rho, 0.0, MOST_AUTOCORRELATION))


def correlation(n: int, rho: float) -> Floats:
    """Return the correlations of n visits of a first-order autoregression, shape (n, n)."""
    gap = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    return np.asarray(np.where(gap == 0, 1.0, float(rho) ** np.maximum(gap, 1)))


def baseline_factors(n_baseline: int, rho: float) -> tuple[float, float]:
    """Return what autocorrelation does to the variance and to the mean of a baseline.

    Returns
    -------
    variance_factor, mean_factor : float
        Expected sample variance, and variance of the mean, both in units of the variance of a
        visit. 1 and 1/k for independent visits.
    """
    mean_factor = float(correlation(n_baseline, rho).mean())
    return n_baseline * (1 - mean_factor) / (n_baseline - 1), mean_factor
