"""The jitter measures of a task, from pieces of dragging and the device they came from."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from battery.scoring.definitions.jitter import BESIDE_HZ, SUB_BANDS_HZ, band_name
from battery.scoring.jitter.band import CLEAR_HZ, MIN_TOTAL_S, line_hz, windows_rms_mm
from battery.scoring.jitter.device_floor import PRACTICAL_MM, Device, above_floor
from battery.scoring.jitter.tremor import BAND_HZ, INTERPOLATION_HZ, Peak, highest_peak
from battery.scoring.score import BELOW_FLOOR, NO_INTERVAL, Score, missing
from battery.scoring.signal.filters import in_bands
from battery.scoring.signal.kinematics import runs
from battery.scoring.signal.path import GRID_HZ, Flags, Floats
from battery.scoring.signal.spectrum import BRIEF_S, MIN_SEGMENT_S, Spectra, spectra
from battery.scoring.stats import summary
from battery.scoring.stats.dependent_windows import of_dependent_mean, of_root_power
from battery.scoring.stats.resampling import root_ratio

# Along the path the quickest movement at will reaches higher than across it.
ALONG_HZ = (3.5, 14.0)
MIN_RETAINED = 0.3
MIN_SPECTRUM_S = 8.0
SETTLING_S = 0.2  # the first of every contact: systems hold back the first small movement
SLOW_MM_S = 50.0
# Above all that rounding adds, wherever it lies: a slow even drift over whole pixels is a
# staircase whose steps are a false line of up to q / sqrt(12), which is below 3 floors.
FLOORS_FOR_FREQUENCY = 3.0
CHUNK_S = 2.0
REPORTS_A_TURN = 4.0  # of a tremor; with fewer the spline between them cuts its tops


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
    return _known(name, device.quantisation_mm())


def _known(name: str, value: float) -> Score:
    return Score(name, value, 1, value, value)


def _across(
    name: str, found: Spectra, device: Device, peak: Peak | None, resolution_hz: float
) -> Score:
    """Band RMS from every contact, brief ones too, with what they lose given back."""
    reason = _too_little(found, device)
    if reason:
        return missing(name, reason, len(found.weight_s))
    where_hz = line_hz(found, peak, resolution_hz)
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
    value = windows_rms_mm(found, band_hz, retained)
    powers = found.powers_mm2(band_hz) / retained
    interval = of_root_power(powers, found.weight_s * retained)
    return above_floor(name, value, len(powers), interval, device, band_hz)


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
        scores.append(above_floor(name, value, n, (math.nan, math.nan), device, band_hz))
    return scores


def _tremor(task: str, found: Spectra, device: Device, peak: Peak | None) -> list[Score]:
    names = (f"{task}.tremor_hz", f"{task}.tremor_snr_db")
    n = len(found.weight_s)
    reason = device.too_slow
    if not reason and found.seconds < MIN_SPECTRUM_S:
        reason = f"{found.seconds:.1f} s of contact in usable pieces; at least 8"
    if not reason:
        least_mm = max(FLOORS_FOR_FREQUENCY * device.quantisation_mm(), PRACTICAL_MM)
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
