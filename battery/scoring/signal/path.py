"""Paths: contacts of raw samples, cut at gaps and brought to an even grid.

Raw samples come when they come. They are resampled only here, and never across a gap:

* Reports read in one burst (closer than a quarter of the usual interval, or than any device
  scans) count as one, the last: it is the one whose stamp is nearest to the truth.
* A gap of more than 50 ms splits the path, unless the pointer stands where it stood before:
  many devices report changes only, so nothing came because nothing moved.
* In between a cubic spline is laid through the reports. Linear interpolation would lose 4 %
  of a 6 Hz tremor at 60 reports a second.
* A device that reports more often than the grid is brought to a finer one first and then
  low-passed and thinned out, so that nothing above the grid's reach is folded into it.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline
from scipy.signal import resample_poly

from battery.errors import ScoringError
from battery.recording import KIND_CODES, Block, SampleArray
from tasks.contract import NS_PER_S

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Segment = tuple[Floats, Floats]  # t_s (n,), path_mm (n, 2)

GRID_HZ = 120.0
MAX_GAP_S = 0.05
REST_MM = 0.3  # a pixel and a half of most screens
FINEST_S = 0.00025  # no pointer reports faster; a record that claims to is not made finer
BURST = 0.25  # of the usual interval between reports
TOGETHER_S = 0.0004  # closer than this they were queued, however many came so
JUMP_MM = 3.0
JUMP_TIMES = 4.0  # a jump is so many times as long as the steps before and after it
MIN_REPORTS = 4
_CODE_DOWN, _CODE_UP = KIND_CODES["down"], KIND_CODES["up"]


def check_order(samples: SampleArray) -> None:
    """Refuse samples whose stamps go backwards; they are never sorted silently.

    Raises
    ------
    ScoringError
    """
    steps_ns = np.diff(samples["t_ns"])
    if np.any(steps_ns < 0):
        at = int(np.argmax(steps_ns < 0)) + 1
        msg = (
            f"stamps go backwards by {-steps_ns[at - 1] / 1e6:g} ms at sample {at}: this block "
            "cannot be scored; its samples are kept as they are"
        )
        raise ScoringError(msg)


def contact_path(samples: SampleArray) -> list[Segment]:
    """Return the path of every contact, of one pointer at a time: the first that pressed."""
    kind, pointer = samples["kind"], samples["pointer"]
    lifts = np.flatnonzero(kind == _CODE_UP)
    found: list[Segment] = []
    end = -1
    for index in np.flatnonzero(kind == _CODE_DOWN).tolist():
        if index > end:
            end = _lift(samples, lifts, index)
            found.append(_of_pointer(samples[index : end + 1], int(pointer[index])))
    return found


def followed_path(block: Block, takes: frozenset[str]) -> list[Segment]:
    """Return the path of the pointer that the task followed, one segment for every hold.

    Parameters
    ----------
    block : Block
    takes : frozenset of str
        Kinds of events with which the task takes hold of a pointer. A palm that pressed
        beside the chip is not followed and has no part in the path.
    """
    samples = block.samples
    t_ns = samples["t_ns"]
    lifts = np.flatnonzero(samples["kind"] == _CODE_UP)
    found: list[Segment] = []
    for event in block.events[np.isin(block.events["kind"], list(takes))]:
        first, last = np.searchsorted(t_ns, [event["t_ns"], event["t_ns"] + 1])
        for index in range(int(first), int(last)):
            row = samples[index]
            same = row["x_mm"] == event["x_mm"] and row["y_mm"] == event["y_mm"]
            if row["kind"] == _CODE_DOWN and same:
                end = _lift(samples, lifts, index)
                found.append(_of_pointer(samples[index : end + 1], int(row["pointer"])))
                break
    return found


def air_path(samples: SampleArray) -> Segment | None:
    """Return the whole path of a pointer that is seen in the air too; None for a finger."""
    mine = samples[samples["pointer"] == 0]
    if not np.any(mine["kind"] == KIND_CODES["hover"]):
        return None
    return _of_pointer(mine, 0)


def _lift(samples: SampleArray, lifts: npt.NDArray[np.intp], down: int) -> int:
    """Index of the lift that ends a contact; the last sample where there is none."""
    pointer = samples["pointer"][down]
    for lift in lifts[np.searchsorted(lifts, down) :]:
        if samples["pointer"][lift] == pointer:
            return int(lift)
    return len(samples) - 1


def _of_pointer(rows: SampleArray, pointer: int) -> Segment:
    mine = rows[rows["pointer"] == pointer]
    t_s = mine["t_ns"] / NS_PER_S
    return one_of_a_burst((t_s, np.column_stack([mine["x_mm"], mine["y_mm"]])))


def one_of_a_burst(segment: Segment) -> Segment:
    """Keep the last of reports that came closer than a quarter of the usual interval.

    Where most reports are queued the usual interval is one inside a burst; closer than 0.4 ms
    they are one all the same.
    """
    t_s, path_mm = segment
    kept = np.append(~queued(t_s), True)
    return t_s[kept], path_mm[kept]


def queued(t_s: Floats) -> Flags:
    """Mark the intervals between reports that lie inside a burst, shape (n - 1,)."""
    steps_s = np.diff(t_s)
    moving = steps_s[steps_s > 0]
    usual_s = float(np.median(moving)) if len(moving) else 0.0
    return np.asarray(steps_s <= max(BURST * usual_s, TOGETHER_S))


def n_jumps(segments: list[Segment]) -> int:
    """Count the steps of over 3 mm between two reports that stand alone.

    A panel that loses the finger and finds it elsewhere makes them; a hand, which cannot stop
    within a report, does not: its speeds before and after are alike. Where reports are lost in
    between a step is longer, and no quicker.
    """
    found = 0
    for t_s, path_mm in segments:
        moves_mm = np.diff(path_mm, axis=0)
        if len(moves_mm) < 3 or np.abs(moves_mm).max() <= JUMP_MM / 2:
            continue
        steps_mm = np.hypot(*moves_mm.T)
        speeds = steps_mm / np.maximum(np.diff(t_s), FINEST_S)
        beside = np.maximum(speeds[:-2], speeds[2:])
        found += int(
            np.count_nonzero((steps_mm[1:-1] > JUMP_MM) & (speeds[1:-1] > JUMP_TIMES * beside))
        )
    return found


def grid_mm(segments: list[Segment]) -> float:
    """Smallest difference between places that were told, of either coordinate; 0 for none."""
    smallest = []
    for axis in (0, 1):
        places = [path_mm[:, axis] for _, path_mm in segments]
        steps = np.diff(np.unique(np.concatenate(places or [np.empty(0)]).round(6)))
        if len(steps):
            smallest.append(float(steps.min()))
    return max(smallest, default=0.0)


def report_rate_hz(segments: list[Segment]) -> float:
    """Usual rate of reports in contact: inverse of the median interval up to 50 ms; or nan."""
    steps_s = np.concatenate([np.diff(t_s) for t_s, _ in segments] or [np.empty(0)])
    steps_s = steps_s[steps_s <= MAX_GAP_S]
    return float(1 / np.median(steps_s)) if len(steps_s) >= 20 else np.nan


def kept_rate_hz(segments: list[Segment]) -> float:
    """Mean rate of reports in contact, lost ones missing: over intervals up to 50 ms; or nan.

    A fifth lost of 60 reports a second leaves 48, where the usual interval still says 60.
    """
    steps_s = np.concatenate([np.diff(t_s) for t_s, _ in segments] or [np.empty(0)])
    steps_s = steps_s[steps_s <= MAX_GAP_S]
    return float(1 / steps_s.mean()) if len(steps_s) >= 20 else np.nan


def split_gaps(
    segment: Segment, max_gap_s: float = MAX_GAP_S, rest_mm: float = -1.0
) -> list[Segment]:
    """Split a segment where two reports are further apart than `max_gap_s`.

    Parameters
    ----------
    rest_mm : float
        A gap over which the pointer moved at most so far is a rest: it is not split but
        filled with the place before it. By default every gap splits.
    """
    t_s, path_mm = segment
    steps_s = np.diff(t_s)
    gaps = np.flatnonzero(steps_s > max_gap_s)
    if len(gaps) == 0:
        return [segment]
    moved_mm = np.hypot(*(path_mm[gaps + 1] - path_mm[gaps]).T)
    rests = gaps[moved_mm <= rest_mm]
    if len(rests):
        usual_s = max(float(np.median(steps_s)), FINEST_S)
        at, t_new, path_new = [], [], []
        for gap in rests.tolist():
            filled_s = np.arange(t_s[gap] + usual_s, t_s[gap + 1] - 0.5 * usual_s, usual_s)
            at.append(np.full(len(filled_s), gap + 1))
            t_new.append(filled_s)
            path_new.append(np.broadcast_to(path_mm[gap], (len(filled_s), 2)))
        where = np.concatenate(at)
        t_s = np.insert(t_s, where, np.concatenate(t_new))
        path_mm = np.insert(path_mm, where, np.concatenate(path_new), axis=0)
    cuts = np.flatnonzero(np.diff(t_s) > max_gap_s) + 1
    return list(zip(np.split(t_s, cuts), np.split(path_mm, cuts), strict=True))


def between(segment: Segment, low_s: float, high_s: float) -> Segment:
    """Return the reports of a segment from `low_s` to `high_s`."""
    t_s, path_mm = segment
    a, b = np.searchsorted(t_s, [low_s, high_s + 1e-9])
    return t_s[a:b], path_mm[a:b]


def even(segment: Segment, rate_hz: float = GRID_HZ, origin_s: float = 0.0) -> Segment:
    """Resample a segment without gaps to an even grid.

    Parameters
    ----------
    segment : tuple
        Times, s, shape (n,), strictly increasing; places, mm, shape (n, 2).
    rate_hz : float
    origin_s : float
        A moment on the grid.

    Returns
    -------
    tuple
        Grid and places; empty arrays when there are fewer than four reports.
    """
    t_s, path_mm = segment
    if len(t_s) < MIN_REPORTS:
        return np.empty(0), np.empty((0, 2))
    usual_hz = 1 / float(np.median(np.diff(t_s)))
    finer = max(1, round(min(usual_hz, 1 / FINEST_S) / rate_hz))
    first = int(np.ceil((t_s[0] - origin_s) * rate_hz - 1e-6))
    last = int(np.floor((t_s[-1] - origin_s) * rate_hz + 1e-6))
    if last < first:
        return np.empty(0), np.empty((0, 2))
    grid_s = origin_s + np.arange(first, last + 1) / rate_hz
    if finer == 1:
        return grid_s, CubicSpline(t_s, path_mm, axis=0)(grid_s)
    fine_s = origin_s + np.arange(first * finer, last * finer + 1) / (rate_hz * finer)
    fine_mm = np.column_stack([np.interp(fine_s, t_s, axis) for axis in path_mm.T])
    if len(grid_s) < MIN_REPORTS:
        return grid_s, fine_mm[::finer]
    return grid_s, np.asarray(resample_poly(fine_mm, 1, finer, axis=0, padtype="line"))


def pieces(
    segments: list[Segment],
    *,
    low_s: float = -np.inf,
    high_s: float = np.inf,
    origin_s: float = 0.0,
) -> list[Segment]:
    """Even pieces without gaps of all segments, from `low_s` to `high_s`."""
    found = []
    for segment in segments:
        if segment[0][-1] < low_s or segment[0][0] > high_s:
            continue
        for piece in split_gaps(between(segment, low_s, high_s), rest_mm=REST_MM):
            grid_s, path_mm = even(piece, origin_s=origin_s)
            if len(grid_s):
                found.append((grid_s, path_mm))
    return found


def held(segments: list[Segment], grid_s: Floats) -> Floats:
    """Position on a grid, linear between reports, held where none came for over 50 ms.

    Between segments the last place holds.

    Returns
    -------
    ndarray, shape (n, 2)
    """
    t_s = np.concatenate([segment[0] for segment in segments])
    path_mm = np.concatenate([segment[1] for segment in segments])
    gap = np.flatnonzero(np.diff(t_s) > MAX_GAP_S)
    t_s, path_mm = (
        np.insert(t_s, gap + 1, t_s[gap + 1] - 0.001),
        np.insert(path_mm, gap + 1, path_mm[gap], axis=0),
    )
    return np.column_stack([np.interp(grid_s, t_s, path_mm[:, axis]) for axis in (0, 1)])
