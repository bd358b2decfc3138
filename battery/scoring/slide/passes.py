"""Passes of a slide block: out to one side and back, each way one movement."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Self

import numpy as np

from battery.recording import Block, events_from_array
from battery.scoring.signal import kinematics
from battery.scoring.signal.filters import low_pass_all, speed_mm_s, willed_all
from battery.scoring.signal.path import (
    GRID_HZ,
    Floats,
    Segment,
    followed_path,
    pieces,
)
from battery.scoring.signal.smoothness import MIN_SAMPLES, log_dimensionless_jerk, sparc
from tasks.contract import NS_PER_S, Event

TAKES = frozenset({"grab", "regained"})
SPEED_HZ = 8.0
PATH_HZ = 10.0
STILL_MM_S = 5.0
STILL_SHARE = 0.2  # of the highest speed of the way: who is slow all the way does not stop
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

    `pieces_mm` are its paths on the even grid, without gaps, from taking the chip to the end
    of the pass. `out` and `back` are None where contact was lost on the way, or it was too
    short to be measured.
    """

    trial: int
    side: str
    start_s: float
    end_s: float
    extent_mm: float
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


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """A contact without gaps on the even grid, filtered once: what is cut out has no edges.

    `slow_x_mm` is the place along the track without tremor.
    """

    t_s: Floats
    path_mm: Floats
    slow_x_mm: Floats
    smooth_mm: Floats
    speed_mm_s: Floats
    smooth_speed_mm_s: Floats
    peaked_speed_mm_s: Floats

    def between(self, low_s: float, high_s: float) -> Self | None:
        """Cut out a time; None where there is nothing."""
        a, b = np.searchsorted(self.t_s, [low_s, high_s + 1e-9])
        if b <= a:
            return None
        return type(self)(
            *(
                values[a:b]
                for values in (
                    self.t_s,
                    self.path_mm,
                    self.slow_x_mm,
                    self.smooth_mm,
                    self.speed_mm_s,
                    self.smooth_speed_mm_s,
                    self.peaked_speed_mm_s,
                )
            )
        )


def held(segments: list[Segment]) -> list[Held]:
    """Bring every contact to the even grid and filter them all at once."""
    whole = pieces(segments)
    paths = [path_mm for _, path_mm in whole]
    slow = willed_all([path_mm[:, :1] for path_mm in paths])
    smooth, peaked = low_pass_all(paths, PATH_HZ), low_pass_all(paths, SPEED_HZ)
    return [
        Held(t_s, path, x[:, 0], own, *(_speed(values) for values in (path, own, other)))
        for (t_s, path), x, own, other in zip(whole, slow, smooth, peaked, strict=True)
    ]


def _speed(path_mm: Floats) -> Floats:
    """Speed of a path; 0 for one too short to tell."""
    return speed_mm_s(path_mm) if len(path_mm) >= MIN_SAMPLES else np.zeros(len(path_mm))


def passes(block: Block, contacts: list[Held] | None = None) -> list[Pass]:
    """Read the finished passes of a block.

    Parameters
    ----------
    contacts : list of Held, optional
        Of its `followed_path`, where that is known.
    """
    contacts = held(followed_path(block, TAKES)) if contacts is None else contacts
    grabs: dict[int, float] = {}
    found = []
    for event in events_from_array(block.events):
        if event.kind == "grab":
            grabs[event.trial] = event.t_ns / NS_PER_S
        elif event.kind == "pass" and event.trial in grabs:
            found.append(_pass(block, contacts, grabs[event.trial], event))
    return found


def _pass(block: Block, contacts: list[Held], start_s: float, event: Event) -> Pass:
    end_s = event.t_ns / NS_PER_S
    chip_x_mm = float(block.header.settings["chip_x_mm"])
    side = -1.0 if event.label == "left" else 1.0
    cut = [contact.between(start_s, end_s + AFTER_S) for contact in contacts]
    whole = [one for one in cut if one is not None]
    out, back = _ways(whole, [side * (one.slow_x_mm - chip_x_mm) for one in whole], end_s)
    return Pass(
        event.trial,
        event.label,
        start_s,
        end_s,
        abs(event.x_mm - chip_x_mm),
        [one.path_mm[one.t_s <= end_s] for one in whole if one.t_s[0] <= end_s],
        out,
        back,
    )


def _ways(
    whole: list[Held], slow_mm: list[Floats], end_s: float
) -> tuple[Way | None, Way | None]:
    """Measure the way out and the way back, where each lies in one piece."""
    if not whole:
        return None, None
    at = int(np.argmax([part.max() for part in slow_mm]))
    turn = int(np.argmax(slow_mm[at]))
    held_then = whole[at]
    if len(held_then.t_s) < MIN_SAMPLES:
        return None, None
    out = _way(held_then, slice(0, turn + 1), slow_mm[at]) if at == 0 else None
    late = held_then.t_s[-1] >= end_s - 0.05
    back = _way(held_then, slice(turn, None), -slow_mm[at]) if late else None
    return out, back


def _way(held_then: Held, part: slice, whole_mm: Floats) -> Way | None:
    """Measure one movement; `whole_mm` is the slow place along its own direction."""
    forward_mm = whole_mm[part]
    if len(forward_mm) < MIN_SAMPLES:
        return None
    slow_speed = np.gradient(forward_mm, 1 / GRID_HZ)
    span = kinematics.movement_span(slow_speed)
    if span is None or span[1] - span[0] < MIN_SAMPLES:
        return None
    inside = slice(*span)
    smooth_mm, speed, smooth_speed, peaked_speed = (
        values[part][inside]
        for values in (
            held_then.smooth_mm,
            held_then.speed_mm_s,
            held_then.smooth_speed_mm_s,
            held_then.peaked_speed_mm_s,
        )
    )
    return Way(
        path_along_mm=float(np.abs(np.diff(forward_mm[inside])).sum()),
        time_s=(inside.stop - inside.start) / GRID_HZ,
        sparc=sparc(speed, GRID_HZ),
        ldlj=log_dimensionless_jerk(smooth_speed, GRID_HZ),
        submovements=kinematics.n_submovements(peaked_speed),
        path_ratio=kinematics.path_ratio(smooth_mm),
        stops=n_stops(slow_speed[inside]),
        reversals=kinematics.n_reversals(forward_mm[inside], TURNED_MM),
    )


def n_stops(speed_mm_s: Floats) -> int:
    """Count the rests on the way: slower than 5 mm/s for more than 0.15 s.

    Parameters
    ----------
    speed_mm_s : ndarray, shape (n,)
        Along the track, without tremor, on the grid.

    Returns
    -------
    int
        On a way whose highest speed is below 25 mm/s a rest is slower than a fifth of it.
        Setting off and coming to rest are no stops.

    Examples
    --------
    >>> moving, still = np.full(60, 50.0), np.zeros(30)
    >>> n_stops(np.concatenate([moving, still, moving, still, moving]))
    2
    """
    speed = np.abs(speed_mm_s)
    limit = min(STILL_MM_S, STILL_SHARE * float(speed.max(initial=0.0)))
    busy = kinematics.runs(speed >= limit, round(ONE_STOP_S * GRID_HZ)).tolist()
    rests = [after[0] - before[1] for before, after in itertools.pairwise(busy)]
    return sum(rest > round(STOP_S * GRID_HZ) for rest in rests)


def drag_s(segments: list[Segment]) -> float:
    """Time for which the chip was dragged, s."""
    return float(sum(t_s[-1] - t_s[0] for t_s, _ in segments))
