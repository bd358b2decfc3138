"""Spectra of position: how much of a path lies at which frequency, in mm².

Long pieces are cut into overlapping Hann windows (Welch); a piece too short for that is one
window, estimated with several orthogonal tapers (Thomson), which leaves less to chance. The
shorter a window, the more of a slow line it loses below the band and to its trend: how much is
known (`Spectra.retained`), so that it can be given back.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal.windows import dpss, hann

from battery.errors import ScoringError
from battery.scoring.signal.filters import without_line
from battery.scoring.signal.path import GRID_HZ, Floats

WINDOW_S = 4.0
SHORT_S = 6.0  # a piece below is one window with several tapers
MIN_SEGMENT_S = 2.0
BRIEF_S = 0.5  # the shortest piece that says anything of a tremor
# Time times half bandwidth of the tapers, and how many: below 6 s, and below 2 s.
SHORT_TAPERS = (2.0, 3)
BRIEF_TAPERS = (1.5, 2)
RETAINED_STEP_HZ = 0.1
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
    sizes : tuple of int
        Samples of each window.
    rate_hz : float
    """

    f_hz: Floats
    density: Floats
    fine: Floats
    weight_s: Floats
    resolution_hz: float
    sizes: tuple[int, ...]
    rate_hz: float

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

    def of_long(self, least_s: float = MIN_SEGMENT_S) -> Spectra:
        """Those windows only that are at least so long: the others blur frequencies."""
        kept = np.array(self.sizes) >= round(least_s * self.rate_hz)
        if kept.all():
            return self
        sizes = tuple(np.array(self.sizes)[kept].tolist())
        weight_s = self.weight_s[kept]
        resolution_hz = (
            float(np.average(2 * self.rate_hz / np.array(sizes), weights=weight_s))
            if sizes
            else math.nan
        )
        return Spectra(
            self.f_hz,
            self.density[kept],
            self.fine[kept],
            weight_s,
            resolution_hz,
            sizes,
            self.rate_hz,
        )

    def powers_mm2(self, band_hz: tuple[float, float]) -> Floats:
        """Power in a band, both edges included, window by window, mm²."""
        inside = (self.f_hz >= band_hz[0]) & (self.f_hz <= band_hz[1])
        return np.asarray(self.density[:, inside].sum(axis=1) * self.f_hz[1])

    def retained(self, line_hz: float, band_hz: tuple[float, float]) -> Floats:
        """Share of a sine's power that `powers_mm2` finds, window by window.

        The rest falls beside the band, or is taken off with the trend.
        """
        below = math.floor(line_hz / RETAINED_STEP_HZ)
        share = line_hz / RETAINED_STEP_HZ - below
        low, high = (self._of_line(RETAINED_STEP_HZ * k, band_hz) for k in (below, below + 1))
        return np.asarray((1 - share) * low + share * high)

    def middle_hz(self, band_hz: tuple[float, float]) -> float:
        """Mean frequency of the power in a band; nan where there is none."""
        inside = (self.f_hz >= band_hz[0]) & (self.f_hz <= band_hz[1])
        power = np.average(self.density[:, inside], axis=0, weights=self.weight_s)
        whole = float(power.sum())
        return float(np.dot(power, self.f_hz[inside])) / whole if whole > 0 else math.nan

    def line_of_middle_hz(self, band_hz: tuple[float, float]) -> float:
        """Frequency of the one sine in the band whose power would lie about the same middle.

        Of a sine near an edge the middle lies further in, the more so the shorter the windows.
        """
        seen_hz = self.middle_hz(band_hz)
        if math.isnan(seen_hz):
            return sum(band_hz) / 2
        lines_hz = np.arange(band_hz[0], band_hz[1] + 1e-9, RETAINED_STEP_HZ)
        sizes, places = np.unique(np.array(self.sizes), return_inverse=True)
        weights = np.bincount(places, weights=self.weight_s)
        found = np.stack(
            [
                [_of_line(int(size), self.rate_hz, line, band_hz) for size in sizes]
                for line in lines_hz.round(6).tolist()
            ]
        )  # (n_lines, n_sizes, 2): power and first moment
        power, moment = np.tensordot(found, weights, axes=(1, 0)).T
        return float(lines_hz[np.argmin(np.abs(moment / power - seen_hz))])

    def _of_line(self, line_hz: float, band_hz: tuple[float, float]) -> Floats:
        at_hz = round(line_hz, 6)
        return np.array(
            [_of_line(size, self.rate_hz, at_hz, band_hz)[0] for size in self.sizes]
        )

    def mean_fine(self) -> Floats:
        """Mean over the time of `fine`, mm²/Hz."""
        return np.asarray(np.average(self.fine, axis=0, weights=self.weight_s))


