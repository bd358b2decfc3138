"""Tremor-related jitter: how much of a path lies in a band of frequencies.

From the spectrum of *position*, so that the result is in millimetres; across the instructed
path, where there is next to no voluntary movement.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.signal import detrend, periodogram

from battery.errors import ScoringError
from battery.scoring.path import GRID_HZ, Floats

BAND_HZ = (3.0, 12.0)
WINDOW_S = 4.0
LEAST_SEGMENT_S = 2.0
LEAST_TOTAL_S = 4.0


def band_powers_mm2(
    pieces_mm: Sequence[Floats],
    *,
    band_hz: tuple[float, float] = BAND_HZ,
    rate_hz: float = GRID_HZ,
    window_s: float = WINDOW_S,
) -> Floats:
    """Power in a band for every window of evenly sampled pieces of one coordinate.

    Parameters
    ----------
    pieces_mm : sequence of ndarray, shape (n,)
        Each without gaps, on a grid of `rate_hz`.
    band_hz : tuple of float
    window_s : float
        Hann windows of this length, half overlapping, each freed of its linear trend; a
        shorter piece of at least 2 s is one window of its own.

    Returns
    -------
    ndarray, shape (n_windows,)
        mm²; the square root of the mean is the band RMS. Empty if every piece is too short.

    Raises
    ------
    ScoringError
        If the band does not fit below half the sampling rate.

    Notes
    -----
    Welch (1967), IEEE Trans Audio Electroacoust 15:70-73: Hann, density scaling. The integral
    over the band is used, not the height of a peak, which depends on where the frequency falls
    between two bins.
    """
    low_hz, high_hz = band_hz
    if not 0 < low_hz < high_hz < rate_hz / 2:
        msg = f"{band_hz=} must be increasing and below rate_hz/2 = {rate_hz / 2:g} Hz"
        raise ScoringError(msg)
    powers: list[float] = []
    for piece in pieces_mm:
        if len(piece) < LEAST_SEGMENT_S * rate_hz:
            continue
        size = min(len(piece), round(window_s * rate_hz))
        starts = range(0, len(piece) - size + 1, max(size // 2, 1))
        windows = np.stack([piece[start : start + size] for start in starts])
        f_hz, density = periodogram(
            detrend(windows, axis=-1), rate_hz, window="hann", detrend=False, axis=-1
        )
        band = (f_hz >= low_hz) & (f_hz <= high_hz)
        powers += (density[:, band].sum(axis=1) * (f_hz[1] - f_hz[0])).tolist()
    return np.array(powers)


def band_rms_mm(
    pieces_mm: Sequence[Floats],
    *,
    band_hz: tuple[float, float] = BAND_HZ,
    rate_hz: float = GRID_HZ,
) -> float:
    """Root mean square displacement of one coordinate within a band.

    A sine of amplitude A inside the band gives A / sqrt(2). nan when less than 4 s are usable.

    Examples
    --------
    >>> t_s = np.arange(0, 20, 1 / 120)
    >>> round(band_rms_mm([np.sin(2 * np.pi * 6 * t_s)]), 4)
    0.7071
    """
    usable_s = sum(len(p) for p in pieces_mm if len(p) >= LEAST_SEGMENT_S * rate_hz) / rate_hz
    if usable_s < LEAST_TOTAL_S:
        return math.nan
    powers = band_powers_mm2(pieces_mm, band_hz=band_hz, rate_hz=rate_hz)
    return float(np.sqrt(powers.mean()))


def floor_mm(
    pixel_mm: float, report_rate_hz: float, band_hz: tuple[float, float] = BAND_HZ
) -> float:
    """Band RMS that rounding to whole pixels alone would give.

    Notes
    -----
    Rounding to q adds noise of variance q²/12, white up to half the report rate (Bennett 1948,
    Bell Syst Tech J 27:446-472), if the pointer crosses many pixels. A resting finger may read
    exactly 0 below it.
    """
    width_hz = band_hz[1] - band_hz[0]
    return pixel_mm * math.sqrt(width_hz / (6 * report_rate_hz))
