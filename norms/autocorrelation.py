"""How much one visit resembles the next within a person, from everybody's series.

A good week that drags into the next makes visits less than independent: limits set for
independent visits would then be crossed by one unchanged person in five instead of one in
twenty. Nobody's own series is long enough to tell; everybody's together may be.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Residual degrees of freedom over all series from which an autocorrelation is worth using: its
# standard error is then about 0.2.
MIN_SERIES_DF = 30
MAX_AUTOCORRELATION = 0.7
MIN_SERIES = 4
# Of a longer series the newest visits: over more no parabola follows a person.
MAX_SERIES = 26
# How alike people are taken to be in scatter while the autocorrelation is sought.
SCATTER_DF = 6.0
_GRID = np.linspace(0.0, MAX_AUTOCORRELATION, 36)
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
        0 to 0.7 in steps of 0.02. 0 also where all series together hold too little to say
        (fewer than 30 residual degrees of freedom). Never negative: limits are never narrowed
        by it.

    Notes
    -----
    Of each series the newest 26 visits are taken. A slow change of the person is no scatter,
    so each is freed of a level (fewer than 6 visits), a line (fewer than 10) or a parabola. Of
    what is left the restricted likelihood of a first-order autoregression is taken, people's
    variances being scaled inverse chi-squared about a common one, and its highest point is
    returned. Missed weeks are not seen: visits count as neighbours.
    """
    groups: dict[int, list[Floats]] = {}
    for values in series:
        newest = values[-MAX_SERIES:]
        if len(newest) >= MIN_SERIES:
            groups.setdefault(len(newest), []).append(newest)
    stacked = [np.array(rows) for rows in groups.values()]
    return float(pooled_autocorrelation(stacked)) if stacked else 0.0


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
    squares, df, constant = [], [], np.zeros(len(_GRID))
    for stack in stacked:
        values = stack[..., -MAX_SERIES:]
        n_people, n = values.shape[-2:]
        whiteners, logs = _whiteners(n)
        constant -= 0.5 * n_people * logs
        # Shape (rho, ..., n_people): what is left of each series, freed and made independent.
        squares.append(np.array([((values @ w.T) ** 2).sum(axis=-1) for w in whiteners]))
        df.append(np.full(n_people, len(whiteners[0])))
    left, d = np.concatenate(squares, axis=-1) + _TINY, np.concatenate(df)
    if d.sum() < MIN_SERIES_DF:
        return np.zeros(left.shape[1:-1])
    centre = np.exp(np.log(left / d).mean(axis=-1, keepdims=True))
    likelihood = -0.5 * ((SCATTER_DF + d) * np.log(SCATTER_DF * centre + left)).sum(axis=-1)
    likelihood += 0.5 * SCATTER_DF * len(d) * np.log(centre[..., 0])
    likelihood += constant.reshape(-1, *(1,) * (likelihood.ndim - 1))
    return np.asarray(_GRID[likelihood.argmax(axis=0)])


@cache
def _whiteners(n: int) -> tuple[tuple[Floats, ...], Floats]:
    """Return, for each autocorrelation, what frees a series and makes its visits independent.

    Applied to a series of n visits of variance 1 it gives independent values of variance 1. The
    log determinants of what was divided out come second.
    """
    contrasts = free_of_slow_change(n)
    halves = [
        np.linalg.cholesky(contrasts @ correlation(n, float(rho)) @ contrasts.T)
        for rho in _GRID
    ]
    logs = np.array([2 * np.log(np.diag(half)).sum() for half in halves])
    return tuple(np.linalg.solve(half, contrasts) for half in halves), logs


def free_of_slow_change(n: int) -> Floats:
    """Return orthonormal contrasts of n visits free of slow change, shape (n_left, n)."""
    degree = 0 if n < 6 else 1 if n < 10 else 2
    design = np.vander(np.linspace(-1, 1, n), degree + 1)
    whole, _ = np.linalg.qr(design, mode="complete")
    return np.asarray(whole[:, degree + 1 :].T)


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
