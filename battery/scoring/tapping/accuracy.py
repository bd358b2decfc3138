"""Errors of pointing: where end points lie about their target.

All functions take errors as an array of shape (n, 2), mm: end point minus target.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.special import chdtri
from scipy.stats import f as f_distribution

from battery.scoring.signal.path import Floats
from battery.scoring.stats.intervals import TAIL, Interval


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
