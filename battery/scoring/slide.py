"""Passes of a slide block: out to one side and back, each way one movement."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from battery.recording import Block, events_from_array
from battery.scoring import kinematics
from battery.scoring.filters import low_pass, speed_mm_s, willed
from battery.scoring.path import (
    GRID_HZ,
    Floats,
    Segment,
    followed_path,
    pieces,
)
from battery.scoring.smoothness import LEAST_SAMPLES, log_dimensionless_jerk, sparc
from tasks.contract import NS_PER_S, Event

TAKES = frozenset({"grab", "regained"})
SPEED_HZ = 8.0
PATH_HZ = 10.0
STILL_MM_S = 5.0
STOP_S = 0.15
ONE_STOP_S = 0.1  # rests closer than this are one: unrest of the hand does not make them two
TURNED_MM = 2.0
AFTER_S = 1.0  # the chip is home before the hand has come to rest


@dataclass(frozen=True, slots=True)
class Way:
    """One way out or back, from where the hand began to move to where it ended."""

    path_along_mm: float
    time_s: float
    sparc: float
    ldlj: float
    submovements: int
    path_ratio: float
    stops: int
    reversals: int


@dataclass(frozen=True, slots=True, eq=False)
class Pass:
    """Out to one side and back; s and mm.

    `pieces_mm` are its paths on the even grid, without gaps, from taking the chip to the end of
    the pass; `pieces_s` their times. `out` and `back` are None where contact was lost on the
    way, or it was too short to be measured.
    """

    trial: int
    side: str
    start_s: float
    end_s: float
    extent_mm: float
    pieces_s: list[Floats]
    pieces_mm: list[Floats]
    out: Way | None
    back: Way | None

    @property
    def ways(self) -> list[Way]:
        """The ways that could be measured."""
        return [way for way in (self.out, self.back) if way is not None]

    @property
    def speed_mm_s(self) -> float:
        """Path along the track over the time of its ways; nan where neither was measured."""
        seconds = sum(way.time_s for way in self.ways)
        return sum(w.path_along_mm for w in self.ways) / seconds if seconds else math.nan


def passes(block: Block) -> list[Pass]:
    """Read the finished passes of a block."""
    segments = followed_path(block, TAKES)
    grabs: dict[int, float] = {}
    found = []
    for event in events_from_array(block.events):
        if event.kind == "grab":
            grabs[event.trial] = event.t_ns / NS_PER_S
        elif event.kind == "pass" and event.trial in grabs:
            found.append(_pass(block, segments, grabs[event.trial], event))
    return found


def _pass(block: Block, segments: list[Segment], start_s: float, event: Event) -> Pass:
    end_s = event.t_ns / NS_PER_S
    chip_x_mm = float(block.header.settings["chip_x_mm"])
    side = -1.0 if event.label == "left" else 1.0
    whole = pieces(segments, low_s=start_s, high_s=end_s + AFTER_S)
    cut = [(t_s[t_s <= end_s], path_mm[t_s <= end_s]) for t_s, path_mm in whole]
    cut = [piece for piece in cut if len(piece[0])]
    out, back = _ways(whole, chip_x_mm, side, end_s)
    return Pass(
        event.trial,
        event.label,
        start_s,
        end_s,
        abs(event.x_mm - chip_x_mm),
        [t_s for t_s, _ in cut],
        [path_mm for _, path_mm in cut],
        out,
        back,
    )


def _ways(
    whole: list[Segment], chip_x_mm: float, side: float, end_s: float
) -> tuple[Way | None, Way | None]:
    """Measure the way out and the way back, where each lies in one piece."""
    if not whole:
        return None, None
    slow_mm = [side * (willed(path_mm[:, 0]) - chip_x_mm) for _, path_mm in whole]
    at = int(np.argmax([part.max() for part in slow_mm]))
    turn = int(np.argmax(slow_mm[at]))
    t_s, path_mm = whole[at]
    out = _way(path_mm[: turn + 1], slow_mm[at][: turn + 1]) if at == 0 else None
    back = _way(path_mm[turn:], -slow_mm[at][turn:]) if t_s[-1] >= end_s - 0.05 else None
    return out, back


def _way(path_mm: Floats, forward_mm: Floats) -> Way | None:
    """Measure one movement; `forward_mm` is its slow place along its own direction."""
    if len(forward_mm) < LEAST_SAMPLES:
        return None
    slow_speed = np.gradient(forward_mm, 1 / GRID_HZ)
    span = kinematics.movement_span(slow_speed)
    if span is None or span[1] - span[0] < LEAST_SAMPLES:
        return None
    inside = slice(*span)
    smooth_mm = low_pass(path_mm, PATH_HZ)
    return Way(
        path_along_mm=float(np.abs(np.diff(forward_mm[inside])).sum()),
        time_s=(inside.stop - inside.start) / GRID_HZ,
        sparc=sparc(speed_mm_s(path_mm)[inside], GRID_HZ),
        ldlj=log_dimensionless_jerk(speed_mm_s(smooth_mm)[inside], GRID_HZ),
        submovements=kinematics.n_submovements(speed_mm_s(low_pass(path_mm, SPEED_HZ))[inside]),
        path_ratio=kinematics.path_ratio(smooth_mm[inside]),
        stops=n_stops(slow_speed[inside]),
        reversals=kinematics.n_reversals(forward_mm[inside], TURNED_MM),
    )


def n_stops(speed_mm_s: Floats) -> int:
    """Count the rests on the way: slower than 5 mm/s for more than 0.15 s.

    Parameters
    ----------
    speed_mm_s : ndarray, shape (n,)
        Along the track, without tremor, on the grid.

    Examples
    --------
    >>> moving, still = np.full(60, 50.0), np.zeros(30)
    >>> n_stops(np.concatenate([moving, still, moving, still, moving]))
    2
    """
    busy = kinematics.runs(np.abs(speed_mm_s) >= STILL_MM_S, round(ONE_STOP_S * GRID_HZ))
    still = np.ones(len(speed_mm_s), dtype=bool)
    for begin, end in busy.tolist():
        still[begin:end] = False
    return len(kinematics.runs(still, round(STOP_S * GRID_HZ) + 1))


def drag_s(block: Block) -> float:
    """Time for which the chip was dragged, s."""
    return float(sum(t_s[-1] - t_s[0] for t_s, _ in followed_path(block, TAKES)))
