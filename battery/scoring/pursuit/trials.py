"""Rows and tries of a pursuit block: one a part, and one a second of following."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from battery.recording import Block
from battery.scoring.pursuit.parts import Part, parts

TRY_S = 1.0  # a second of following is one try


def rows(block: Block) -> list[dict[str, Any]]:
    """List the parts; a value that cannot be had is None or nan."""
    return [_part(number, part) for number, part in enumerate(parts(block))]


def _part(number: int, part: Part) -> dict[str, Any]:
    fit = part.sines.solve() if part.on.mean() >= 0.5 else None
    return {
        "trial": number,
        "label": part.name,
        "outcome": "done",
        "start_s": part.start_s,
        "end_s": part.end_s,
        "rmse_mm": math.sqrt(np.nanmean(part.squares_mm2)) if part.judged.any() else None,
        "contact_loss": float(np.mean(~part.touching)),
        "delay_s": fit.delay_s if fit else None,
        "gain": fit.overall_gain if fit else None,
    }


def tries(block: Block) -> list[bool]:
    """Say of each second whether the finger was down for at least half of it.

    Contact counts, not reports: a panel that reports seldom, or a finger that rests on a chip
    which stands still, leaves gaps between reports and is still on the glass.
    """
    right = []
    for part in parts(block):
        n_seconds = max(round((part.end_s - part.start_s) / TRY_S), 1)
        right += [
            bool(touching.mean() >= 0.5)
            for touching in np.array_split(part.touching, n_seconds)
            if len(touching)
        ]
    return right
