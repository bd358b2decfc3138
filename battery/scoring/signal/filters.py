"""Filters for evenly sampled paths; none of them shifts in time."""

from __future__ import annotations

import functools

import numpy as np
from scipy.fft import next_fast_len
from scipy.ndimage import correlate1d
from scipy.signal import butter, savgol_coeffs, sosfilt, sosfilt_zi

from battery.errors import ScoringError
from battery.scoring.signal.path import GRID_HZ, Floats

SMOOTHING_S = 0.075
WILL_HZ = 3.0  # slower movement is the hand's will, quicker is tremor


@functools.cache
def _sections(order: int, cutoff_hz: float, rate_hz: float) -> tuple[Floats, Floats]:
    """Filter, and its state at rest on 1."""
    sections = butter(order, cutoff_hz, fs=rate_hz, output="sos")
    return np.asarray(sections), np.asarray(sosfilt_zi(sections))


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
    The same as `scipy.signal.sosfiltfilt` with an odd extension of one period, in a sixth of
    its time, since the filter is designed once (tests/literature/test_libraries.py).
    """
    if len(values) < 10:
        return values
    pad = min(len(values) - 1, round(rate_hz / cutoff_hz))
    sections, rest = _sections(order, cutoff_hz, rate_hz)
    rest = rest[(...,) + (None,) * (values.ndim - 1)]
    before, after = (
        2 * values[0] - values[pad:0:-1],
        2 * values[-1] - values[-2 : -pad - 2 : -1],
    )
    found = np.concatenate([before, values, after])
    for _ in range(2):  # forward, then backward
        found = sosfilt(sections, found, axis=0, zi=rest * found[0])[0][::-1]
    return np.asarray(found[pad : len(found) - pad])


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
    Savitzky A, Golay MJE (1964). Anal Chem 36:1627-1639. The same as
    `scipy.signal.savgol_filter` with ends fitted, in a twentieth of its time, since the weights
    are found once (tests/literature/test_libraries.py).
    """
    middle, edge = _slopes(max(5, round(SMOOTHING_S * rate_hz) // 2 * 2 + 1))
    window = len(middle)
    found = np.empty(values.shape)
    half = window // 2
    found[half:-half] = correlate1d(values, middle, axis=0)[half:-half]
    found[:half] = edge @ values[:window]
    found[-half:] = -edge[::-1] @ values[: -window - 1 : -1]
    return found * rate_hz


@functools.cache
def _slopes(window: int) -> tuple[Floats, Floats]:
    """Weights of the slope in the middle of a window, and at each place before it."""
    rows = [
        savgol_coeffs(window, 3, deriv=1, pos=place, use="dot")
        for place in range(window // 2 + 1)
    ]
    return np.asarray(rows[-1]), np.stack(rows[:-1])


def without_line(values: Floats) -> Floats:
    """Take the least-squares line off even samples, along the last axis.

    The same as `scipy.signal.detrend`, which solves a system of equations where a sum will do,
    in a hundredth of its time (tests/literature/test_libraries.py).
    """
    n = values.shape[-1]
    u = np.arange(n) - (n - 1) / 2
    slope = (values * u).sum(axis=-1, keepdims=True) / np.dot(u, u)
    return np.asarray(values - values.mean(axis=-1, keepdims=True) - slope * u)


def speed_mm_s(path_mm: Floats, rate_hz: float = GRID_HZ) -> Floats:
    """Speed along an even path, from its velocity.

    Parameters
    ----------
    path_mm : ndarray, shape (n, 2)
        n at least the window of `velocity`.
    """
    along = velocity(path_mm, rate_hz)
    return np.asarray(np.hypot(along[:, 0], along[:, 1]))


def slow_speed_mm_s(willed_mm: Floats, rate_hz: float = GRID_HZ) -> Floats:
    """Speed, without sign, of one coordinate freed of its tremor by `willed`, shape (n,)."""
    if len(willed_mm) < 2:
        return np.zeros(len(willed_mm))
    return np.asarray(np.abs(np.gradient(willed_mm, 1 / rate_hz)))


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
    level = without_line(values)
    n = len(level)
    before, after = 2 * level[0] - level[:0:-1], 2 * level[-1] - level[-2::-1]
    size = next_fast_len(3 * n - 2, real=True)
    spectrum = np.fft.rfft(np.concatenate([before, level, after]), size)
    f_hz = np.fft.rfftfreq(size, 1 / rate_hz)
    spectrum[(f_hz < low_hz) | (f_hz > high_hz)] = 0
    kept = np.fft.irfft(spectrum, size)[n - 1 : 2 * n - 1]
    return np.asarray(kept + (values - level) if low_hz == 0 else kept)
