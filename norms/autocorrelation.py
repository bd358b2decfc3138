"""How much one visit resembles the next within a person, from everybody's series.

A good week that drags into the next makes visits less than independent: limits set for
independent visits would then be crossed by one unchanged person in five instead of one in
twenty. Nobody's own series is long enough to tell; everybody's together may be.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

MAX_AUTOCORRELATION = 0.7
MIN_SERIES = 4
# Of a longer series the newest visits: over more no parabola follows a person.
MAX_SERIES = 26
# How alike people are taken to be in scatter while the autocorrelation is sought.
SCATTER_DF = 6.0
# Before anything is seen, weeks are taken to depend little: an exponential distribution of this
# mean. It keeps a handful of series from widening limits by chance.
GUESSED_MEAN = 0.2
_GRID = np.linspace(0.0, MAX_AUTOCORRELATION, 15)
_TINY = 1e-300
_AT_ONCE = 10_000  # people times weeks, to need little memory


def autocorrelation(series: Sequence[Floats], steps: Sequence[int] = ()) -> float:
    """Estimate how much one visit resembles the next, over everybody's series.

    Parameters
    ----------
    series : sequence of ndarray
        Values on the scale of comparison, one array a person, in order.
    steps : sequence of int, optional
        For each series the number of visits before a place where its level may change at once:
        the end of the baseline. 0 for none.

    Returns
    -------
    float
        0 to 0.7. Never negative: limits are never narrowed by it.

    Notes
    -----
    Of each series the newest 26 visits are taken. A slow change of the person is no scatter,
    so each is freed of a level (fewer than 6 visits), a line (fewer than 10) or a parabola, and
    of a step at the end of the baseline, or a true change would be taken for dependence. Of
    what is left the restricted likelihood of a first-order autoregression is taken, people's
    variances being scaled inverse chi-squared about a common one, weighed by how likely an
    autocorrelation was before, and its highest point is returned. Missed weeks are not seen:
    visits count as neighbours.
    """
    groups: dict[tuple[int, int], list[Floats]] = {}
    for i, values in enumerate(series):
        newest = values[-MAX_SERIES:]
        step = steps[i] - (len(values) - len(newest)) if steps else 0
        if len(newest) >= MIN_SERIES:
            groups.setdefault((len(newest), max(0, step)), []).append(newest)
    stacked = [np.array(rows) for rows in groups.values()]
    places = [step for _, step in groups]
    return float(pooled_autocorrelation(stacked, places)) if stacked else 0.0


def pooled_autocorrelation(
    stacked: Sequence[Floats], steps: Sequence[int] = (), *, guessed_mean: float = GUESSED_MEAN
) -> Floats:
    """Estimate the autocorrelation from stacks of series of the same length.

    Parameters
    ----------
    stacked : sequence of ndarray, each of shape (..., n_people, n_visits)
        Leading axes are separate clinics, the same in every stack.
    steps : sequence of int, optional
        For each stack the number of visits before a place where the level may change.
    guessed_mean : float
        Of the autocorrelation, before anything is seen; infinite to suppose nothing.

    Returns
    -------
    ndarray, shape (...)
    """
    squares, df, constant = [], [], np.zeros(len(_GRID))
    for i, stack in enumerate(stacked):
        values = stack[..., -MAX_SERIES:]
        n_people, n = values.shape[-2:]
        step = steps[i] - (stack.shape[-1] - n) if steps else 0
        whiteners, logs = _whiteners(n, max(0, step))
        if not len(whiteners[0]):
            continue
        constant = constant - 0.5 * n_people * logs
        # Shape (rho, ..., n_people): what is left of each series, freed and made independent.
        squares.append(np.array([((values @ w.T) ** 2).sum(axis=-1) for w in whiteners]))
        df.append(np.full(n_people, len(whiteners[0])))
    if not squares:
        return np.zeros(stacked[0].shape[:-2])
    left, d = np.concatenate(squares, axis=-1), np.concatenate(df)
    constant = constant.reshape(-1, *(1,) * (left.ndim - 2))
    return _likeliest(left, d, constant, guessed_mean)


def autocorrelation_by_week(
    series: Sequence[Floats], steps: ArrayLike, counts: NDArray[np.int64]
) -> Floats:
    """Estimate the autocorrelation from the first visits of everybody, week by week.

    Parameters
    ----------
    series, steps : as for `autocorrelation`
        One step a series.
    counts : ndarray of int, shape (n_weeks, n_people)
        How many visits of each series had been; 0 leaves it out.

    Returns
    -------
    ndarray, shape (n_weeks,)
        Each as `autocorrelation` returns it of what had been.
    """
    n_people, most = len(series), int(counts.max(initial=0))
    told = np.array([min(len(values), most) for values in series])
    padded = np.zeros((n_people, most))
    padded[np.arange(most) < told[:, np.newaxis]] = np.concatenate(
        [values[:most] for values in series]
    )
    kinds, kind = np.unique(np.asarray(steps, dtype=np.int64), return_inverse=True)
    lengths = np.unique(counts)
    place = np.searchsorted(lengths, counts)
    left = np.zeros((n_people, len(lengths), len(_GRID)))
    df = np.zeros((len(kinds), len(lengths)))
    logs = np.zeros((*df.shape, len(_GRID)))
    for i, (j, n) in itertools.product(range(len(kinds)), enumerate(lengths)):
        first = max(0, n - MAX_SERIES)
        whiteners, own = _whiteners(n - first, max(0, int(kinds[i]) - first))
        if n >= MIN_SERIES and len(whiteners[0]):
            # Of everybody of this kind, there or not: what is told of one person must not hang
            # on who else has as many visits, not even in its last bit.
            rows = np.flatnonzero(kind == i)
            made = padded[rows, first:n] @ np.concatenate(whiteners).T
            left[rows, j] = (made.reshape(len(rows), len(_GRID), -1) ** 2).sum(axis=-1)
            df[i, j], logs[i, j] = len(whiteners[0]), own
    found = np.zeros(len(counts))
    people = np.arange(n_people)
    n_weeks = max(1, _AT_ONCE // n_people)
    for i in range(0, len(counts), n_weeks):
        some = place[i : i + n_weeks]
        d, constant = df[kind, some], -0.5 * logs[kind, some].sum(axis=1).T
        known = d.any(axis=1)
        if known.any():
            own = np.ascontiguousarray(np.moveaxis(left[people, some[known]], 2, 0))
            likeliest = _likeliest(own, d[known], constant[:, known], GUESSED_MEAN)
            found[i : i + n_weeks][known] = likeliest
    return found


def _likeliest(left: Floats, d: Floats, constant: Floats, guessed_mean: float) -> Floats:
    """Return the likeliest autocorrelation.

    Parameters
    ----------
    left : ndarray, shape (n_grid, ..., n_people)
        Sums of squares of what is left of each series, made independent.
    d : ndarray, broadcast to shape (..., n_people)
        Their degrees of freedom; 0 leaves a series out.
    constant : ndarray, broadcast to shape (n_grid, ...)
    """
    told = d > 0
    count = told.sum(axis=-1)
    left = np.where(told, left + _TINY, 1.0)
    sizes = np.log(left / np.where(told, d, 1.0)).sum(axis=-1) / count
    centre = np.exp(sizes)[..., np.newaxis]
    each = np.where(told, SCATTER_DF + d, 0.0) * np.log(SCATTER_DF * centre + left)
    likelihood = -0.5 * each.sum(axis=-1) + 0.5 * SCATTER_DF * count * sizes + constant
    likelihood -= (_GRID / guessed_mean).reshape(-1, *(1,) * (likelihood.ndim - 1))
    return _highest(likelihood)


def _highest(likelihood: Floats) -> Floats:
    """Return where the parabola through the highest point and its neighbours is highest."""
    width = _GRID[1] - _GRID[0]
    best = likelihood.argmax(axis=0)
    middle = np.clip(best, 1, len(_GRID) - 2)
    before, here, after = (
        np.take_along_axis(likelihood, middle[np.newaxis] + shift, axis=0)[0]
        for shift in (-1, 0, 1)
    )
    bend = before - 2 * here + after
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(bend < 0, 0.5 * (before - after) / bend, 0.0)
    found = np.where(best == middle, _GRID[middle] + width * np.clip(shift, -1, 1), _GRID[best])
    return np.asarray(np.clip(found, 0.0, MAX_AUTOCORRELATION))


@cache
def _whiteners(n: int, step: int = 0) -> tuple[tuple[Floats, ...], Floats]:
    """Return, for each autocorrelation, what frees a series and makes its visits independent.

    Applied to a series of n visits of variance 1 it gives independent values of variance 1. The
    log determinants of what was divided out come second.
    """
    contrasts = free_of_slow_change(n, step)
    halves = [
        np.linalg.cholesky(contrasts @ correlation(n, float(rho)) @ contrasts.T)
        for rho in _GRID
    ]
    logs = np.array([2 * np.log(np.diag(half)).sum() for half in halves])
    return tuple(np.linalg.solve(half, contrasts) for half in halves), logs


def free_of_slow_change(n: int, step: int = 0) -> Floats:
    """Return orthonormal contrasts of n visits free of slow change, shape (n_left, n).

    Parameters
    ----------
    step : int
        Visits before a place where the level may change at once; 0 or n for none.
    """
    degree = 0 if n < 6 else 1 if n < 10 else 2
    design = np.vander(np.linspace(-1, 1, n), degree + 1)
    if 0 < step < n:
        design = np.column_stack([design, np.arange(n) >= step])
    whole, _ = np.linalg.qr(design, mode="complete")
    return np.asarray(whole[:, design.shape[1] :].T)


def correlation(n: int, rho: float) -> Floats:
    """Return the correlations of n visits of a first-order autoregression, shape (n, n)."""
    gap = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    return np.asarray(np.where(gap == 0, 1.0, float(rho) ** np.maximum(gap, 1)))


def mean_factor(n: int, rho: ArrayLike) -> Floats:
    """Return the variance of the mean of n visits, in units of the variance of one."""
    gaps = np.arange(1, n)
    powers = np.asarray(rho, dtype=float)[..., np.newaxis] ** gaps
    return np.asarray((1 + 2 * ((1 - gaps / n) * powers).sum(axis=-1)) / n)


def variance_factor(n: int, rho: ArrayLike) -> Floats:
    """Return the expected sample variance of n visits, in units of the variance of one."""
    return np.asarray(n * (1 - mean_factor(n, rho)) / (n - 1))
