"""Paths: contact segments of raw samples, brought to an even grid.

Raw samples come when they come. They are resampled only here, by cubic spline (linear
interpolation would lose 4 % of a 6 Hz tremor at 60 reports a second), and never across a gap:
a gap of more than 50 ms splits the segment.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline

from battery.errors import ScoringError
from battery.recording import KIND_CODES, SampleArray
from tasks.contract import NS_PER_S

Floats = npt.NDArray[np.float64]

GRID_HZ = 120.0
MAX_GAP_S = 0.05
Segment = tuple[Floats, Floats]  # t_s (n,), path_mm (n, 2)


def check_order(samples: SampleArray) -> None:
    """Refuse samples whose stamps go backwards; they are never sorted silently.

    Raises
    ------
    ScoringError
    """
    if np.any(np.diff(samples["t_ns"]) < 0):
        msg = "the stamps of this block go backwards; it cannot be scored, its samples are kept"
        raise ScoringError(msg)


def contact_path(samples: SampleArray) -> list[Segment]:
    """Return the path of the followed pointer, one segment for every contact.

    Of reports with the same stamp the last one holds.
    """
    segments: list[Segment] = []
    rows = samples[samples["kind"] != KIND_CODES["hover"]]
    begin, pointer = -1, -1
    for index, (kind, who) in enumerate(
        zip(rows["kind"].tolist(), rows["pointer"].tolist(), strict=True)
    ):
        if begin < 0 and kind == KIND_CODES["down"]:
            begin, pointer = index, who
        elif begin >= 0 and kind == KIND_CODES["up"] and who == pointer:
            segments.append(_segment(rows[begin : index + 1], pointer))
            begin = -1
    if begin >= 0:
        segments.append(_segment(rows[begin:], pointer))
    return segments


def _segment(rows: SampleArray, pointer: int) -> Segment:
    mine = rows[rows["pointer"] == pointer]
    t_ns = mine["t_ns"]
    last = np.append(np.diff(t_ns) > 0, True)
    mine = mine[last]
    return mine["t_ns"] / NS_PER_S, np.column_stack([mine["x_mm"], mine["y_mm"]])


def split_gaps(segment: Segment, max_gap_s: float = MAX_GAP_S) -> list[Segment]:
    """Split a segment where two reports are further apart than `max_gap_s`."""
    t_s, path_mm = segment
    cuts = np.flatnonzero(np.diff(t_s) > max_gap_s) + 1
    return list(zip(np.split(t_s, cuts), np.split(path_mm, cuts), strict=True))


def between(segment: Segment, low_s: float, high_s: float) -> Segment:
    """Return the reports of a segment from `low_s` to `high_s`."""
    t_s, path_mm = segment
    a, b = np.searchsorted(t_s, [low_s, high_s + 1e-9])
    return t_s[a:b], path_mm[a:b]


def even(segment: Segment, rate_hz: float = GRID_HZ) -> Segment:
    """Resample a segment to an even grid by cubic spline.

    Returns
    -------
    tuple
        Empty arrays when there are fewer than four reports.

    Notes
    -----
    At 60 reports a second with jittered stamps a sine of 12 Hz keeps its amplitude within 1 %.
    """
    t_s, path_mm = segment
    if len(t_s) < 4:
        return np.empty(0), np.empty((0, 2))
    count = int((t_s[-1] - t_s[0]) * rate_hz) + 1
    grid_s = t_s[0] + np.arange(count) / rate_hz
    return grid_s, CubicSpline(t_s, path_mm, axis=0)(grid_s)


def held(segments: list[Segment], grid_s: Floats) -> Floats:
    """Position on a grid, linear between reports, held where none came for over 50 ms.

    A pointer that rests sends no reports on many devices. Between segments the last place
    holds.

    Returns
    -------
    ndarray, shape (n, 2)
    """
    times: list[Floats] = []
    places: list[Floats] = []
    for t_s, path_mm in segments:
        gap = np.flatnonzero(np.diff(t_s) > MAX_GAP_S)
        times += [np.insert(t_s, gap + 1, t_s[gap + 1] - 0.001)]
        places += [np.insert(path_mm, gap + 1, path_mm[gap], axis=0)]
    t_all, path_all = np.concatenate(times), np.concatenate(places)
    return np.column_stack([np.interp(grid_s, t_all, path_all[:, axis]) for axis in (0, 1)])
