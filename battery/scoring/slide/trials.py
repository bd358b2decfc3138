"""Rows and tries of a slide block: one a pass."""

from __future__ import annotations

from typing import Any

from battery.recording import Block
from battery.scoring.slide.passes import passes

_WAY = ("sparc", "ldlj", "submovements", "path_ratio", "stops", "reversals")


def rows(block: Block) -> list[dict[str, Any]]:
    """List the passes; a value that cannot be had is None or nan."""
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
        for p in passes(block)
    ]


def tries(block: Block) -> list[bool]:
    """There and back."""
    return [True for _ in passes(block)]
