"""How sure a score is: 95 % intervals."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from battery.scoring.path import Floats

Z = 1.959963984540054  # 97.5 % point of the standard normal
RESAMPLES = 400

Statistic = Callable[[Floats], Floats]  # along the last axis


def wilson(successes: int, n: int, z: float = Z) -> tuple[float, float]:
    """Interval of a share (Wilson 1927, J Am Stat Assoc 22:209-212); nan for n = 0."""
    if n == 0:
        return math.nan, math.nan
    share = successes / n
    centre = share + z * z / (2 * n)
    half = z * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    scale = 1 + z * z / n
    return max(0.0, (centre - half) / scale), min(1.0, (centre + half) / scale)


def bootstrap(
    values: Floats, statistic: Statistic, seed: int, resamples: int = RESAMPLES
) -> tuple[float, float]:
    """Percentile bootstrap over trials (Efron 1979, Ann Stat 7:1-26).

    Parameters
    ----------
    values : ndarray, shape (n,)
    statistic : callable
        Works along the last axis.
    seed : int
        From the block, so that the same raw record always gives the same interval.

    Returns
    -------
    low, high : float
        nan for fewer than 5 values: too few to say.
    """
    if len(values) < 5:
        return math.nan, math.nan
    generator = np.random.default_rng(seed)
    drawn = values[generator.integers(0, len(values), size=(resamples, len(values)))]
    low, high = np.quantile(statistic(drawn), [0.025, 0.975])
    return float(low), float(high)


def mean(values: Floats) -> Floats:
    """Mean along the last axis."""
    return np.asarray(values.mean(axis=-1))


def median(values: Floats) -> Floats:
    """Median along the last axis."""
    return np.asarray(np.median(values, axis=-1))


def root_mean(values: Floats) -> Floats:
    """Square root of the mean along the last axis, for powers."""
    return np.asarray(np.sqrt(values.mean(axis=-1)))
