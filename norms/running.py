"""The running mean of the visits since baseline, and whether it has left its limits."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Of each new visit in the running mean.
NEWEST_WEIGHT = 0.25
# Visits since baseline for which the limits are set; at the last of them comes the look named
# beforehand, with the inner limit.
N_LOOKS = 12
# One visit alone never makes a verdict, however far out.
MIN_LOOKS = 2


def running_mean(changes: Floats) -> Floats:
    """Average changes from baseline, the newest weighing most, from 0 at baseline.

    Parameters
    ----------
    changes : ndarray, shape (..., n_visits)
        Differences from the baseline mean, in order of visits.

    Returns
    -------
    ndarray, shape (..., n_visits)
        After each visit. It starts at 0, so that few visits move it little: divide by
        `weight_so_far` for a mean.
    """
    return ewma(changes, start=0.0, weight=NEWEST_WEIGHT)


def ewma(values: Floats, *, start: float, weight: float) -> Floats:
    """Return the exponentially weighted moving average after each visit.

    Parameters
    ----------
    values : ndarray, shape (..., n_visits)
    start : float
        Where it stands before the first.
    weight : float
        Of the newest, above 0 and at most 1.

    Returns
    -------
    ndarray, shape (..., n_visits)

    Raises
    ------
    ValueError
        If the weight is out of its range.

    References
    ----------
    .. [1] Roberts SW (1959). Control chart tests based on geometric moving averages.
       Technometrics 1:239-250.
    """
    if not 0 < weight <= 1:
        msg = f"{weight=} must be above 0 and at most 1"
        raise ValueError(msg)
    out = np.empty_like(values, dtype=np.float64)
    now = np.full(values.shape[:-1], float(start))
    for i in range(values.shape[-1]):
        now = (1 - weight) * now + weight * values[..., i]
        out[..., i] = now
    return out


def weight_so_far(n_visits: int) -> float:
    """Return how much of the running mean has been filled by n visits, 0 to 1."""
    return float(1 - (1 - NEWEST_WEIGHT) ** n_visits)


def follow(steps: Floats, outer: ArrayLike, inner: ArrayLike) -> tuple[Ints, Ints]:
    """Follow running means visit by visit and tell who is out at the end.

    Once out, a person counts as out until the running mean comes back within the inner limit or
    crosses to the other side, so that a verdict does not flicker. That makes no first verdict
    more likely.

    Parameters
    ----------
    steps : ndarray, shape (..., n_visits)
        Running means, on the scale of the limits.
    outer, inner : array_like, shape (...)
        Limits: the outer one at every visit from the second, the inner one at the twelfth.

    Returns
    -------
    side : ndarray of int, shape (...)
        1 above, -1 below, 0 not out.
    since : ndarray of int, shape (...)
        Number of the visit, from 1, at which it went out; 0 if it is not.
    """
    shape = steps.shape[:-1]
    side = np.zeros(shape, dtype=np.int64)
    since = np.zeros(shape, dtype=np.int64)
    for n in range(1, steps.shape[-1] + 1):
        step = steps[..., n - 1]
        here = np.where(step < 0, -1, 1)
        back = (side != 0) & ((here != side) | (np.abs(step) <= inner))
        side, since = np.where(back, 0, side), np.where(back, 0, since)
        limit = inner if n == N_LOOKS else outer
        leaves = (n >= MIN_LOOKS) & (np.abs(step) > limit) & (side == 0)
        side, since = np.where(leaves, here, side), np.where(leaves, n, since)
    return side, since
