"""Spectra of position: how much of a path lies at which frequency, in mm².

Long pieces are cut into overlapping Hann windows (Welch); a piece too short for that is one
window, estimated with several orthogonal tapers (Thomson), which leaves less to chance.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal.windows import dpss, hann

from battery.errors import ScoringError
from battery.scoring.signal.filters import without_line
from battery.scoring.signal.path import GRID_HZ, Floats

WINDOW_S = 4.0
SHORT_S = 6.0  # a piece below is one window with several tapers
LEAST_SEGMENT_S = 2.0
BANDWIDTH = 3.0  # time times half bandwidth of the tapers
N_TAPERS = 5
TRIM_S = 0.1  # short pieces are cut to whole steps of this, so that few sets of tapers exist
OVERLAP_FACTOR = 0.947  # windows of 50 % overlap in place of as many independent ones


@dataclass(frozen=True, slots=True, eq=False)
class Spectra:
    """Spectra of windows of one coordinate, on one grid of frequencies.

    Parameters
    ----------
    f_hz : ndarray, shape (n_frequencies,)
    density : ndarray, shape (n_windows, n_frequencies)
        One-sided, mm²/Hz.
    fine : ndarray, shape (n_windows, n_frequencies)
        The same from a single Hann taper: noisier, and narrow enough to tell frequencies.
    weight_s : ndarray, shape (n_windows,)
        How much of the time a window stands for.
    resolution_hz : float
        Half width of a line in `fine`, mean over windows.
    """

    f_hz: Floats
    density: Floats
    fine: Floats
    weight_s: Floats
    resolution_hz: float

    @property
    def seconds(self) -> float:
        """Time that went into the spectra."""
        return float(self.weight_s.sum())

    @property
    def n_independent(self) -> float:
        """How many independent windows say as much."""
        if len(self.weight_s) == 0:
            return 0.0
        equal = self.weight_s.sum() ** 2 / np.sum(self.weight_s**2)
        return float(max(1.0, OVERLAP_FACTOR * equal))

    def powers_mm2(self, band_hz: tuple[float, float]) -> Floats:
        """Power in a band, both edges included, window by window, mm²."""
        inside = (self.f_hz >= band_hz[0]) & (self.f_hz <= band_hz[1])
        return np.asarray(self.density[:, inside].sum(axis=1) * self.f_hz[1])

    def mean_fine(self) -> Floats:
        """Mean over the time of `fine`, mm²/Hz."""
        return np.asarray(np.average(self.fine, axis=0, weights=self.weight_s))


@functools.lru_cache(maxsize=128)
def _tapers(size: int) -> Floats:
    return np.asarray(dpss(size, BANDWIDTH, N_TAPERS))


@functools.lru_cache(maxsize=128)
def _hann(size: int) -> Floats:
    window = hann(size, sym=False)
    return np.asarray(window / np.sqrt(np.sum(window**2)))


def spectra(pieces_mm: Sequence[Floats], rate_hz: float = GRID_HZ) -> Spectra:
    """Compute the spectra of evenly sampled pieces of one coordinate.

    Parameters
    ----------
    pieces_mm : sequence of ndarray, shape (n,)
        Each without gaps. Those below 2 s are left out.
    rate_hz : float

    Returns
    -------
    Spectra
        Pieces of 6 s and more in Hann windows of 4 s, half overlapping; shorter ones as one
        window each with five tapers (time-bandwidth 3). Every window is freed of its line.

    References
    ----------
    Welch PD (1967). The use of fast Fourier transform for the estimation of power spectra.
    IEEE Trans Audio Electroacoust 15:70-73.
    Thomson DJ (1982). Spectrum estimation and harmonic analysis. Proc IEEE 70:1055-1096.
    """
    size = 2 ** int(np.ceil(np.log2(SHORT_S * rate_hz)))
    f_hz: Floats = np.asarray(np.fft.rfftfreq(size, 1 / rate_hz), dtype=np.float64)
    coarse, fine, weights, widths = [], [], [], []
    for piece in pieces_mm:
        seconds = len(piece) / rate_hz
        if seconds < LEAST_SEGMENT_S:
            continue
        if seconds >= SHORT_S:
            window = round(WINDOW_S * rate_hz)
            starts = np.arange(0, len(piece) - window + 1, window // 2)
            cut = without_line(piece[starts[:, None] + np.arange(window)])
            found = _density(cut * _hann(window), size, rate_hz)
            coarse.append(found)
            fine.append(found)
        else:
            window = int(seconds / TRIM_S + 1e-9) * round(TRIM_S * rate_hz)
            cut = without_line(piece[:window])
            tapered = _density(cut * _tapers(window), size, rate_hz)
            coarse.append(tapered.mean(axis=0)[None])
            fine.append(_density((cut * _hann(window))[None], size, rate_hz))
        n = len(coarse[-1])
        weights.append(np.full(n, seconds / n))
        widths.append(np.full(n, 2 * rate_hz / window))
    if not coarse:
        nothing = np.empty((0, len(f_hz)))
        return Spectra(f_hz, nothing, nothing, np.empty(0), np.nan)
    weight_s = np.concatenate(weights)
    resolution_hz = float(np.average(np.concatenate(widths), weights=weight_s))
    return Spectra(f_hz, np.vstack(coarse), np.vstack(fine), weight_s, resolution_hz)


def _density(tapered: Floats, size: int, rate_hz: float) -> Floats:
    """One-sided density of rows times a taper of unit energy, padded to `size`."""
    density = np.abs(np.fft.rfft(tapered, size, axis=-1)) ** 2 / rate_hz
    density[..., 1:-1] *= 2
    return np.asarray(density)


def check_band(band_hz: tuple[float, float], rate_hz: float) -> None:
    """Refuse a band that does not fit below half the sampling rate.

    Raises
    ------
    ScoringError
    """
    low_hz, high_hz = band_hz
    if not 0 < low_hz < high_hz < rate_hz / 2:
        msg = f"{band_hz=} must be increasing and below rate_hz/2 = {rate_hz / 2:g} Hz"
        raise ScoringError(msg)
