"""Tremor-related jitter: how much of a path lies in a band of frequencies.

From the spectrum of *position*, so that the result is in millimetres; across the instructed
path, where there is next to no voluntary movement. Limit of meaning: whoever corrects the path
at will more than twice a second is in the band too.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np

from battery.scoring.definitions.jitter import BESIDE_HZ, SUB_BANDS_HZ, band_name
from battery.scoring.jitter.tremor import (
    BAND_HZ,
    INTERPOLATION_HZ,
    Peak,
    highest_peak,
)
from battery.scoring.score import BELOW_FLOOR, NO_INTERVAL, Score, missing
from battery.scoring.signal.filters import in_bands
from battery.scoring.signal.kinematics import runs
from battery.scoring.signal.path import (
    GRID_HZ,
    Flags,
    Floats,
    Segment,
    grid_mm,
    kept_rate_hz,
    n_jumps,
    report_rate_hz,
)
from battery.scoring.signal.spectrum import (
    BRIEF_S,
    MIN_SEGMENT_S,
    SHORT_S,
    WINDOW_S,
    Spectra,
    check_band,
    spectra,
)
from battery.scoring.stats import summary
from battery.scoring.stats.dependent_windows import of_dependent_mean, of_root_power
from battery.scoring.stats.resampling import root_ratio

__all__ = ["BAND_HZ", "MIN_SEGMENT_S", "SHORT_S", "WINDOW_S", "band_rms_mm", "floor_mm"]

# Along the path the quickest movement at will reaches higher than across it.
ALONG_HZ = (3.5, 14.0)
MIN_RETAINED = 0.3
CLEAR_HZ = 0.6  # a peak that is wider than this does not say where its line is

MIN_TOTAL_S = 4.0
MIN_SPECTRUM_S = 8.0
MIN_RATE_HZ = 60 * 0.97
PRACTICAL_MM = 0.1  # what a tablet tells apart, whatever its pixels
SETTLING_S = 0.2  # the first of every contact: systems hold back the first small movement
SLOW_MM_S = 50.0
# Above all that rounding adds, wherever it lies: a slow even drift over whole pixels is a
# staircase whose steps are a false line of up to q / sqrt(12), which is below 3 floors.
FLOORS_FOR_FREQUENCY = 3.0
CHUNK_S = 2.0
MIN_LINE = 0.3  # of the root mean square in the band
REPORTS_A_TURN = 4.0  # of a tremor; with fewer the spline between them cuts its tops
COARSE_SHARE = 0.25  # more where the amplitude is no more than a few pixels
DEVICE_SHARE = 0.03  # of a value: what resampling, rounding and uneven scans add or take


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
    return _rms_mm(found, band_hz, np.ones(len(found.weight_s)))


def _rms_mm(found: Spectra, band_hz: tuple[float, float], retained: Floats) -> float:
    weighted = found.powers_mm2(band_hz) * found.weight_s
    return math.sqrt(float(weighted.sum() / np.dot(retained, found.weight_s)))


def _where_hz(found: Spectra, peak: Peak | None, resolution_hz: float) -> float:
    """Frequency of the highest peak if it is one, else the middle of the power in the band.

    A peak of the long windows that holds little of the power of all says nothing of it.
    """
    if resolution_hz <= CLEAR_HZ and peak is not None and peak.real:
        whole_mm = _rms_mm(found, BAND_HZ, np.ones(len(found.weight_s)))
        if peak.line_mm > MIN_LINE * whole_mm:
            return peak.f_hz
    return found.line_of_middle_hz(BAND_HZ)


def floor_mm(
    pixel_mm: float, report_rate_hz: float, band_hz: tuple[float, float] = BAND_HZ
) -> float:
    """Band RMS that rounding to whole pixels alone would give.

    Notes
    -----
    Rounding to q adds noise of variance q²/12, white up to half the report rate (Bennett WR
    1948, Bell Syst Tech J 27:446-472), if the pointer crosses many pixels. A resting finger
    may read exactly 0 below it, or jump by a whole pixel.
    """
    width_hz = band_hz[1] - band_hz[0]
    return pixel_mm * math.sqrt(width_hz / (6 * report_rate_hz))


@dataclass(frozen=True, slots=True, eq=False)
class Drag:
    """One piece of dragging without gaps, on the even grid.

    `across_mm` and `along_mm` are places, `speed_mm_s` the slow speed along the path (without
    sign), `counts` is false where the moment does not count; all of shape (n,).
    """

    across_mm: Floats
    along_mm: Floats
    speed_mm_s: Floats
    counts: Flags


@dataclass(frozen=True, slots=True)
class Device:
    """What the floor follows from: grid, mm, and rate of reports in contact (nan: unknown).

    `kept_hz` is the rate with lost reports missing, which limits how quick a tremor may be;
    `n_jumps` and `contact_s` are how often the position jumped, and in how much contact.
    """

    pixel_mm: float
    rate_hz: float
    n_jumps: int = 0
    contact_s: float = 0.0
    kept_hz: float = math.inf

    @classmethod
    def of(cls, segments: list[Segment], pixel_mm: float) -> Self:
        """Read a device from its reports in contact: its grid may be coarser than a pixel."""
        return cls(
            max(pixel_mm, grid_mm(segments)),
            report_rate_hz(segments),
            n_jumps(segments),
            float(sum(t_s[-1] - t_s[0] for t_s, _ in segments if len(t_s))),
            kept_rate_hz(segments),
        )

    def rounding_mm(self, band_hz: tuple[float, float] = BAND_HZ) -> float:
        """Floor of a band RMS; nan where the rate is unknown.

        A slow pointer crosses few pixels, and a device that tells of changes only is silent in
        between: more reports than the grid has do not thin out its rounding.
        """
        if math.isnan(self.rate_hz):
            return math.nan
        return floor_mm(self.pixel_mm, min(self.rate_hz, GRID_HZ), band_hz)

    @property
    def too_slow(self) -> str:
        """Why there is no spectrum at this rate; empty where there is one."""
        if self.rate_hz >= MIN_RATE_HZ:
            return ""
        if math.isnan(self.rate_hz):
            return "too few reports to tell their rate"
        return f"{self.rate_hz:.0f} reports a second; at least 60 are needed"


def jitter_scores(
    task: str, drags: Sequence[Drag], device: Device, *, along: Sequence[Floats]
) -> list[Score]:
    """Score the family of jitter measures of one task.

    Parameters
    ----------
    task : str
    drags : sequence of Drag
    device : Device
    along : sequence of ndarray
        Pieces of what is left of the movement along the path without what was asked for;
        empty for the task whose movement along the path is the person's own: there the slow
        phases count.
    """
    pieces_mm = [
        drag.across_mm[begin:end]
        for drag in drags
        for begin, end in runs(drag.counts, 1).tolist()
    ]
    found = spectra(pieces_mm, least_s=BRIEF_S)
    long = found.of_long()
    peak = highest_peak(long) if long.seconds >= MIN_TOTAL_S else None
    across = _across(f"{task}.jitter_across_mm", found, device, peak, long.resolution_hz)
    pixels = (
        missing(f"{task}.jitter_pixels", across.reason or "no grid")
        if math.isnan(across.value) or across.below_floor or not device.pixel_mm > 0
        else _known(f"{task}.jitter_pixels", math.sqrt(2) * across.value / device.pixel_mm)
    )
    jumps = summary.rate_of(
        f"{task}.jumps_per_min", device.n_jumps, device.contact_s / 60, n=device.n_jumps
    )
    scores = [_floor(task, device), across, pixels, jumps]
    others = {band_name(task, band): band for band in SUB_BANDS_HZ}
    others |= {f"{task}.{name}": band for name, band in BESIDE_HZ.items()}
    scores += [_of_spectra(name, long, band, device) for name, band in others.items()]
    slow, name = f"{task}.jitter_slow_mm", f"{task}.jitter_along_mm"
    if along:
        scores += _of_slow({slow: BAND_HZ}, drags, device)
        scores.append(_of_spectra(name, spectra(along), ALONG_HZ, device))
    else:
        scores += _of_slow({slow: BAND_HZ, name: ALONG_HZ}, drags, device)
    return [*scores, *_tremor(task, long, device, peak)]


def _floor(task: str, device: Device) -> Score:
    name = f"{task}.jitter_floor_mm"
    if math.isnan(device.rate_hz):
        return missing(name, device.too_slow)
    return _known(name, device.rounding_mm())


def _known(name: str, value: float) -> Score:
    return Score(name, value, 1, value, value)


def _across(
    name: str, found: Spectra, device: Device, peak: Peak | None, resolution_hz: float
) -> Score:
    """Band RMS from every contact, brief ones too, with what they lose given back."""
    reason = _too_little(found, device)
    if reason:
        return missing(name, reason, len(found.weight_s))
    where_hz = _where_hz(found, peak, resolution_hz)
    if where_hz > device.kept_hz / REPORTS_A_TURN:
        reason = (
            f"{device.kept_hz:.0f} reports a second came of {device.rate_hz:.0f}: too few for "
            f"a tremor of {where_hz:.1f} Hz"
        )
        return missing(name, reason, len(found.weight_s))
    retained = found.retained(where_hz, BAND_HZ)
    share = float(np.average(retained, weights=found.weight_s))
    if share < MIN_RETAINED:
        longest_s = max(found.sizes) / found.rate_hz
        reason = (
            f"contacts of {longest_s:.1f} s are too short for a tremor of {where_hz:.1f} Hz"
        )
        return missing(name, reason, len(found.weight_s))
    return _of_windows(name, found, BAND_HZ, device, retained)


def _of_spectra(
    name: str, found: Spectra, band_hz: tuple[float, float], device: Device
) -> Score:
    reason = _too_little(found, device)
    if reason:
        return missing(name, reason, len(found.weight_s))
    return _of_windows(name, found, band_hz, device, np.ones(len(found.weight_s)))


def _too_little(found: Spectra, device: Device) -> str:
    """Say why there is no band RMS; empty where there is one."""
    if device.too_slow:
        return device.too_slow
    if found.seconds < MIN_TOTAL_S:
        return f"{found.seconds:.1f} s of contact in usable pieces; at least 4"
    return ""


def _of_windows(
    name: str,
    found: Spectra,
    band_hz: tuple[float, float],
    device: Device,
    retained: Floats,
) -> Score:
    value = _rms_mm(found, band_hz, retained)
    powers = found.powers_mm2(band_hz) / retained
    interval = of_root_power(powers, found.weight_s * retained)
    return _above_floor(name, value, len(powers), interval, device, band_hz)


def _of_slow(
    bands: Mapping[str, tuple[float, float]], drags: Sequence[Drag], device: Device
) -> list[Score]:
    """Band RMS across, and along, while the finger was slow, from pieces of at least 2 s.

    Every contact is filtered as a whole and only then cut, so that no movement at will ends at
    a cut.
    """
    if device.too_slow:
        return [missing(name, device.too_slow) for name in bands]
    chunks = []
    size = round(CHUNK_S * GRID_HZ)
    for drag in drags:
        if len(drag.counts) < MIN_SEGMENT_S * GRID_HZ:
            continue
        slow = drag.counts & (drag.speed_mm_s < SLOW_MM_S)
        both_mm = np.column_stack([drag.across_mm, drag.along_mm])[:, : len(bands)]
        squares = np.where(slow[:, None], in_bands(both_mm, list(bands.values())) ** 2, 0.0)
        starts = np.arange(0, len(slow) - size // 2, size)
        rows = np.column_stack([squares, slow])
        chunks.append(np.add.reduceat(rows, starts, axis=0))
    pieces = np.concatenate(chunks) if chunks else np.empty((0, len(bands) + 1))
    pieces = pieces[pieces[:, -1] > 0]
    seconds = pieces[:, -1].sum() / GRID_HZ
    n = len(pieces)
    if seconds < MIN_TOTAL_S:
        reason = f"{seconds:.1f} s slower than 50 mm/s; at least 4"
        return [missing(name, reason, n) for name in bands]
    scores = []
    for column, (name, band_hz) in enumerate(bands.items()):
        own = pieces[:, [column, -1]]
        value = float(root_ratio(own[None])[0])
        scores.append(_above_floor(name, value, n, (math.nan, math.nan), device, band_hz))
    return scores


def _above_floor(
    name: str,
    value: float,
    n: int,
    interval: tuple[float, float],
    device: Device,
    band_hz: tuple[float, float],
) -> Score:
    """Score a band RMS; what the device cannot tell from none has the value of the limit.

    What rounding adds is in the interval: the true value may be smaller by it.
    """
    rounding_mm = device.rounding_mm(band_hz)
    limit_mm = max(rounding_mm, PRACTICAL_MM)
    low, high = interval
    if value < limit_mm:
        reason = f"{BELOW_FLOOR} of {limit_mm:.2g} mm (rounding alone: {rounding_mm:.2g} mm)"
        return Score(name, limit_mm, n, 0.0, max(limit_mm, high), reason)
    if not math.isnan(low):
        share = DEVICE_SHARE + COARSE_SHARE * (device.pixel_mm / (math.sqrt(2) * value)) ** 2
        wider = math.hypot(math.log(value / max(low, 1e-9 * value)), share)
        low = math.sqrt(max((value * math.exp(-wider)) ** 2 - rounding_mm**2, 0.0))
        high = value * math.exp(math.hypot(math.log(high / value), share))
    return Score(name, value, n, low, high)


def _tremor(task: str, found: Spectra, device: Device, peak: Peak | None) -> list[Score]:
    names = (f"{task}.tremor_hz", f"{task}.tremor_snr_db")
    n = len(found.weight_s)
    reason = device.too_slow
    if not reason and found.seconds < MIN_SPECTRUM_S:
        reason = f"{found.seconds:.1f} s of contact in usable pieces; at least 8"
    if not reason:
        least_mm = max(FLOORS_FOR_FREQUENCY * device.rounding_mm(), PRACTICAL_MM)
        line_mm = 0.0 if peak is None else peak.line_mm
        if peak is None or line_mm <= least_mm:
            reason = f"{BELOW_FLOOR} for a frequency: {line_mm:.2g} mm of {least_mm:.2g} mm"
        elif peak.ratio > peak.least_ratio and not peak.real:
            reason = f"the highest peak lies at {peak.f_hz:.1f} Hz, outside 2 to 14 Hz"
        elif not peak.real:
            reason = (
                f"no real peak: the highest is {peak.ratio:.1f} times the background, "
                f"{peak.least_ratio:.1f} are needed"
            )
    if reason or peak is None:
        return [missing(name, reason, n) for name in names]
    error_hz, reach = of_dependent_mean(peak.moves_hz)
    half = math.hypot(reach * error_hz, INTERPOLATION_HZ)
    if found.resolution_hz > CLEAR_HZ:  # pieces of many lengths: measured to be too narrow
        reason = f"{NO_INTERVAL}: pieces without gaps are too short for one"
        frequency = Score(names[0], peak.f_hz, n, reason=reason)
        return [frequency, Score(names[1], peak.snr_db, n)]
    return [
        Score(names[0], peak.f_hz, n, peak.f_hz - half, peak.f_hz + half),
        Score(names[1], peak.snr_db, n),
    ]


def settled(t_s: Floats, contacts_s: Sequence[float]) -> Flags:
    """Mark the moments of an even piece that are not in the first 0.2 s of their contact.

    Parameters
    ----------
    t_s : ndarray, shape (n,)
    contacts_s : sequence of float
        When contacts began, increasing.
    """
    begins_s = np.asarray(contacts_s)
    at = int(np.searchsorted(begins_s, t_s[0] + 1 / GRID_HZ, side="right")) - 1
    return np.asarray(t_s >= (begins_s[at] + SETTLING_S if at >= 0 else -np.inf))
