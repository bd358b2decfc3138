"""The running mean of the visits since baseline, and whether it has left its limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Of the rule behind a verdict; raised with everything that may change one.
RULE_VERSION = 4
# Of each new visit in the running mean.
NEWEST_WEIGHT = 0.3
# A change counts for so many standard deviations at most, so that one odd visit moves little.
# Cut lower, nobody alone could be told before the fifth look, however large the change.
MAX_CHANGE_SD = 3.5
# Looks since baseline at which the look named beforehand comes, with the inner limit.
N_LOOKS = 12
# Looks over which the price of false verdicts is set: a year of weeks.
YEAR_LOOKS = 52
# One visit alone never makes a verdict, however far out.
MIN_LOOKS = 2
# A verdict ends when the running mean is back within this part of the limit.
KEPT_SHARE = 0.3


class Limits(NamedTuple):
    """Limits of the running mean, in standard deviations of a visit.

    Parameters
    ----------
    early : float or ndarray
        Holds at every look before the twelfth.
    named : float or ndarray
        Holds at the look named beforehand, the twelfth since baseline.
    late : float or ndarray
        Holds at every look after it.
    """

    early: ArrayLike
    named: ArrayLike
    late: ArrayLike

    def at(self, n_looks: int) -> ArrayLike:
        """Return the limit that holds at a look, counted from 1."""
        if n_looks < N_LOOKS:
            return self.early
        return self.named if n_looks == N_LOOKS else self.late

    def over(self, n_looks: int) -> Floats:
        """Return the limit at each of so many looks, shape (..., n_looks).

        Parameters
        ----------
        n_looks : int
            From the first. Limits that differ from look to look already have them as their
            last axis; one number, or one of length 1 there, holds throughout.
        """
        number = np.arange(1, n_looks + 1)
        inner = np.where(number == N_LOOKS, self.named, self.late)
        return np.asarray(np.where(number < N_LOOKS, self.early, inner), dtype=np.float64)


def running_mean(changes: Floats) -> Floats:
    """Average changes from baseline, the newest weighing most (EWMA), from 0 at baseline.

    Parameters
    ----------
    changes : ndarray, shape (..., n_looks)
        Differences from the baseline in standard deviations, in order of looks. Each is cut at
        3.5 before it is averaged.

    Returns
    -------
    ndarray, shape (..., n_looks)
        After each look. It starts at 0, so that few visits move it little: divide by
        `weight_so_far` for a mean.
    """
    cut = np.clip(changes, -MAX_CHANGE_SD, MAX_CHANGE_SD)
    return ewma(cut, start=0.0, weight=NEWEST_WEIGHT)


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
    out = np.empty(values.shape, dtype=np.float64)
    now = np.full(values.shape[:-1], float(start))
    for i in range(values.shape[-1]):
        now = (1 - weight) * now + weight * values[..., i]
        out[..., i] = now
    return out


def weight_so_far(n_looks: int) -> float:
    """Return how much of the running mean has been filled by n looks, 0 to 1."""
    return float(1 - (1 - NEWEST_WEIGHT) ** n_looks)


def follow(
    steps: Floats, allowed: Floats, *, kept_share: float = KEPT_SHARE
) -> tuple[Ints, Ints]:
    """Follow running means look by look and tell who is out.

    Once out, a person counts as out until the running mean comes back within a part of the
    limit or crosses to the other side, so that a true change is not withdrawn while it
    lasts. That makes no first verdict more likely.

    Parameters
    ----------
    steps : ndarray, shape (..., n_looks)
        Running means, on the scale of the limits.
    allowed : ndarray, shape (..., n_looks)
        The limit that held at each look (`Limits.over`).
    kept_share : float
        That part.

    Returns
    -------
    sides : ndarray of int, shape (..., n_looks)
        After each look: 1 above, -1 below, 0 not out.
    since : ndarray of int, shape (...)
        Number of the look, from 1, at which it went out; 0 if it is not at the last.
    """
    crossed = (steps > allowed).astype(np.int64) - (steps < -allowed)
    crossed[..., : MIN_LOOKS - 1] = 0
    kept = kept_share * allowed
    still = (steps > kept).astype(np.int64) - (steps < -kept)
    if steps.ndim == 1:  # one person: plain numbers are far quicker than arrays of one
        own = _follow_one(crossed.tolist(), still.tolist())
        return np.array(own[0], dtype=np.int64), np.array(own[1], dtype=np.int64)
    sides = np.zeros(steps.shape, dtype=np.int64)
    side, since = (np.zeros(steps.shape[:-1], dtype=np.int64) for _ in range(2))
    for i in range(steps.shape[-1]):
        held = (side != 0) & (still[..., i] == side)
        side = np.where(held, side, crossed[..., i])
        since = np.where(held, since, np.where(side == 0, 0, i + 1))
        sides[..., i] = side
    return sides, since


def _follow_one(crossed: Sequence[int], still: Sequence[int]) -> tuple[list[int], int]:
    sides, side, since = [], 0, 0
    for i, (out, there) in enumerate(zip(crossed, still, strict=True)):
        if not side or there != side:
            side = out
            since = i + 1 if out else 0
        sides.append(side)
    return sides, since
