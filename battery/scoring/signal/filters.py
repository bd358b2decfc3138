"""Filters for evenly sampled paths; none of them shifts in time."""

from __future__ import annotations

import functools
from collections.abc import Sequence

import numpy as np
from scipy.fft import next_fast_len
from scipy.ndimage import correlate1d
from scipy.signal import butter, savgol_coeffs, sosfilt, sosfilt_zi

from battery.errors import ScoringError
from battery.scoring.signal.path import GRID_HZ, Floats

SMOOTHING_S = 0.075
MIN_PADDED = 10  # samples; fewer are not filtered
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
    if len(values) < MIN_PADDED:
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


def low_pass_all(
    pieces: Sequence[Floats], cutoff_hz: float, rate_hz: float = GRID_HZ, *, order: int = 2
) -> list[Floats]:
    """Low-pass many pieces, each as `low_pass` does it, bit for bit, in one go.

    Parameters
    ----------
    pieces : sequence of ndarray, shape (n, k)
        Of different lengths n. Each stands in columns of its own, filled up behind; the filter
        knows nothing of what comes later.
    """
    long = [piece for piece in pieces if len(piece) >= MIN_PADDED]
    if not long:
        return list(pieces)
    sections, rest = _sections(order, cutoff_hz, rate_hz)
    pads = [min(len(piece) - 1, round(rate_hz / cutoff_hz)) for piece in long]
    sizes = [len(piece) + 2 * pad for piece, pad in zip(long, pads, strict=True)]
    n_columns = long[0].shape[1]
    filled = np.zeros((max(sizes), n_columns * len(long)))
    for k, (piece, pad, size) in enumerate(zip(long, pads, sizes, strict=True)):
        own = filled[:size, k * n_columns : (k + 1) * n_columns]
        own[:pad] = 2 * piece[0] - piece[pad:0:-1]
        own[pad : size - pad] = piece
        own[size - pad :] = 2 * piece[-1] - piece[-2 : -pad - 2 : -1]
    for _ in range(2):  # forward, then backward
        state = rest[:, :, None] * filled[0]
        found = sosfilt(sections, filled, axis=0, zi=state)[0]
        for k, size in enumerate(sizes):
            columns = slice(k * n_columns, (k + 1) * n_columns)
            filled[:size, columns] = found[:size, columns][::-1]
    done = iter(
        filled[pad : size - pad, k * n_columns : (k + 1) * n_columns]
        for k, (pad, size) in enumerate(zip(pads, sizes, strict=True))
    )
    return [next(done) if len(piece) >= MIN_PADDED else piece for piece in pieces]


def willed_all(pieces: Sequence[Floats], rate_hz: float = GRID_HZ) -> list[Floats]:
    """Take the tremor off many pieces, each as `willed` does it."""
    return low_pass_all(pieces, WILL_HZ, rate_hz, order=4)


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


def in_bands(
    columns: Floats, bands_hz: Sequence[tuple[float, float]], rate_hz: float = GRID_HZ
) -> Floats:
    """Part of each of several even signals within a band of its own, as `in_band` does it.

    Parameters
    ----------
    columns : ndarray, shape (n, k)
    bands_hz : sequence of tuple of float
        One a column.
    """
    level = without_line(columns.T).T
    n = len(level)
    before, after = 2 * level[0] - level[:0:-1], 2 * level[-1] - level[-2::-1]
    size = next_fast_len(3 * n - 2, real=True)
    spectrum = np.fft.rfft(np.concatenate([before, level, after]), size, axis=0)
    f_hz = np.fft.rfftfreq(size, 1 / rate_hz)
    for column, (low_hz, high_hz) in enumerate(bands_hz):
        if not 0 <= low_hz < high_hz < rate_hz / 2:
            band_hz = (low_hz, high_hz)
            msg = f"{band_hz=} must be increasing and below rate_hz/2 = {rate_hz / 2:g} Hz"
            raise ScoringError(msg)
        spectrum[(f_hz < low_hz) | (f_hz > high_hz), column] = 0
    kept = np.fft.irfft(spectrum, size, axis=0)[n - 1 : 2 * n - 1]
    from_zero = np.array([low_hz == 0 for low_hz, _ in bands_hz])
    return np.asarray(kept + np.where(from_zero, columns - level, 0.0))


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
    return in_bands(values[:, None], [band_hz], rate_hz)[:, 0]
