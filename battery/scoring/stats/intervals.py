"""How sure a score is: 95 % intervals that follow from theory, and scales to put them on."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy.special import bdtr, chdtri, stdtrit

Z = 1.959963984540054  # 97.5 % point of the standard normal
MIN_ORDERED = 6
MEDIAN_TO_MEAN = math.sqrt(math.pi / 2)
TAIL = 0.025

Floats = npt.NDArray[np.float64]
Interval = tuple[float, float]
NONE: Interval = (math.nan, math.nan)


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


def of_root(mean_square: float, half: float) -> Interval:
    """Interval of the root of a mean square known to within `half`, on the log scale."""
    if not (mean_square > 0 and math.isfinite(half)):
        return NONE
    root, half = math.sqrt(mean_square), half / mean_square / 2
    return root * math.exp(-half), root * math.exp(half)


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
