"""Rows and tries of a trail block: one a link."""

from __future__ import annotations

from typing import Any

from battery.recording import Block
from battery.scoring.trail.links import forms


def rows(block: Block) -> list[dict[str, Any]]:
    """List the links of all trails."""
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
        for form in forms(block)
        for link in form.links
    ]


def tries(block: Block) -> list[bool]:
    """Say of each link whether no wrong node came before the next one."""
    return [link.n_errors == 0 for form in forms(block) for link in form.links]