@functools.lru_cache(maxsize=128)
def _tapers(size: int, rate_hz: float) -> Floats:
    """Orthogonal tapers of a piece that is one window, shape (n_tapers, size)."""
    return np.asarray(dpss(size, *_short(size, rate_hz)))


def _short(size: int, rate_hz: float) -> tuple[float, int]:
    return SHORT_TAPERS if size >= round(MIN_SEGMENT_S * rate_hz) else BRIEF_TAPERS


@functools.lru_cache(maxsize=8192)
def _of_line(
    size: int, rate_hz: float, line_hz: float, band_hz: tuple[float, float]
) -> tuple[float, float]:
    """Share of a sine's power that a window finds in a band, over phases; its first moment."""
    angle = 2 * np.pi * line_hz * np.arange(size) / rate_hz
    both = _without_trend(np.stack([np.cos(angle), np.sin(angle)]), rate_hz)
    n_padded = _padded(rate_hz)
    f_hz = np.fft.rfftfreq(n_padded, 1 / rate_hz)
    inside = (f_hz >= band_hz[0]) & (f_hz <= band_hz[1])
    long = size == round(WINDOW_S * rate_hz)
    tapers = _hann(size)[None] if long else _tapers(size, rate_hz)
    cut = (both[:, None] * tapers).reshape(-1, size)
    power = _density(cut, n_padded, rate_hz).mean(axis=0)[inside] * f_hz[1] / 0.5
    return float(power.sum()), float(power @ f_hz[inside])


def _padded(rate_hz: float) -> int:
    return int(2 ** int(np.ceil(np.log2(SHORT_S * rate_hz))))


def _without_trend(values: Floats, rate_hz: float) -> Floats:
    """Take off a line, or in a window below 4 s a parabola, along the last axis."""
    if values.shape[-1] >= round(WINDOW_S * rate_hz):
        return without_line(values)
    basis = _parabola(values.shape[-1])
    return np.asarray(values - (values @ basis.T) @ basis)


@functools.lru_cache(maxsize=128)
def _parabola(size: int) -> Floats:
    """Orthonormal constant, line and parabola, shape (3, size)."""
    u = np.linspace(-1, 1, size)
    return np.asarray(np.linalg.qr(np.stack([np.ones(size), u, u * u]).T)[0].T)


@functools.lru_cache(maxsize=128)
def _hann(size: int) -> Floats:
    window = hann(size, sym=False)
    return np.asarray(window / np.sqrt(np.sum(window**2)))


def spectra(
    pieces_mm: Sequence[Floats], rate_hz: float = GRID_HZ, *, least_s: float = MIN_SEGMENT_S
) -> Spectra:
    """Compute the spectra of evenly sampled pieces of one coordinate.

    Parameters
    ----------
    pieces_mm : sequence of ndarray, shape (n,)
        Each without gaps.
    rate_hz : float
    least_s : float
        Shorter pieces are left out; from 0.5 s on.

    Returns
    -------
    Spectra
        Pieces of 6 s and more in Hann windows of 4 s, half overlapping, each freed of its line.
        Shorter ones as one window each, freed of a line (from 4 s on) or a parabola, with three
        tapers of time-bandwidth 2, below 2 s with two of 1.5.

    References
    ----------
    Welch PD (1967). The use of fast Fourier transform for the estimation of power spectra.
    IEEE Trans Audio Electroacoust 15:70-73.
    Thomson DJ (1982). Spectrum estimation and harmonic analysis. Proc IEEE 70:1055-1096.
    """
    size = _padded(rate_hz)
    f_hz: Floats = np.asarray(np.fft.rfftfreq(size, 1 / rate_hz), dtype=np.float64)
    coarse, fine, weights, sizes = [], [], [], []
    for piece in pieces_mm:
        seconds = len(piece) / rate_hz
        if seconds < max(least_s, BRIEF_S):
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
            cut = _without_trend(piece[:window], rate_hz)
            tapered = _density(cut * _tapers(window, rate_hz), size, rate_hz)
            coarse.append(tapered.mean(axis=0)[None])
            fine.append(_density((cut * _hann(window))[None], size, rate_hz))
        n = len(coarse[-1])
        weights.append(np.full(n, seconds / n))
        sizes += [window] * n
    if not coarse:
        nothing = np.empty((0, len(f_hz)))
        return Spectra(f_hz, nothing, nothing, np.empty(0), np.nan, (), rate_hz)
    weight_s = np.concatenate(weights)
    resolution_hz = float(np.average(2 * rate_hz / np.array(sizes), weights=weight_s))
    return Spectra(
        f_hz,
        np.vstack(coarse),
        np.vstack(fine),
        weight_s,
        resolution_hz,
        tuple(sizes),
        rate_hz,
    )


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
