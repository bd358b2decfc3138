"""How sure a score is: 95 % intervals, exact where theory has one, else by resampling."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, chdtri, stdtrit

Z = 1.959963984540054  # 97.5 % point of the standard normal
RESAMPLES = 1000
MIN_RESAMPLED = 5
MIN_ORDERED = 6
MIN_WINDOWS = 3
MEDIAN_TO_MEAN = math.sqrt(math.pi / 2)
TAIL = 0.025
REACH_OF_DEPENDENCE = 1 / 3  # of a record, over which windows may hang together

Floats = npt.NDArray[np.float64]
Interval = tuple[float, float]
NONE: Interval = (math.nan, math.nan)
Statistic = Callable[[Floats], Floats]  # of shape (resamples, n, ...) to (resamples,)


def t_reach(freedom: float) -> float:
    """Multiple of a standard error that makes half of a 95 % interval by Student's t."""
    return float(stdtrit(freedom, 1 - TAIL))


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
    """Interval of a median from its order statistics, whatever the distribution.

    Returns
    -------
    low, high : float
        Between the two pairs of order statistics that hold the median with a little more and a
        little less than 95 %. No two values hold it so often for n < 6: there, down to n = 3,
        it is Student's interval of a mean, wider by the root of pi / 2 as the median of normal
        values scatters so much more. nan below, and where all values are equal.

    Notes
    -----
    Thompson WR (1936). On confidence ranges for the median and other expectation
    distributions. Ann Math Stat 7:122-128: the k-th value from either end misses with
    ``P(Binomial(n, 1/2) < k)``. Hettmansperger TP, Sheather SJ (1986). Confidence intervals
    based on interpolated order statistics. Stat Probab Lett 4:75-79.

    Examples
    --------
    >>> [round(end, 3) for end in of_median(np.arange(1.0, 11.0))]  # 2nd to 3rd of ten
    [2.658, 8.342]
    """
    n = len(values)
    if n < MIN_ORDERED:
        low, high = of_mean(values)
        half = MEDIAN_TO_MEAN * (high - low) / 2
        middle = float(np.median(values)) if n else math.nan
        return middle - half, middle + half
    ordered = np.sort(values)
    if ordered[0] == ordered[-1]:
        return NONE
    k = int(np.searchsorted(bdtr(np.arange(n // 2 + 1), n, 0.5), TAIL, side="right"))
    wide, narrow = (1 - 2 * float(bdtr(place - 1, n, 0.5)) for place in (k, k + 1))
    part = (wide - (1 - 2 * TAIL)) / (wide - narrow)
    share = (n - k) * part / (k + (n - 2 * k) * part)
    low = (1 - share) * ordered[k - 1] + share * ordered[k]
    high = (1 - share) * ordered[n - k] + share * ordered[n - k - 1]
    return float(low), float(high)


def middle_half(values: Floats) -> Interval:
    """Lower and upper quartile: how unlike the values are, not how sure their middle is."""
    if len(values) < 2:
        return NONE
    low, high = np.quantile(values, [0.25, 0.75]).tolist()
    return low, high


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
    """Interval of a Poisson mean from one count.

    Notes
    -----
    Holds the mean with 95 % over means of all sizes, where Garwood's exact one (1936,
    Biometrika 28:437-442) holds it with up to 99 %: the equal-tailed interval of Jeffreys
    (Brown LD, Cai TT, DasGupta A 2003. Interval estimation in exponential families. Stat Sin
    13:19-49).

    Examples
    --------
    >>> [round(end, 4) for end in of_count(10)]
    [5.1414, 17.7394]
    """
    low = chdtri(2 * count + 1, 1 - TAIL) / 2 if count else 0.0
    return float(low), float(chdtri(2 * count + 1, TAIL) / 2)


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


def of_dependent_mean(values: Floats) -> tuple[float, float]:
    """Error of a mean of values in order of time, and how many of them reach 95 % of the way.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Of windows or pieces; only their differences from their mean count.

    Returns
    -------
    error : float
        Standard error, nan for n < 3; at least seven tenths of that without dependence.
    reach : float
        Multiple of it that makes half of a 95 % interval.

    Notes
    -----
    Covariances up to a third of the record, with Bartlett's weights (Newey WK, West KD 1987,
    Econometrica 55:703-708). So long a reach makes the error itself uncertain; the multiple
    allows for that (Kiefer NM, Vogelsang TJ 2005, Econometric Theory 21:1130-1164: 2.98 for a
    third; the polynomial from memory, held by `tests/literature/test_pointing.py`).
    """
    n = len(values)
    if n < MIN_WINDOWS:
        return math.nan, math.nan
    off = values - values.mean()
    most = max(1, round(REACH_OF_DEPENDENCE * n))
    covariances = np.correlate(off, off, "full")[n - 1 : n - 1 + most] / n
    alone = float(covariances[0])
    grown = alone + 2 * float((1 - np.arange(1, most) / most) @ covariances[1:])
    share = most / n
    reach = 1.9600 + 2.9694 * share + 0.4160 * share**2 - 0.5324 * share**3
    error = math.sqrt(max(grown, 0.5 * alone) / n)
    return error, max(reach, float(stdtrit(n - 1, 1 - TAIL)))


def of_root_power(powers: Floats, weights: Floats) -> Interval:
    """Interval of the root of a weighted mean power, on the log scale.

    Parameters
    ----------
    powers, weights : ndarray, shape (n,)
        Of windows in order of time.

    Returns
    -------
    low, high : float
        nan for fewer than three windows, or without any power.
    """
    n = len(powers)
    if n < 3 or not weights.sum() > 0:
        return NONE
    mean_power = float(np.average(powers, weights=weights))
    if not mean_power > 0:
        return NONE
    error, reach = of_dependent_mean(weights * (powers - mean_power) * n / weights.sum())
    return of_root(mean_power, reach * error)


def of_root(mean_square: float, half: float) -> Interval:
    """Interval of the root of a mean square known to within `half`, on the log scale."""
    if not (mean_square > 0 and math.isfinite(half)):
        return NONE
    root, half = math.sqrt(mean_square), half / mean_square / 2
    return root * math.exp(-half), root * math.exp(half)


def of_ratio(pieces: Floats) -> Interval:
    """Interval of a sum over a sum, of pieces in order of time.

    Parameters
    ----------
    pieces : ndarray, shape (n, 2)
        Numerator and denominator of each.

    Returns
    -------
    low, high : float
        nan for n < 5, and where all pieces have the same ratio.

    Notes
    -----
    Cochran WG (1977). Sampling Techniques, 6.3: the error of a ratio is that of the mean of
    ``numerator - ratio * denominator``. Pieces may hang together (`of_dependent_mean`).
    """
    above, below = pieces.sum(axis=0).tolist()
    if len(pieces) < MIN_RESAMPLED or not below > 0:
        return NONE
    found = above / below
    error, reach = of_dependent_mean(pieces[:, 0] - found * pieces[:, 1])
    if error == 0:
        return NONE
    half = reach * error * len(pieces) / below
    return found - half, found + half


def on_log_scale(value: float, half: float) -> Interval:
    """Interval of a sum of times: as far as `half`, in shares; such sums are skew."""
    if not (value > 0 and math.isfinite(half)):
        return NONE
    return value * math.exp(-half / value), value * math.exp(half / value)


def on_logit_scale(share: float, interval: Interval) -> Interval:
    """Bring the interval of a share between 0 and 1 onto the scale of its odds."""
    half = (interval[1] - interval[0]) / 2
    if not (0 < share < 1 and math.isfinite(half)):
        return NONE
    middle, step = math.log(share / (1 - share)), half / (share * (1 - share))
    low, high = (1 / (1 + math.exp(-(middle + sign * step))) for sign in (-1, 1))
    return low, high


def of_difference(first: tuple[float, Interval], second: tuple[float, Interval]) -> Interval:
    """Interval of the difference of two independent estimates, from their own intervals.

    Zou GY, Donner A (2008). Construction of confidence limits about effect measures: a general
    approach. Stat Med 27:1693-1702.
    """
    (one, (one_low, one_high)), (two, (two_low, two_high)) = first, second
    return (
        one - two - math.hypot(one - one_low, two_high - two),
        one - two + math.hypot(one_high - one, two - two_low),
    )


def of_deleted(found: float, deleted: Floats) -> Interval:
    """Interval from leaving out one piece of time after another (jackknife).

    Parameters
    ----------
    found : float
        The statistic of the whole.
    deleted : ndarray, shape (n,)
        The statistic with each of n pieces left out, in order of time.

    Notes
    -----
    Künsch HR (1989). The jackknife and the bootstrap for general stationary observations. Ann
    Stat 17:1217-1241. What neighbouring pieces have in common counts (`of_dependent_mean`).
    """
    n = len(deleted)
    if n < 3 or not np.all(np.isfinite(deleted)):
        return NONE
    error, reach = of_dependent_mean((n - 1) * deleted)
    half = reach * error * math.sqrt(n / (n - 1))
    return found - half, found + half


def of_each_left_out(values: Floats, statistic: Statistic) -> Interval:
    """Interval of a size from leaving out one trial after another, on the log scale.

    Parameters
    ----------
    values : ndarray, shape (n, ...)
        Trials that do not hang together.
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
