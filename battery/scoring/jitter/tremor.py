"""Whether there is a peak in the jitter, and where: the frequency of a tremor."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri
from scipy.stats import linregress

from battery.scoring.signal.path import Flags, Floats
from battery.scoring.signal.spectrum import Spectra

BAND_HZ = (2.0, 14.0)
FIT_HZ = (2.0, 20.0)
MARGIN_HZ = 0.25  # a maximum may stand just outside the band and its line still in it
MIN_RATIO = 2.5
CHANCE = 0.01  # that a record without a tremor shows such a peak
PEAK_HALF_HZ = 0.5
TINY = 1e-300
INTERPOLATION_HZ = 0.02  # to which a parabola through three bins finds a pure sine


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
    left_out : tuple of ndarray, shape (n_windows,)
        Frequency and power over background with one window after another left out.
    """

    f_hz: float
    ratio: float
    least_ratio: float
    snr_db: float
    line_mm: float
    left_out: tuple[Floats, Floats]

    @property
    def real(self) -> bool:
        """Whether it stands out of what chance makes."""
        return self.ratio > self.least_ratio


def background(f_hz: Floats, density: Floats) -> Floats:
    """Power law fitted to a spectrum on 2-20 Hz: ``log P = a + b log f``.

    Without dividing by it the slow movement of any hand looks like a tremor at the lower edge
    of the band.
    """
    fitted = (f_hz >= FIT_HZ[0]) & (f_hz <= FIT_HZ[1])
    line = linregress(np.log(f_hz[fitted]), np.log(density[fitted]))
    found = np.full(len(f_hz), np.inf)  # a power law has no value at 0 Hz
    found[1:] = np.exp(line.intercept + line.slope * np.log(f_hz[1:]))
    return found


def highest_peak(found: Spectra) -> Peak | None:
    """Find the highest peak of the whitened spectrum in 2-14 Hz.

    Returns
    -------
    Peak or None
        None where there is no power at all.

    Notes
    -----
    The spectrum is divided by the power law fitted to it. The frequency is where a parabola
    through the logarithms of the peak and its neighbours is highest. A maximum at the edge of
    the band is none. Limits of meaning: a voluntary movement to and fro at over 2 Hz is a peak
    too, and rounding of a slow even drift makes a false line, which `jitter`
    holds against the floor.
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
        return Peak(math.nan, 0.0, least, math.nan, 0.0, (np.empty(0), np.empty(0)))
    top = int(tops[np.argmax(whitened[tops])])
    if whitened[top] < middle.max():  # higher still towards an edge: no peak of its own
        return Peak(math.nan, 0.0, least, math.nan, 0.0, (np.empty(0), np.empty(0)))
    ratio = float(whitened[top] / np.median(middle))
    at_hz = float(f_hz[top] + _vertex(np.log(whitened[top - 1 : top + 2])) * f_hz[1])
    near = np.abs(f_hz - at_hz) <= max(PEAK_HALF_HZ, found.resolution_hz / 2)
    snr_db = 10 * math.log10(float(density[near].sum() / floor[near].sum()))
    line_mm2 = max(0.0, float(density[near].sum() - floor[near].sum())) * float(f_hz[1])
    return Peak(at_hz, ratio, least, snr_db, math.sqrt(line_mm2), _left_out(found, near))


def _backgrounds(f_hz: Floats, densities: Floats, near: Flags) -> Floats:
    """Power law of each row, as `background` fits it, at the places `near`."""
    fitted = (f_hz >= FIT_HZ[0]) & (f_hz <= FIT_HZ[1])
    design = np.column_stack([np.ones(fitted.sum()), np.log(f_hz[fitted])])
    least = np.maximum(densities[:, fitted].max(axis=1, keepdims=True) * 1e-12, TINY)
    logs = np.log(np.maximum(densities[:, fitted], least))
    lines = np.linalg.pinv(design) @ logs.T
    return np.asarray(np.exp(lines[0][:, None] + lines[1][:, None] * np.log(f_hz[near])))


def _left_out(found: Spectra, near: Flags) -> tuple[Floats, Floats]:
    """Peak near the one found, from all windows but one."""
    if len(found.weight_s) < 2:
        return np.full(1, np.nan), np.full(1, np.nan)
    weighted = found.fine * found.weight_s[:, None]
    density = np.maximum(weighted.sum(axis=0) - weighted, 0.0)
    density /= np.maximum(found.weight_s.sum() - found.weight_s, 1e-12)[:, None]
    floors = _backgrounds(found.f_hz, density, near)
    whitened = density[:, near] / floors
    if whitened.shape[1] < 3 or not np.all(whitened > 0):
        return np.full(len(density), np.nan), np.full(len(density), np.nan)
    tops = np.clip(np.argmax(whitened, axis=1), 1, whitened.shape[1] - 2)
    first = int(np.flatnonzero(near)[0])
    at = [
        first + top + _vertex(np.log(row[top - 1 : top + 2]))
        for top, row in zip(tops.tolist(), whitened, strict=True)
    ]
    snr_db = 10 * np.log10(density[:, near].sum(axis=1) / floors.sum(axis=1))
    return np.array(at) * found.f_hz[1], np.asarray(snr_db)


def _vertex(three: Floats) -> float:
    """Place of the vertex of a parabola through three even points, in steps from the middle."""
    left, middle, right = three.tolist()
    bend = left - 2 * middle + right
    return 0.5 * (left - right) / bend if bend < 0 else 0.0


def _least_ratio(found: Spectra) -> float:
    """Height that the highest of the independent bins passes with 1 % by chance."""
    freedom = 2 * found.n_independent
    bins = max(1.0, 2 * (BAND_HZ[1] - BAND_HZ[0]) / found.resolution_hz)
    highest = chdtri(freedom, 1 - (1 - CHANCE) ** (1 / bins))
    median = chdtri(freedom, 0.5)
    return max(MIN_RATIO, float(highest / median))
