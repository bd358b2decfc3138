"""Effective throughput: speed and accuracy of pointing in one figure.

ISO/TS 9241-411:2012, Annex B; Soukoreff RW, MacKenzie IS (2004). Towards a standard for
pointing device evaluation. Int J Hum Comput Stud 61:751-789.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from battery.scoring.signal.path import Floats

WIDTH_IN_SD = 4.133  # sqrt(2 pi e), as the standard prints it


def along_mm(from_mm: Floats, to_mm: Floats, select_mm: Floats) -> Floats:
    """How far beyond (or, negative, short of) the target a selection lies on the task axis.

    Parameters
    ----------
    from_mm, to_mm, select_mm : ndarray, shape (n, 2)
        Where the reach began, centre of the target, end point.

    Returns
    -------
    ndarray, shape (n,)
        ``(c**2 - b**2 - a**2) / (2 a)`` with a from-to, b to-select, c from-select: the exact
        projection. A miss straight across the axis counts as 0.
    """
    a = np.hypot(*(to_mm - from_mm).T)
    b = np.hypot(*(select_mm - to_mm).T)
    c = np.hypot(*(select_mm - from_mm).T)
    return np.asarray((c**2 - b**2 - a**2) / (2 * a))


def index_of_difficulty(distance: npt.ArrayLike, width: npt.ArrayLike) -> Floats:
    """Index of difficulty of a reach, ``log2(distance / width + 1)``, bit.

    Parameters
    ----------
    distance, width : array_like
        In one unit.

    Examples
    --------
    >>> float(index_of_difficulty(70.0, 10.0))
    3.0
    """
    return np.asarray(np.log2(np.asarray(distance) / np.asarray(width) + 1))


def throughput_bit_s(amplitude_mm: Floats, off_mm: Floats, movement_s: Floats) -> Floats:
    """Effective index of difficulty over mean movement time.

    Parameters
    ----------
    amplitude_mm : ndarray, shape (..., n)
        Length of each reach as made: distance of the target plus `along_mm`.
    off_mm : ndarray, shape (..., n) or (..., n, 2)
        End points along the axis, or along and across it for the bivariate form. Their scatter
        is taken about their own mean: an offset is no lack of precision.
    movement_s : ndarray, shape (..., n)
        Without reaction time.

    Returns
    -------
    ndarray, shape (...)
        bit/s; nan for end points without scatter. Over all n trials of one distance and width;
        never mix conditions.
    """
    n = movement_s.shape[-1]
    if off_mm.ndim > movement_s.ndim:
        squares = np.sum((off_mm - off_mm.mean(axis=-2, keepdims=True)) ** 2, axis=(-2, -1))
    else:
        squares = np.sum((off_mm - off_mm.mean(axis=-1, keepdims=True)) ** 2, axis=-1)
    width_mm = WIDTH_IN_SD * np.sqrt(squares / (n - 1))
    width_mm = np.where(width_mm > 0, width_mm, np.nan)
    bits = index_of_difficulty(amplitude_mm.mean(axis=-1), width_mm)
    return np.asarray(bits / movement_s.mean(axis=-1))
