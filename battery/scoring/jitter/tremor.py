"""Whether there is a peak in the jitter, and where: the frequency of a tremor."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from battery.scoring.signal.path import Floats
from battery.scoring.signal.spectrum import Spectra

BAND_HZ = (2.0, 14.0)
FIT_HZ = (2.0, 20.0)
EDGE_HZ = 0.05  # to which a line at an edge of the band is found
MARGIN_HZ = 0.25  # a maximum may stand just outside the band and its line still in it
MIN_RATIO = 2.5
CHANCE = 0.01  # that a record without a tremor shows such a peak
PEAK_HALF_HZ = 0.5
INTERPOLATION_HZ = 0.02  # to which a pure sine is found
MIDDLE_HZ = 1.0  # on either side, for the middle of a line
MIDDLE_STEPS = 4
LOWEST_HZ = 1.5  # below lies the wandering of any hand


@dataclass(frozen=True, slots=True, eq=False)
class Peak:
    """The highest peak of a whitened spectrum.

    Parameters
    ----------
    f_hz : float
        Where it is; nan where there is no local maximum inside the band.
    ratio : float
        Its height over the median of the whitened spectrum in the band.
    least_ratio : float
        What it takes to be a peak: 2.5, or more where few windows leave more to chance.
    snr_db : float
        Power within 0.5 Hz of it over the power of the fitted background there.
    line_mm : float
        Root mean square of what stands above the background there.
    moves_hz : ndarray, shape (n_windows,)
        How far each window by itself would move the frequency, in order of time.
    """

    f_hz: float
    ratio: float
    least_ratio: float
    snr_db: float
    line_mm: float
    moves_hz: Floats

    @property
    def real(self) -> bool:
        """Whether it stands out of what chance makes, and its line lies in the band."""
        inside = BAND_HZ[0] - EDGE_HZ <= self.f_hz <= BAND_HZ[1] + EDGE_HZ
        return self.ratio > self.least_ratio and inside


def background(f_hz: Floats, density: Floats) -> Floats:
    """Power law fitted to a spectrum on 2-20 Hz: ``log P = a + b log f``.

    Without dividing by it the slow movement of any hand looks like a tremor at the lower edge
    of the band.
    """
    fitted = (f_hz >= FIT_HZ[0]) & (f_hz <= FIT_HZ[1])
    at, logs = np.log(f_hz[fitted]), np.log(density[fitted])
    off = at - at.mean()
    slope = float(off @ logs) / float(off @ off)
    found = np.full(len(f_hz), np.inf)  # a power law has no value at 0 Hz
    found[1:] = np.exp(logs.mean() + slope * (np.log(f_hz[1:]) - at.mean()))
    return found


def highest_peak(found: Spectra) -> Peak | None:
    """Find the highest peak of the whitened spectrum in 2-14 Hz.

    Returns
    -------
    Peak or None
        None where there is no power at all.

    Notes
    -----
    The spectrum is divided by the power law fitted to it, to find the peak. The frequency is
    the middle of the line about it (`_middle`). A maximum at the edge of the band is none.
    Limits of meaning: a voluntary movement to and fro at over 2 Hz is a peak
    too, and quantisation of a slow even drift makes a false line, which `jitter`
    holds against the noise floor.
    """
    f_hz, density = found.f_hz, found.mean_fine()
    inside = np.flatnonzero((f_hz >= BAND_HZ[0] - MARGIN_HZ) & (f_hz <= BAND_HZ[1] + MARGIN_HZ))
    if not np.all(density[inside] > 0):
        return None
    floor = background(f_hz, np.maximum(density, density[inside].min() * 1e-12))
    whitened = density / floor
    middle = whitened[inside]
    least = _least_ratio(found)
    rising = (middle[1:-1] >= middle[:-2]) & (middle[1:-1] > middle[2:])
    tops = inside[1:-1][rising]
    if len(tops) == 0:
        return Peak(math.nan, 0.0, least, math.nan, 0.0, np.empty(0))
    top = int(tops[np.argmax(whitened[tops])])
    if whitened[top] < middle.max():  # higher still towards an edge: no peak of its own
        return Peak(math.nan, 0.0, least, math.nan, 0.0, np.empty(0))
    ratio = float(whitened[top] / np.median(middle))
    at_hz, moves_hz = _middle(found, floor, float(f_hz[top]))
    near = np.abs(f_hz - at_hz) <= max(PEAK_HALF_HZ, found.resolution_hz / 2)
    snr_db = 10 * math.log10(float(density[near].sum() / floor[near].sum()))
    line_mm2 = max(0.0, float(density[near].sum() - floor[near].sum())) * float(f_hz[1])
    return Peak(at_hz, ratio, least, snr_db, math.sqrt(line_mm2), moves_hz)


def _middle(found: Spectra, floor: Floats, top_hz: float) -> tuple[float, Floats]:
    """Middle of a line about a peak, and how far each window would move it, in order of time.

    Where the sines of the distances, a turn within `MIDDLE_HZ` on either side, weighed by the
    power above the background add up to nothing: the highest place of the spectrum smoothed
    over as much. A pure line stays where it is; of a broad one no single bin decides.
    """
    f_hz = found.f_hz
    above = found.fine - floor
    at_hz = top_hz
    reach_hz = max(MIDDLE_HZ, 1.5 * found.resolution_hz)
    for _ in range(MIDDLE_STEPS):
        own_hz = min(reach_hz, max(at_hz - LOWEST_HZ, found.resolution_hz))
        near = np.abs(f_hz - at_hz) < own_hz
        turns = np.exp(1j * np.pi * (f_hz[near] - at_hz) / own_hz)
        each = found.weight_s * (above[:, near] @ turns)
        whole = each.sum()
        if not whole.real > 0:  # nothing stands above the background there
            return top_hz, np.full(len(each), np.nan)
        at_hz += own_hz / np.pi * float(np.angle(whole))
    moves_hz = own_hz / np.pi * each.imag * len(each) / whole.real
    return at_hz, np.asarray(moves_hz)


def _least_ratio(found: Spectra) -> float:
    """Height that the highest of the independent bins passes with 1 % by chance."""
    freedom = 2 * found.n_independent
    bins = max(1.0, 2 * (BAND_HZ[1] - BAND_HZ[0]) / found.resolution_hz)
    highest = chdtri(freedom, 1 - (1 - CHANCE) ** (1 / bins))
    median = chdtri(freedom, 0.5)
    return max(MIN_RATIO, float(highest / median))
