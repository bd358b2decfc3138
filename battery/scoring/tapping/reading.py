"""Trials of a tapping block, read from its events.

A touch screen sees no path in the air: for a finger everything follows from lift-offs and
contacts. A mouse is seen all the way; `reaches` adds what its path tells.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from battery.recording import Block, events_from_array, shown_ns
from tasks.contract import NS_PER_S, Event

ANTICIPATION_S = 0.1
LATE_S = 5.0
DRIFT_MM = 5.0  # how far a resting finger may creep off the home pad


@dataclass(frozen=True, slots=True)
class Tap:
    """One trial; times in s, places in mm, nan where there is none.

    `lift_s` is the last lift before the touch. `wait_s` is the foreperiod, from cue to go.
    Along and across are the end point's errors in the frame of the reach, from home to target:
    positive beyond the target, and to the left of the reach; nan without a home pad.
    """

    trial: int
    side: str
    outcome: str  # hit, miss, no_answer, unfinished
    start_s: float
    end_s: float
    target_x_mm: float
    target_y_mm: float
    x_mm: float = math.nan
    y_mm: float = math.nan
    reaction_time_s: float = math.nan
    movement_time_s: float = math.nan
    lift_s: float = math.nan
    wait_s: float = 0.0
    along_mm: float = math.nan
    across_mm: float = math.nan

    @property
    def answered(self) -> bool:
        """Whether there is an end point."""
        return self.outcome in ("hit", "miss")

    @property
    def radial_error_mm(self) -> float:
        """Distance of the end point from the centre of the target."""
        return math.hypot(self.x_mm - self.target_x_mm, self.y_mm - self.target_y_mm)


class _Trial:
    """A trial while its events come in."""

    def __init__(self, cue: Event) -> None:
        self.cue = cue
        self.go: Event | None = None
        self.lift: Event | None = None

    def end(self, block: Block, outcome: str, last: Event) -> Tap:
        """Close the trial with its last event."""
        begin_s, end_s = self.cue.t_ns / NS_PER_S, last.t_ns / NS_PER_S
        place = (self.cue.x_mm, self.cue.y_mm)
        lift = self.lift if self.lift and _from_home(block, self.lift) else None
        lift_s = lift.t_ns / NS_PER_S if lift else math.nan
        wait_s = (self.go.t_ns - self.cue.t_ns) / NS_PER_S if self.go else 0.0
        label = self.cue.label
        if outcome not in ("hit", "miss"):
            return Tap(self.cue.trial, label, outcome, begin_s, end_s, *place, wait_s=wait_s)
        along_mm, across_mm = _in_reach(block, place, last)
        return Tap(
            self.cue.trial,
            label,
            outcome,
            begin_s,
            end_s,
            *place,
            x_mm=last.x_mm,
            y_mm=last.y_mm,
            reaction_time_s=lift_s - _shown_s(block, self.go),
            movement_time_s=end_s - lift_s,
            lift_s=lift_s,
            wait_s=wait_s,
            along_mm=along_mm,
            across_mm=across_mm,
        )


def taps(block: Block) -> list[Tap]:
    """Read the trials of a block.

    Reaction time runs from the flip that showed the go cue (its due time where the block has
    no frames) to the last lift-off before the touch; movement time from there to the touch. A
    finger that slid off the pad before it lifted had begun to move earlier, unseen: such a
    trial has an end point and no times.
    """
    found: list[Tap] = []
    trial: _Trial | None = None
    for event in events_from_array(block.events):
        if event.kind == "cue":
            trial = _Trial(event)
        elif trial is None:
            continue
        elif event.kind == "go":
            trial.go, trial.lift = event, None
        elif event.kind == "lift":
            trial.lift = event
        elif event.kind in ("touch", "no_answer", "end"):
            label = {"touch": event.label, "end": "unfinished"}.get(event.kind, event.kind)
            found.append(trial.end(block, label, event))
            trial = None
    return found


def _shown_s(block: Block, go: Event | None) -> float:
    if go is None:
        return math.nan
    flip_ns = shown_ns(block.frames, go.t_ns)
    return (go.t_ns if flip_ns is None else flip_ns) / NS_PER_S


def home_mm(block: Block) -> tuple[float, float] | None:
    """Centre of the home pad, where a reach begins; None in the form without one."""
    settings = block.header.settings
    if not settings["home_pad"]:
        return None
    return float(settings["home_x_mm"]), float(settings["home_y_mm"])


def _from_home(block: Block, lift: Event) -> bool:
    home = home_mm(block)
    if home is None:
        return True
    limit_mm = float(block.header.settings["home_r_mm"]) + DRIFT_MM
    return math.dist(home, (lift.x_mm, lift.y_mm)) <= limit_mm


def _in_reach(
    block: Block, target_mm: tuple[float, float], touch: Event
) -> tuple[float, float]:
    home = home_mm(block)
    if home is None:
        return math.nan, math.nan
    way_x, way_y = target_mm[0] - home[0], target_mm[1] - home[1]
    length = math.hypot(way_x, way_y)
    off_x, off_y = touch.x_mm - target_mm[0], touch.y_mm - target_mm[1]
    return (
        (off_x * way_x + off_y * way_y) / length,
        (way_x * off_y - way_y * off_x) / length,
    )
