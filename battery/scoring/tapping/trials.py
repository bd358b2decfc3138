"""Rows and tries of a tapping block: one a reach."""

from __future__ import annotations

import math
from typing import Any

from battery.recording import Block
from battery.scoring.tapping.reaches import reaches
from battery.scoring.tapping.reading import taps

_REACH = (
    "path_ratio",
    "submovements",
    "sparc",
    "axis_variability_mm",
    "axis_error_mm",
    "axis_offset_mm",
    "axis_crossings",
    "direction_changes",
)


def rows(block: Block) -> list[dict[str, Any]]:
    """List the reaches; a value that cannot be had is None or nan."""
    found = taps(block)
    paths = {reach.trial: reach for reach in reaches(block, found)}
    return [
        {
            "trial": t.trial,
            "label": t.side,
            "outcome": t.outcome,
            "start_s": t.start_s,
            "end_s": t.end_s,
            "target_x_mm": t.target_x_mm,
            "target_y_mm": t.target_y_mm,
            "end_x_mm": t.x_mm,
            "end_y_mm": t.y_mm,
            "radial_error_mm": t.radial_error_mm,
            "error_along_mm": t.along_mm,
            "error_across_mm": t.across_mm,
            "reaction_time_s": t.reaction_time_s,
            "movement_time_s": t.movement_time_s,
            **{f"reach_{name}": getattr(paths.get(t.trial), name, None) for name in _REACH},
        }
        for t in found
    ]


def tries(block: Block) -> list[bool]:
    """Answered after the cue, and nearer to the target than half its way from the centre."""
    return [
        tap.outcome in ("hit", "miss")
        and not tap.reaction_time_s <= 0  # nan where there is no home pad to leave
        and (
            tap.outcome == "hit"
            or tap.radial_error_mm < math.hypot(tap.target_x_mm, tap.target_y_mm) / 2
        )
        for tap in taps(block)
        if tap.outcome != "unfinished"
    ]
