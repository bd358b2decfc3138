"""Smoothness of one movement.

Never of a whole block: pauses between movements would count as lack of smoothness.
"""

from __future__ import annotations

import math

import numpy as np

from battery.scoring.signal.path import Floats

MIN_SAMPLES = 20


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
        At most about -1.40 (a minimum-jerk movement); nearer to 0 is smoother. nan below 20
        samples or without movement.

    Notes
    -----
    Rest before and after changes nothing; a pause inside counts as lack of smoothness, so a
    whole block must never be given. Tremor lowers it too: 4 Hz of 1 mm on a reach of 100 mm in
    1.2 s takes it from -1.40 to -1.80.

    References
    ----------
    Balasubramanian S, Melendez-Calderon A, Roby-Brami A, Burdet E (2015). On the analysis of
    movement smoothness. J NeuroEng Rehabil 12:112.
    """
    if len(speed) < MIN_SAMPLES or not np.any(speed > 0):
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


def dimensionless_jerk(speed: Floats, rate_hz: float) -> float:
    """Minus the integrated squared jerk, times duration cubed over peak speed squared.

    Parameters
    ----------
    speed : ndarray, shape (n,)
        Speed of a single movement, low-passed: of raw positions on a grid of 0.1 mm the third
        difference is noise only, off by a factor of 10 at 120 Hz and 280 at 240 Hz.
    rate_hz : float

    Returns
    -------
    float
        -204.8 for a minimum-jerk movement (in the limit of fine sampling); nearer to 0 is
        smoother. nan below 20 samples or without movement.

    Notes
    -----
    Normalised by the peak speed; other normalisations give other figures for the same
    movement. Hogan N, Sternad D (2009). Sensitivity of smoothness measures to movement
    duration, amplitude, and arrests. J Mot Behav 41:529-534.
    """
    if len(speed) < MIN_SAMPLES or not np.any(speed > 0):
        return math.nan
    jerk = np.diff(speed, 2) * rate_hz**2
    whole_s = len(speed) / rate_hz
    return float(-(whole_s**3) / np.max(speed) ** 2 * np.sum(jerk**2) / rate_hz)


def log_dimensionless_jerk(speed: Floats, rate_hz: float) -> float:
    """Minus the logarithm of the size of the dimensionless jerk; -5.32 for minimum jerk."""
    jerk = dimensionless_jerk(speed, rate_hz)
    return -math.log(-jerk) if jerk < 0 else math.nan
