"""Errors of pointing: where end points lie about their target.

All functions take errors as an array of shape (n, 2), mm: end point minus target.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import chdtri, ncfdtr, ncfdtrinc
from scipy.stats import f as f_distribution

from battery.scoring.signal.path import Floats
from battery.scoring.stats.intervals import NONE, TAIL, Interval


def radial_mm(errors_mm: Floats) -> Floats:
    """Distance of each end point from the target, shape (n,)."""
    return np.asarray(np.hypot(errors_mm[..., 0], errors_mm[..., 1]))


def constant_mm(errors_mm: Floats) -> Floats:
    """Distance of the mean end point from the target, over the last but one axis.

    Examples
    --------
    >>> float(constant_mm(np.array([[2.0, 4.0], [4.0, 4.0]])))
    5.0
    """
    return radial_mm(errors_mm.mean(axis=-2))


def variable_mm(errors_mm: Floats) -> Floats:
    """Root mean square distance from the mean end point (population form).

    With `constant_mm` and the distances r it keeps ``mean(r**2) = constant**2 + variable**2``.

    References
    ----------
    Hancock GR, Butler MS, Fischman MG (1995). On the problem of two-dimensional error scores.
    J Mot Behav 27:241-250.
    """
    off_mm = errors_mm - errors_mm.mean(axis=-2, keepdims=True)
    return np.asarray(np.sqrt(np.mean(np.sum(off_mm**2, axis=-1), axis=-1)))


def root_determinant_mm2(errors_mm: Floats) -> float:
    """Root of the determinant of the covariance (n - 1): product of the ellipse's axes."""
    return math.sqrt(max(float(np.linalg.det(np.cov(errors_mm.T))), 0.0))


def bcea_mm2(errors_mm: Floats, share: float = 0.95) -> float:
    """Area of the bivariate normal contour that holds a share of such end points.

    Parameters
    ----------
    errors_mm : ndarray, shape (n, 2)
    share : float
        Of the distribution; 0.6321 gives the form with k = 1 of older papers.

    Returns
    -------
    float
        ``2 k pi sx sy sqrt(1 - r**2)`` with ``k = -ln(1 - share)``, mm². In the mean too small
        by (n - 2) / (n - 1).

    References
    ----------
    Steinman RM (1965). Effect of target size, luminance, and color on monocular fixation.
    J Opt Soc Am 55:1158-1164.
    """
    return -2 * math.log(1 - share) * math.pi * root_determinant_mm2(errors_mm)


def area_interval(area_mm2: float, n: int) -> Interval:
    """Interval of an area that is a multiple of `root_determinant_mm2`.

    Notes
    -----
    For normal end points ``2 (n - 1)`` times the ratio of the found to the true root is
    chi-squared with 2 n - 4 degrees of freedom: the determinant is a product of two
    independent chi-squares of n - 1 and n - 2, and the root of such a product is half a
    chi-square (Anderson TW 1958, An Introduction to Multivariate Statistical Analysis, 7.5).
    """
    scale = 2 * (n - 1) * area_mm2
    return float(scale / chdtri(2 * n - 4, TAIL)), float(scale / chdtri(2 * n - 4, 1 - TAIL))


def variable_interval(errors_mm: Floats) -> Interval:
    """Interval of the scatter of end points about their mean, for normal ones.

    Notes
    -----
    The sum of the variances along the two axes of the scatter is nearly a multiple of a
    chi-square (Satterthwaite FE 1946. An approximate distribution of estimates of variance
    components. Biometrics Bull 2:110-114). It holds the scatter of all such end points, of
    which `variable_mm` finds a little less.
    """
    n = len(errors_mm)
    variances = np.maximum(np.linalg.eigvalsh(np.cov(errors_mm.T)), 0.0)
    total = float(variances.sum())
    if total == 0:
        return NONE
    freedom = (n - 1) * total**2 / float(np.sum(variances**2))
    low, high = (freedom * total / chdtri(freedom, tail) for tail in (TAIL, 1 - TAIL))
    return math.sqrt(low), math.sqrt(high)


def constant_interval(errors_mm: Floats) -> Interval:
    """Interval of the distance of the mean end point from the target, for normal end points.

    Notes
    -----
    A distance is never below 0, so that the one that is found is too large in the mean where
    the true one is small. Those true distances whose tails hold the found one, by the
    noncentral distribution of F (Johnson NL, Kotz S, Balakrishnan N 1995. Continuous Univariate
    Distributions 2, ch. 30; from memory).
    """
    n = len(errors_mm)
    variance = float(np.trace(np.cov(errors_mm.T))) / 2
    if variance == 0:
        return NONE
    found = float(constant_mm(errors_mm))
    ratio = n * found**2 / (2 * variance)
    ends = []
    for share in (1 - TAIL, TAIL):
        far = ncfdtr(2, 2 * (n - 1), 0.0, ratio) > share
        noncentral = float(ncfdtrinc(2, 2 * (n - 1), share, ratio)) if far else 0.0
        ends.append(math.sqrt(max(noncentral, 0.0) * variance / n))
    return min(ends[0], found), max(ends[1], found)


def prediction_factor(n: int, share: float = 0.95) -> float:
    """Factor on the covariance such that the next end point falls inside with `share`.

    For many end points it nears the chi-square of 5.991, which holds 91 % only at n = 20.
    """
    quantile = float(f_distribution.ppf(share, 2, n - 2))
    return 2 * (n - 1) * (n + 1) / (n * (n - 2)) * quantile


def prediction_ellipse_mm2(errors_mm: Floats, share: float = 0.95) -> float:
    """Area of the ellipse that holds the next end point with a given probability, mm².

    References
    ----------
    Schubert P, Kirchner M (2014). Ellipse area calculations and their applicability in
    posturography. Gait Posture 39:518-522.
    """
    factor = prediction_factor(len(errors_mm), share)
    return math.pi * factor * root_determinant_mm2(errors_mm)
