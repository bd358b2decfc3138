"""Tremor-related jitter: how much of a path lies in a band of frequencies.

From the spectrum of *position*, so that the result is in millimetres; across the instructed
path, where there is next to no voluntary movement. Limit of meaning: whoever corrects the path
at will more than twice a second is in the band too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from battery.scoring.jitter.tremor import BAND_HZ, Peak
from battery.scoring.signal.path import GRID_HZ, Floats
from battery.scoring.signal.spectrum import Spectra, check_band, spectra

CLEAR_HZ = 0.6  # a peak that is wider than this does not say where its line is
MIN_TOTAL_S = 4.0
MIN_LINE = 0.3  # of the root mean square in the band


def band_rms_mm(
    pieces_mm: Sequence[Floats],
    *,
    band_hz: tuple[float, float] = BAND_HZ,
    rate_hz: float = GRID_HZ,
) -> float:
    """Root mean square displacement of one coordinate within a band.

    Parameters
    ----------
    pieces_mm : sequence of ndarray, shape (n,)
        Each evenly sampled and without gaps; those below 2 s are left out.
    band_hz : tuple of float
        Both edges included.
    rate_hz : float

    Returns
    -------
    float
        mm; a sine of amplitude A inside the band gives A / sqrt(2), whether or not its
        frequency falls on a bin: the spectrum is integrated, not read at its peak. nan when
        less than 4 s are usable. 0 for a motionless pointer, which on a device with a grid
        says only that it stayed below it.

    Raises
    ------
    ScoringError
        If the band does not fit below half the sampling rate.

    Notes
    -----
    Of a sine nearer than 0.5 Hz (in pieces below 6 s: 1 Hz) to an edge of the band a part falls
    outside; the scores give it back (`Spectra.retained`).

    Examples
    --------
    >>> t_s = np.arange(0, 20, 1 / 120)
    >>> round(band_rms_mm([np.sin(2 * np.pi * 6 * t_s)]), 4)
    0.7071
    """
    check_band(band_hz, rate_hz)
    found = spectra(pieces_mm, rate_hz)
    if found.seconds < MIN_TOTAL_S:
        return math.nan
    return windows_rms_mm(found, band_hz, np.ones(len(found.weight_s)))


def windows_rms_mm(found: Spectra, band_hz: tuple[float, float], retained: Floats) -> float:
    """Band RMS over windows, with what brief ones lose given back."""
    weighted = found.powers_mm2(band_hz) * found.weight_s
    return math.sqrt(float(weighted.sum() / np.dot(retained, found.weight_s)))


def line_hz(found: Spectra, peak: Peak | None, resolution_hz: float) -> float:
    """Frequency of the highest peak if it is one, else the middle of the power in the band.

    A peak of the long windows that holds little of the power of all says nothing of it.
    """
    if resolution_hz <= CLEAR_HZ and peak is not None and peak.real:
        whole_mm = windows_rms_mm(found, BAND_HZ, np.ones(len(found.weight_s)))
        if peak.line_mm > MIN_LINE * whole_mm:
            return peak.f_hz
    return found.line_of_middle_hz(BAND_HZ)
