"""Filters for evenly sampled paths; none of them shifts in time."""

from __future__ import annotations

import functools

import numpy as np
from scipy.signal import butter, detrend, savgol_filter, sosfiltfilt

from battery.errors import ScoringError
from battery.scoring.path import GRID_HZ, Floats

SMOOTHING_S = 0.075
WILL_HZ = 3.0  # slower movement is the hand's will, quicker is tremor


@functools.cache
def _sections(order: int, cutoff_hz: float, rate_hz: float) -> Floats:
    return np.asarray(butter(order, cutoff_hz, fs=rate_hz, output="sos"))


def low_pass(
    values: Floats, cutoff_hz: float, rate_hz: float = GRID_HZ, *, order: int = 2
) -> Floats:
    """Low-pass along the first axis: Butterworth, run forward and backward.

    Parameters
    ----------
    values : ndarray, shape (n, ...)
        Even samples without gaps. Fewer than 10 are returned as they are.

    Notes
    -----
    Butterworth S (1930). On the theory of filter amplifiers. Experimental Wireless & the
    Wireless Engineer 7:536-541. Run twice it halves the size of what lies at `cutoff_hz`.
    """
    if len(values) < 10:
        return values
    pad = min(len(values) - 1, round(rate_hz / cutoff_hz))
    return np.asarray(
        sosfiltfilt(_sections(order, cutoff_hz, rate_hz), values, axis=0, padlen=pad)
    )


def willed(values: Floats, rate_hz: float = GRID_HZ) -> Floats:
    """Take the tremor off an even path: steep low-pass at 3 Hz (order 4, both ways).

    Of a tremor of 3.7 Hz a sixth is left, of one of 5 Hz a sixtieth; of order 2 it would be
    a third and a ninth, enough to look like movement at will.
    """
    return low_pass(values, WILL_HZ, rate_hz, order=4)


def velocity(values: Floats, rate_hz: float = GRID_HZ) -> Floats:
    """Rate of change along the first axis, from a Savitzky-Golay fit (75 ms, order 3).

    Parameters
    ----------
    values : ndarray, shape (n, ...)
        n at least the window: 9 samples at 120 Hz.

    Notes
    -----
    Savitzky A, Golay MJE (1964). Anal Chem 36:1627-1639.
    """
    window = max(5, round(SMOOTHING_S * rate_hz) // 2 * 2 + 1)
    return np.asarray(savgol_filter(values, window, 3, deriv=1, delta=1 / rate_hz, axis=0))


def speed_mm_s(path_mm: Floats, rate_hz: float = GRID_HZ) -> Floats:
    """Speed along an even path, from its velocity.

    Parameters
    ----------
    path_mm : ndarray, shape (n, 2)
        n at least the window of `velocity`.
    """
    along = velocity(path_mm, rate_hz)
    return np.asarray(np.hypot(along[:, 0], along[:, 1]))


def in_band(values: Floats, band_hz: tuple[float, float], rate_hz: float = GRID_HZ) -> Floats:
    """Part of an even signal within a band, moment by moment, without loss inside the band.

    Parameters
    ----------
    values : ndarray, shape (n,)
        At least 2 s of it, or the lower edge means little.
    band_hz : tuple of float
        From 0 it is a low-pass that keeps the mean and the trend.

    Raises
    ------
    ScoringError
        If the band does not fit below half the sampling rate.

    Notes
    -----
    By Fourier transform of the signal freed of its line and continued at both ends by its own
    image turned about the end point, so that neither a jump nor a bend there leaks into the
    band.
    """
    low_hz, high_hz = band_hz
    if not 0 <= low_hz < high_hz < rate_hz / 2:
        msg = f"{band_hz=} must be increasing and below rate_hz/2 = {rate_hz / 2:g} Hz"
        raise ScoringError(msg)
    level = detrend(values)
    n = len(level)
    before, after = 2 * level[0] - level[:0:-1], 2 * level[-1] - level[-2::-1]
    spectrum = np.fft.rfft(np.concatenate([before, level, after]))
    f_hz = np.fft.rfftfreq(3 * n - 2, 1 / rate_hz)
    spectrum[(f_hz < low_hz) | (f_hz > high_hz)] = 0
    kept = np.fft.irfft(spectrum, 3 * n - 2)[n - 1 : 2 * n - 1]
    return np.asarray(kept + (values - level) if low_hz == 0 else kept)
