"""One row a trial, for the export: reach, pass, link or part of a block."""

from __future__ import annotations

from typing import Any

import numpy as np

from battery.recording import Block
from battery.scoring import pursuit, slide, tapping, trail

Row = dict[str, Any]


def trial_rows(block: Block) -> list[Row]:
    """List the trials of a block; columns that do not concern its task are left out."""
    return {
        "tapping": _taps,
        "slide": _passes,
        "pursuit": _parts,
        "trail": _links,
    }[block.header.task](block)


def _taps(block: Block) -> list[Row]:
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
            "reaction_time_s": t.reaction_time_s,
            "movement_time_s": t.movement_time_s,
        }
        for t in tapping.taps(block)
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
            "sparc_out": p.sparc_out,
            "sparc_back": p.sparc_back,
        }
        for p in slide.passes(block)
    ]


def _parts(block: Block) -> list[Row]:
    return [
        {
            "trial": number,
            "label": part.name,
            "outcome": "done",
            "start_s": part.start_s,
            "end_s": part.end_s,
            "rmse_mm": float(np.sqrt(part.squares_mm2.mean())) if part.on.any() else None,
            "contact_loss": float(1 - part.on.mean()),
        }
        for number, part in enumerate(pursuit.parts(block))
    ]


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
            "straight_mm": link.straight_mm,
            "n_errors": link.n_errors,
        }
        for form in trail.forms(block)
        for link in form.links
    ]
