"""One row a trial, for the export: reach, pass, link or part of a block."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from battery.recording import Block
from battery.scoring.pursuit import parts as pursuit
from battery.scoring.signal.path import check_order
from battery.scoring.slide import passes as slide
from battery.scoring.tapping import reaches
from battery.scoring.tapping import reading as tapping
from battery.scoring.trail import links as trail

Row = dict[str, Any]
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
_WAY = ("sparc", "ldlj", "submovements", "path_ratio", "stops", "reversals")


def trial_rows(block: Block) -> list[Row]:
    """List the trials of a block; columns that do not concern its task are left out.

    A value that cannot be had is None or nan.

    Raises
    ------
    ScoringError
        If the stamps go backwards.
    """
    check_order(block.samples)
    return {
        "tapping": _taps,
        "slide": _passes,
        "pursuit": _parts,
        "trail": _links,
    }[block.header.task](block)


def _taps(block: Block) -> list[Row]:
    found = tapping.taps(block)
    paths = {reach.trial: reach for reach in reaches.reaches(block, found)}
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


def _passes(block: Block) -> list[Row]:
    return [
        {
            "trial": p.trial,
            "label": p.side,
            "outcome": "done",
            "start_s": p.start_s,
            "end_s": p.end_s,
            "extent_mm": p.extent_mm,
            "mean_speed_mm_s": p.speed_mm_s,
            **{
                f"{name}_{way}": getattr(getattr(p, way), name, None)
                for name in _WAY
                for way in ("out", "back")
            },
        }
        for p in slide.passes(block)
    ]


def _parts(block: Block) -> list[Row]:
    return [_part(number, part) for number, part in enumerate(pursuit.parts(block))]


def _part(number: int, part: pursuit.Part) -> Row:
    fit = part.sines.solve() if part.on.mean() >= 0.5 else None
    return {
        "trial": number,
        "label": part.name,
        "outcome": "done",
        "start_s": part.start_s,
        "end_s": part.end_s,
        "rmse_mm": math.sqrt(part.squares_mm2.mean()) if part.on.any() else None,
        "contact_loss": float(np.mean(~part.touching)),
        "delay_s": fit.delay_s if fit else None,
        "gain": fit.overall_gain if fit else None,
    }


def _links(block: Block) -> list[Row]:
    return [
        {
            "trial": link.trial,
            "label": link.label,
            "outcome": "done",
            "start_s": link.start_s,
            "end_s": link.end_s,
            "search_time_s": link.search_time_s,
            "travel_time_s": link.travel_time_s,
            "path_mm": link.path_mm,
            "travel_mm": link.travel_mm,
            "chord_mm": link.chord_mm,
            "straight_mm": link.straight_mm,
            "n_errors": link.n_errors,
            "n_set_errors": link.n_set_errors,
            "n_slips": link.n_slips,
            "n_lifts": link.n_lifts,
        }
        for form in trail.forms(block)
        for link in form.links
    ]
