"""How sure a score is: 95 % intervals, exact where theory has one, else by resampling."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, chdtri, stdtrit

from battery.scoring.signal.path import Floats

Z = 1.959963984540054  # 97.5 % point of the standard normal
RESAMPLES = 1000
MIN_RESAMPLED = 5
MIN_ORDERED = 6
MEDIAN_TO_MEAN = math.sqrt(math.pi / 2)
TAIL = 0.025

Interval = tuple[float, float]
NONE: Interval = (math.nan, math.nan)
Statistic = Callable[[Floats], Floats]  # of shape (resamples, n, ...) to (resamples,)


def wilson(successes: int, n: int, z: float = Z) -> Interval:
    """Interval of a share (Wilson 1927, J Am Stat Assoc 22:209-212); nan for n = 0.

    The same as that of `scipy.stats.binomtest`, which computes a test beside it and takes a
    thousand times as long; a page has hundreds (tests/literature/test_libraries.py).
    """
    if n == 0:
        return NONE
    share = successes / n
    centre = share + z * z / (2 * n)
    half = z * math.sqrt(share * (1 - share) / n + z * z / (4 * n * n))
    scale = 1 + z * z / n
    low, high = (centre - half) / scale, (centre + half) / scale
    return max(0.0, min(low, share)), min(1.0, max(high, share))


def of_mean(values: Floats) -> Interval:
    """Interval of a mean by Student's t (Student 1908, Biometrika 6:1-25).

    nan for n < 3 and where all values are equal: they tell nothing of their scatter.
    """
    n = len(values)
    if n < 3:
        return NONE
    if np.ptp(values) == 0:
        return NONE
    half = stdtrit(n - 1, 1 - TAIL) * values.std(ddof=1) / math.sqrt(n)
    mean = values.mean()
    return float(mean - half), float(mean + half)


def of_median(values: Floats) -> Interval:
    """Interval of a median from two order statistics, whatever the distribution.

    Returns
    -------
    low, high : float
        Holds the median with at least 95 %. No two values do for n < 6: there, down to n = 3,
        it is Student's interval of a mean, wider by the root of pi / 2 as the median of normal
        values scatters so much more. nan below, and where all values are equal.

    Notes
    -----
    Thompson WR (1936). On confidence ranges for the median and other expectation
    distributions. Ann Math Stat 7:122-128: the k-th value from either end, k the largest
    with ``P(Binomial(n, 1/2) < k) <= 2.5 %``.

    Examples
    --------
    >>> of_median(np.arange(1.0, 11.0))  # 2nd and 9th of ten
    (2.0, 9.0)
    """
    n = len(values)
    if n < MIN_ORDERED:
        low, high = of_mean(values)
        half = MEDIAN_TO_MEAN * (high - low) / 2
        middle = float(np.median(values)) if n else math.nan
        return middle - half, middle + half
    below = bdtr(np.arange(n // 2 + 1), n, 0.5)
    k = int(np.searchsorted(below, TAIL, side="right"))
    ordered = np.sort(values)
    return float(ordered[k - 1]), float(ordered[n - k])


def of_all_alike(share: float, n: int) -> Interval:
    """Interval of a mean share that was the same, 0 or 1, in each of n windows.

    Resampling has nothing to draw from there. The bound is that of n events that all went the
    same way (Clopper CJ, Pearson ES 1934, Biometrika 26:404-413); it holds for any values
    between 0 and 1.

    Examples
    --------
    >>> [round(end, 4) for end in of_all_alike(0.0, 15)]
    [0.0, 0.218]
    """
    reach = 1 - TAIL ** (1 / n)
    return (0.0, reach) if share == 0 else (1 - reach, 1.0)


def of_coherence(value: float, n_segments: float) -> Interval:
    """Interval of a magnitude-squared coherence.

    Notes
    -----
    The inverse hyperbolic tangent of its root has a standard error of ``1 / sqrt(2 n)``:
    Rosenberg JR et al. (1989). The Fourier approach to the identification of functional
    coupling between neuronal spike trains. Prog Biophys Mol Biol 53:1-31.
    """
    middle = math.atanh(math.sqrt(min(value, 1 - 1e-12)))
    half = Z / math.sqrt(2 * n_segments)
    low, high = math.tanh(max(0.0, middle - half)) ** 2, math.tanh(middle + half) ** 2
    return min(low, value), max(high, value)


def of_count(count: int) -> Interval:
    """Exact interval of a Poisson mean from one count (Garwood 1936, Biometrika 28:437-442).

    Examples
    --------
    >>> [round(end, 4) for end in of_count(10)]
    [4.7954, 18.3904]
    """
    low = chdtri(2 * count, 1 - TAIL) / 2 if count else 0.0
    return float(low), float(chdtri(2 * count + 2, TAIL) / 2)


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


def of_root_power(powers: Floats, weights: Floats, n_independent: float) -> Interval:
    """Interval of the root of a weighted mean power, on the log scale.

    Parameters
    ----------
    powers, weights : ndarray, shape (n,)
        Of windows in order of time.
    n_independent : float
        How many independent windows say as much if power does not wax and wane.

    Returns
    -------
    low, high : float
        nan for fewer than three windows, or without any power.

    Notes
    -----
    Error of a mean of dependent values: their covariances up to a third of the record, with
    Bartlett's weights (Newey WK, West KD 1987, Econometrica 55:703-708), at least half of what
    it would be without dependence. What dependence it finds also lessens the degrees of
    freedom of Student's t.
    """
    n = len(powers)
    if n < 3 or not weights.sum() > 0:
        return NONE
    mean_power = float(np.average(powers, weights=weights))
    if not mean_power > 0:
        return NONE
    off = weights * (powers - mean_power) * n / weights.sum()
    most = max(1, n // 3)
    covariances = [float(off[lag:] @ off[: n - lag]) / n for lag in range(most + 1)]
    if covariances[0] == 0:
        return math.sqrt(mean_power), math.sqrt(mean_power)
    grown = covariances[0] + 2 * sum(
        (1 - lag / (most + 1)) * covariances[lag] for lag in range(1, most + 1)
    )
    grown = max(grown, 0.5 * covariances[0])
    freedom = max(2.0, n_independent * covariances[0] / grown - 1)
    error = math.sqrt(grown / (freedom + 1))
    half = float(stdtrit(freedom, 1 - TAIL)) * error / mean_power / 2
    root = math.sqrt(mean_power)
    return root * math.exp(-half), root * math.exp(half)


def of_deleted(found: float, deleted: Floats, n_independent: float | None = None) -> Interval:
    """Interval from leaving out one piece of time after another (jackknife).

    Parameters
    ----------
    found : float
        The statistic of the whole.
    deleted : ndarray, shape (n,)
        The statistic with each of n pieces left out.
    n_independent : float, optional
        How many independent pieces say as much; by default as many as there are.

    Notes
    -----
    Künsch HR (1989). The jackknife and the bootstrap for general stationary observations. Ann
    Stat 17:1217-1241. Student's t with n - 1 degrees of freedom.
    """
    n = len(deleted)
    if n < 3 or not np.all(np.isfinite(deleted)):
        return NONE
    error = math.sqrt((n - 1) / n * float(np.sum((deleted - deleted.mean()) ** 2)))
    freedom = max(1.0, (n if n_independent is None else min(n, n_independent)) - 1)
    half = float(stdtrit(freedom, 1 - TAIL)) * error * math.sqrt((n - 1) / freedom)
    return found - half, found + half


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
