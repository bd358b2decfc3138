"""How a movement went: small pure functions of an even path or its speed.

A new one takes arrays with their unit in the name, returns a number or an array, says in its
docstring what it cannot tell, and comes with a case worked out by hand.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy.signal import find_peaks

from battery.scoring.signal.filters import low_pass
from battery.scoring.signal.path import GRID_HZ, Flags, Floats

PEAK_SHARE = 0.05
PEAK_MM_S = 10.0
PEAKS_APART_S = 0.075
ONSET_HZ = 3.0
ONSET_SHARE = 0.10
PRIMARY_SHARE = 0.5


def path_length_mm(path_mm: Floats) -> float:
    """Length of a path, mm; 0 for fewer than two places.

    Parameters
    ----------
    path_mm : ndarray, shape (n, 2)
    """
    return float(np.hypot(*np.diff(path_mm, axis=0).T).sum())


def path_ratio(path_mm: Floats) -> float:
    """Length of a path over its chord, 1 for a straight one; nan where it ends as it began.

    Parameters
    ----------
    path_mm : ndarray, shape (n, 2)
        Low-passed: noise and tremor make any path longer, the more so the finer it is sampled.

    Examples
    --------
    >>> path_ratio(np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 4.0]]))
    1.4
    """
    chord_mm = math.dist(path_mm[0], path_mm[-1])
    return path_length_mm(path_mm) / chord_mm if chord_mm > 0 else math.nan


def n_submovements(speed_mm_s: Floats, rate_hz: float = GRID_HZ) -> int:
    """Count the peaks of the speed of one movement.

    Parameters
    ----------
    speed_mm_s : ndarray, shape (n,)
        Of the path low-passed at 8 Hz.

    Returns
    -------
    int
        Peaks that rise over their surroundings by 5 % of the highest and by 10 mm/s, at least
        75 ms apart.

    Notes
    -----
    Two equal movements closer than 0.577 of their duration (one over the root of three, for
    minimum jerk) make one peak. Tremor adds peaks.
    """
    if len(speed_mm_s) == 0:
        return 0
    prominence = max(PEAK_SHARE * float(speed_mm_s.max()), PEAK_MM_S)
    apart = max(1, round(PEAKS_APART_S * rate_hz))
    still = np.concatenate([[0.0], speed_mm_s, [0.0]])  # a peak at an end is one
    return len(find_peaks(still, prominence=prominence, distance=apart)[0])


def movement_span(speed: Floats) -> tuple[int, int] | None:
    """Find where one movement begins and ends, in a slow signed speed.

    Parameters
    ----------
    speed : ndarray, shape (n,)
        Along the movement's direction, of the place low-passed at 3 Hz. Any unit.

    Returns
    -------
    tuple of int or None
        First index and one past the last: followed back from the first primary peak, and on
        from the last, to where the speed falls below 10 % of that peak. A primary peak is at
        least half as high as the highest, so that a stop on the way is part of the movement
        and unrest before and after it is not. None where nothing moves forward.
    """
    if len(speed) < 3 or speed.max() <= 0:
        return None
    edged = np.concatenate([[0.0], speed, [0.0]])
    peaks = find_peaks(edged, height=PRIMARY_SHARE * speed.max())[0] - 1
    if len(peaks) == 0:
        return None
    first, last = int(peaks[0]), int(peaks[-1])
    before = np.flatnonzero(speed[:first] < ONSET_SHARE * speed[first])
    after = np.flatnonzero(speed[last:] < ONSET_SHARE * speed[last])
    begin = int(before[-1]) + 1 if len(before) else 0
    return begin, last + int(after[0]) if len(after) else len(speed)


def movement_onset(
    along_mm: Floats, rate_hz: float = GRID_HZ, *, least_mm: float = 0.0
) -> int | None:
    """Find where a movement along one coordinate begins.

    Parameters
    ----------
    along_mm : ndarray, shape (n,)
        Even samples from rest to the end of the movement.
    least_mm : float
        The place must change by more than this in all; take the larger of a quarter of the
        target's width and three standard deviations of the place before the cue.

    Returns
    -------
    int or None
        Index; None where nothing moved.

    Notes
    -----
    By `movement_span` of the signal low-passed at 3 Hz: tremor passes beneath, where a fixed
    threshold of speed would fire on it. Early or late by some 0.05 to 0.08 of the movement's
    time: a change of reaction time below 30 ms that goes with a change of movement time cannot
    be told apart from this.
    """
    slow_mm = low_pass(along_mm, ONSET_HZ, rate_hz)
    if len(slow_mm) < 3 or np.ptp(slow_mm) <= least_mm:
        return None
    forward = 1.0 if slow_mm[-1] >= slow_mm[0] else -1.0
    span = movement_span(forward * np.gradient(slow_mm, 1 / rate_hz))
    return None if span is None else span[0]


def runs(flags: Flags, least: int) -> npt.NDArray[np.int64]:
    """Begin and end (exclusive) of every run of true at least so long, shape (n_runs, 2)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    pairs = edges.reshape(-1, 2)
    return np.asarray(pairs[pairs[:, 1] - pairs[:, 0] >= least])


def n_reversals(along_mm: Floats, least_mm: float) -> int:
    """Count how often a movement turns back by more than `least_mm`.

    Parameters
    ----------
    along_mm : ndarray, shape (n,)
        One coordinate of a movement that should go one way, low-passed.

    Returns
    -------
    int
        Times the place fell by more than `least_mm` behind the farthest yet; 0 for a movement
        that only goes on.

    Examples
    --------
    >>> n_reversals(np.array([0.0, 10.0, 6.0, 20.0, 19.0, 30.0]), least_mm=2.0)
    1
    """
    if len(along_mm) == 0:
        return 0
    out_mm = along_mm if along_mm[-1] >= along_mm[0] else -along_mm
    behind = np.maximum.accumulate(out_mm) - out_mm > least_mm
    farthest = np.maximum.accumulate(out_mm)
    starts = runs(behind, 1)[:, 0]
    return len(set(farthest[starts].tolist()))


def off_axis_mm(
    path_mm: Floats, start_mm: tuple[float, float], end_mm: tuple[float, float]
) -> Floats:
    """Signed distance from the straight line start-end, shape (n,); positive to its left."""
    way = np.subtract(end_mm, start_mm)
    way = way / np.hypot(*way)
    off = path_mm - np.asarray(start_mm)
    return np.asarray(way[0] * off[:, 1] - way[1] * off[:, 0])


def n_crossings(off_mm: Floats) -> int:
    """Count the crossings of the line by a signed distance from it."""
    signs = np.sign(off_mm)
    signs = signs[signs != 0]
    return int(np.count_nonzero(np.diff(signs)))


def n_turns(off_mm: Floats) -> int:
    """Count the changes of direction across the line."""
    steps = np.sign(np.diff(off_mm))
    steps = steps[steps != 0]
    return int(np.count_nonzero(np.diff(steps)))
