"""Scores of a tapping block.

A touch screen sees no path in the air: everything is computed from lift-offs and contacts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from battery.recording import Block, events_from_array, shown_ns
from battery.scoring.intervals import bootstrap, mean, median, wilson
from battery.scoring.path import Floats
from battery.scoring.score import Score, missing
from tasks.contract import NS_PER_S

ANTICIPATION_S = 0.1
LATE_S = 5.0
LEAST_TRIALS = 5


@dataclass(frozen=True, slots=True)
class Tap:
    """One trial; times in s, places in mm, nan where there is none."""

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

    @property
    def radial_error_mm(self) -> float:
        """Distance of the end point from the centre of the target."""
        return math.hypot(self.x_mm - self.target_x_mm, self.y_mm - self.target_y_mm)


def taps(block: Block) -> list[Tap]:
    """Read the trials of a block from its events.

    Reaction time runs from the flip that showed the go cue (its due time where the block has
    no frames) to the last lift-off before the touch; movement time from there to the touch.
    """
    found: list[Tap] = []
    cue_s = shown_s = lift_s = math.nan
    target = (math.nan, math.nan)
    side = ""
    answered = True
    for event in events_from_array(block.events):
        t_s = event.t_ns / NS_PER_S
        if event.kind == "cue":
            cue_s, shown_s, lift_s = t_s, math.nan, math.nan
            target, side, answered = (event.x_mm, event.y_mm), event.label, False
        elif event.kind == "go":
            flip_ns = shown_ns(block.frames, event.t_ns)
            shown_s = t_s if flip_ns is None else flip_ns / NS_PER_S
        elif event.kind == "lift":
            lift_s = t_s
        elif event.kind == "touch":
            answered = True
            found.append(
                Tap(
                    event.trial,
                    side,
                    event.label,
                    cue_s,
                    t_s,
                    *target,
                    x_mm=event.x_mm,
                    y_mm=event.y_mm,
                    reaction_time_s=lift_s - shown_s,
                    movement_time_s=t_s - lift_s,
                )
            )
        elif event.kind == "no_answer":
            answered = True
            found.append(Tap(event.trial, side, "no_answer", cue_s, t_s, *target))
        elif event.kind == "end" and not answered:
            found.append(Tap(len(found), side, "unfinished", cue_s, t_s, *target))
    return found


def score(block: Block, seed: int) -> list[Score]:
    """Score a finished tapping block."""
    answered = [tap for tap in taps(block) if tap.outcome in ("hit", "miss")]
    n = len(answered)
    names = ("radial_error_mm", "variable_error_mm", "movement_time_s", "reaction_time_s")
    if n < LEAST_TRIALS:
        reason = f"{n} answered trials; at least {LEAST_TRIALS} are needed"
        return [
            *(missing(f"tapping.{name}", reason, n) for name in names),
            missing("tapping.hit_rate", reason, n),
        ]
    ends_mm = np.array([[t.x_mm - t.target_x_mm, t.y_mm - t.target_y_mm] for t in answered])
    radial_mm = np.hypot(ends_mm[:, 0], ends_mm[:, 1])
    hits = sum(t.outcome == "hit" for t in answered)
    reaction_s = np.array([t.reaction_time_s for t in answered])
    usable = (reaction_s >= ANTICIPATION_S) & (reaction_s <= LATE_S)
    movement_s = np.array([t.movement_time_s for t in answered])
    return [
        Score(
            "tapping.radial_error_mm",
            float(radial_mm.mean()),
            n,
            *bootstrap(radial_mm, mean, seed),
        ),
        variable_error(ends_mm, seed),
        _median("tapping.movement_time_s", movement_s[~np.isnan(movement_s)], seed),
        _median("tapping.reaction_time_s", reaction_s[usable], seed),
        Score("tapping.hit_rate", hits / n, n, *wilson(hits, n)),
    ]


def variable_error(ends_mm: Floats, seed: int) -> Score:
    """Scatter of end points about their mean, population form."""
    spread_mm = ends_mm - ends_mm.mean(axis=0)
    squares = np.sum(spread_mm**2, axis=1)
    low, high = bootstrap(squares, mean, seed)
    return Score(
        "tapping.variable_error_mm",
        float(np.sqrt(squares.mean())),
        len(ends_mm),
        math.sqrt(low),
        math.sqrt(high),
    )


def _median(name: str, values: Floats, seed: int) -> Score:
    if len(values) < LEAST_TRIALS:
        return missing(
            name, f"{len(values)} usable trials; at least {LEAST_TRIALS}", len(values)
        )
    return Score(name, float(np.median(values)), len(values), *bootstrap(values, median, seed))
