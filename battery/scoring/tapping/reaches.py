"""What the path of a reach tells, for a pointer that is seen in the air."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from battery.recording import Block
from battery.scoring.score import Score, missing
from battery.scoring.signal import kinematics
from battery.scoring.signal.filters import low_pass, speed_mm_s
from battery.scoring.signal.path import GRID_HZ, Floats, air_path, pieces
from battery.scoring.signal.smoothness import sparc
from battery.scoring.stats import summary
from battery.scoring.tapping.reading import Tap, home_mm

PATH_HZ = 10.0
SPEED_HZ = 8.0
MIN_SAMPLES = 20
MIN_REACHES = 8
NOT_SEEN = "a finger is not seen in the air"
_NAMES = (
    "path_ratio",
    "submovements",
    "sparc",
    "axis_variability_mm",
    "axis_error_mm",
    "axis_offset_mm",
    "axis_crossings",
    "direction_changes",
)
_MEDIANS = {"path_ratio", "sparc", "axis_variability_mm", "axis_error_mm", "axis_offset_mm"}


@dataclass(frozen=True, slots=True)
class Reach:
    """The path of one reach from lift-off to contact, low-passed at 10 Hz where it says mm."""

    trial: int
    path_ratio: float
    submovements: int
    sparc: float
    axis_variability_mm: float
    axis_error_mm: float
    axis_offset_mm: float
    axis_crossings: int
    direction_changes: int


def reaches(block: Block, found: Sequence[Tap]) -> list[Reach]:
    """Measure the reaches that were seen without a gap; none for a finger.

    The whole path is filtered at once, so that no reach has an edge of its own.
    """
    whole = air_path(block.samples)
    home = home_mm(block)
    if whole is None or home is None:
        return []
    result: list[Reach] = []
    waiting = [tap for tap in found if tap.answered and not np.isnan(tap.lift_s)]
    for grid_s, path_mm in pieces([whole]):
        inside = [t for t in waiting if grid_s[0] <= t.lift_s and t.end_s <= grid_s[-1]]
        if not inside or len(grid_s) < MIN_SAMPLES:
            continue
        smooth_mm, speed = low_pass(path_mm, PATH_HZ), speed_mm_s(path_mm)
        slow_speed = speed_mm_s(low_pass(path_mm, SPEED_HZ))
        for tap in inside:
            a, b = np.searchsorted(grid_s, [tap.lift_s, tap.end_s])
            if b - a >= MIN_SAMPLES:
                target = (tap.target_x_mm, tap.target_y_mm)
                result.append(
                    _reach(tap.trial, smooth_mm[a:b], speed[a:b], slow_speed[a:b], home, target)
                )
    return result


def _reach(
    trial: int,
    path_mm: Floats,
    speed: Floats,
    slow_speed: Floats,
    home: tuple[float, float],
    target: tuple[float, float],
) -> Reach:
    off_mm = kinematics.off_axis_mm(path_mm, home, target)
    return Reach(
        trial,
        kinematics.path_ratio(path_mm),
        kinematics.n_submovements(slow_speed),
        sparc(speed, GRID_HZ),
        float(off_mm.std(ddof=1)),
        float(np.abs(off_mm).mean()),
        float(off_mm.mean()),
        kinematics.n_crossings(off_mm),
        kinematics.n_turns(off_mm),
    )


def score(block: Block, found: Sequence[Tap]) -> list[Score]:
    """Score the reaches of a block."""
    names = {name: f"tapping.{name}" for name in _NAMES}
    if air_path(block.samples) is None:
        return [missing(full, NOT_SEEN) for full in names.values()]
    if home_mm(block) is None:
        reason = "without a home pad it is not known where a reach began"
        return [missing(full, reason) for full in names.values()]
    measured = reaches(block, found)
    scores = []
    for name, full in names.items():
        values = np.array([float(getattr(reach, name)) for reach in measured])
        of = summary.spread_of if name in _MEDIANS else summary.mean_spread_of
        scores.append(of(full, values, least=MIN_REACHES, what="reaches seen without a gap"))
    return scores
