"""95 % intervals by resampling trials, or by leaving them out one at a time."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from battery.scoring.stats.intervals import NONE, TAIL, Floats, Interval, t_reach

RESAMPLES = 1000
MIN_RESAMPLED = 5
Statistic = Callable[[Floats], Floats]  # of shape (resamples, n, ...) to (resamples,)


class Bootstrap:
    """Percentile bootstrap over trials (Efron 1979, Ann Stat 7:1-26).

    Parameters
    ----------
    seed : int
        From the block, so that the same raw record always gives the same interval.
    resamples : int

    Notes
    -----
    All measures of a block that stand on the same number of trials draw the same trials.
    Below some 20 trials the interval is a little too short. `scipy.stats.bootstrap` gives the
    same within the chance of drawing, but draws anew for each measure
    (tests/literature/test_libraries.py).
    """

    def __init__(self, seed: int, resamples: int = RESAMPLES) -> None:
        self._seed = seed
        self._resamples = resamples
        self._drawn: dict[int, npt.NDArray[np.int64]] = {}
        self._counted: dict[int, Floats] = {}

    def draws(self, n: int) -> npt.NDArray[np.int64]:
        """Numbers of the trials drawn, shape (resamples, n)."""
        if n not in self._drawn:
            generator = np.random.default_rng((self._seed, n))
            self._drawn[n] = generator.integers(0, n, size=(self._resamples, n))
        return self._drawn[n]

    def values(self, values: Floats, statistic: Statistic) -> Floats:
        """Statistic of every resample, shape (resamples,)."""
        n = len(values)
        of_totals = _OF_TOTALS.get(statistic)
        if of_totals is not None:
            return of_totals(self._counts(n) @ values)
        return statistic(values[self.draws(n)])

    def _counts(self, n: int) -> Floats:
        """How often each trial was drawn, shape (resamples, n)."""
        if n not in self._counted:
            at = self.draws(n) + n * np.arange(self._resamples)[:, None]
            counts = np.bincount(at.ravel(), minlength=n * self._resamples)
            self._counted[n] = counts.reshape(self._resamples, n).astype(np.float64)
        return self._counted[n]

    def interval(self, values: Floats, statistic: Statistic) -> Interval:
        """Interval of a statistic of values, shape (n, ...); nan for n < 5: too few to say.

        It always holds the statistic of the values themselves.
        """
        if len(values) < MIN_RESAMPLED:
            return NONE
        found = float(statistic(values[None])[0])
        return around(self.values(values, statistic), found)


def around(resampled: Floats, found: float) -> Interval:
    """Middle 95 % of resampled values, widened where it misses the value found.

    nan where they are all equal: such values tell nothing of their scatter.
    """
    resampled = resampled[np.isfinite(resampled)]
    if len(resampled) == 0 or np.ptp(resampled) == 0:
        return NONE
    ordered = np.sort(resampled)
    at = (len(ordered) - 1) * np.array([TAIL, 1 - TAIL])
    low, high = np.interp(at, np.arange(len(ordered)), ordered).tolist()
    return min(low, found), max(high, found)


def of_each_left_out(values: Floats, statistic: Statistic) -> Interval:
    """Interval of a size from leaving out one trial after another, on the log scale.

    Parameters
    ----------
    values : ndarray, shape (n, ...)
        Independent trials.
    statistic : callable
        Of many sets at once, shape (sets, n, ...) to (sets,); above 0.

    Notes
    -----
    Tukey JW (1958). Bias and confidence in not-quite large samples. Ann Math Stat 29:614;
    Student's t.
    """
    n = len(values)
    if n < MIN_RESAMPLED:
        return NONE
    found = float(statistic(values[None])[0])
    others = np.arange(n)[None, :] != np.arange(n)[:, None]
    left = statistic(np.stack([values[row] for row in others]))
    if not (found > 0 and np.all(left > 0)) or np.ptp(left) == 0:
        return NONE
    logs = np.log(left)
    error = math.sqrt((n - 1) / n * float(np.sum((logs - logs.mean()) ** 2)))
    half = t_reach(n - 1) * error
    return found * math.exp(-half), found * math.exp(half)


def mean(values: Floats) -> Floats:
    """Mean over trials of each resample."""
    return np.asarray(values.mean(axis=1))


def root_ratio(values: Floats) -> Floats:
    """Square root of sum over sum, for (sum of squares, count) of each piece."""
    return np.sqrt(ratio(values))


def ratio(values: Floats) -> Floats:
    """Sum over sum, for (numerator, denominator) of each piece."""
    return _quotient(values.sum(axis=1))


def _quotient(totals: Floats) -> Floats:
    """Quotient of each resample; nan where one drew nothing but empty pieces."""
    above, below = totals[:, 0], totals[:, 1]
    quotient: Floats = np.full(len(totals), np.nan)
    np.divide(above, below, out=quotient, where=below != 0)
    return quotient


def _root_quotient(totals: Floats) -> Floats:
    return np.sqrt(_quotient(totals))


# What stands on totals alone is resampled by how often each piece was drawn.
_OF_TOTALS: dict[Statistic, Callable[[Floats], Floats]] = {
    ratio: _quotient,
    root_ratio: _root_quotient,
}
