"""Smoothness of one movement."""

from __future__ import annotations

import math

import numpy as np
from scipy.signal import savgol_filter

from battery.scoring.path import GRID_HZ, Floats

LEAST_SAMPLES = 20
SMOOTHING_S = 0.075


def speed_mm_s(path_mm: Floats, rate_hz: float = GRID_HZ) -> Floats:
    """Speed along an even path, from a Savitzky-Golay derivative (75 ms, order 3).

    Parameters
    ----------
    path_mm : ndarray, shape (n, 2)
        n at least the window (9 samples at 120 Hz).
    """
    window = max(5, round(SMOOTHING_S * rate_hz) // 2 * 2 + 1)
    velocity = savgol_filter(path_mm, window, 3, deriv=1, delta=1 / rate_hz, axis=0)
    return np.hypot(velocity[:, 0], velocity[:, 1])


def sparc(
    speed: Floats,
    rate_hz: float,
    *,
    pad_level: int = 4,
    cutoff_hz: float = 10.0,
    amplitude_threshold: float = 0.05,
) -> float:
    """Spectral arc length of the speed of ONE movement.

    Parameters
    ----------
    speed : ndarray, shape (n,)
        Speed of a single movement; its mean is not removed. Any unit.
    rate_hz : float
    pad_level, cutoff_hz, amplitude_threshold
        As in the source.

    Returns
    -------
    float
        Dimensionless, about -1.4 for the smoothest movement, more negative the less smooth.
        nan for fewer than 20 samples or no movement.

    Notes
    -----
    Balasubramanian S, Melendez-Calderon A, Roby-Brami A, Burdet E (2015). On the analysis of
    movement smoothness. J NeuroEng Rehabil 12:112. Rest before and after does not change it; a
    pause within does, so a whole trial of several movements must not be given.
    """
    if len(speed) < LEAST_SAMPLES or not np.any(speed > 0):
        return math.nan
    size = 2 ** (math.ceil(math.log2(len(speed))) + pad_level)
    magnitude = np.abs(np.fft.rfft(speed, size))
    f_hz = np.arange(len(magnitude)) * rate_hz / size
    magnitude = magnitude / magnitude.max()
    kept = f_hz <= cutoff_hz
    f_hz, magnitude = f_hz[kept], magnitude[kept]
    above = np.flatnonzero(magnitude >= amplitude_threshold)
    f_hz, magnitude = f_hz[above[0] : above[-1] + 1], magnitude[above[0] : above[-1] + 1]
    if len(f_hz) < 2:
        return math.nan
    steps = np.diff(f_hz) / (f_hz[-1] - f_hz[0])
    return float(-np.sum(np.hypot(steps, np.diff(magnitude))))


def trim_to_movement(speed: Floats, share: float = 0.05) -> slice:
    """Return the part from first to last sample above a share of the peak speed."""
    moving = np.flatnonzero(speed > share * speed.max())
    return slice(int(moving[0]), int(moving[-1]) + 1) if len(moving) else slice(0, 0)
