"""Scores of a slide block."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from battery.recording import Block, events_from_array
from battery.scoring.intervals import bootstrap, median
from battery.scoring.path import (
    GRID_HZ,
    Floats,
    between,
    contact_path,
    even,
    held,
    split_gaps,
)
from battery.scoring.pursuit import jitter_score
from battery.scoring.score import Score, missing
from battery.scoring.smoothness import sparc, speed_mm_s, trim_to_movement
from tasks.contract import NS_PER_S

LEAST_PASSES = 2


@dataclass(frozen=True, slots=True)
class Pass:
    """Out to one side and back; s and mm. `pieces_mm` are its even paths without gaps."""

    trial: int
    side: str
    start_s: float
    end_s: float
    extent_mm: float
    speed_mm_s: float
    sparc_out: float
    sparc_back: float
    pieces_mm: list[Floats]


def passes(block: Block) -> list[Pass]:
    """Read the finished passes of a block."""
    segments = contact_path(block.samples)
    grabs: dict[int, float] = {}
    found = []
    settings = block.header.settings
    for event in events_from_array(block.events):
        if event.kind == "grab":
            grabs[event.trial] = event.t_ns / NS_PER_S
        if event.kind != "pass" or event.trial not in grabs:
            continue
        start_s, end_s = grabs[event.trial], event.t_ns / NS_PER_S
        cut = [between(s, start_s, end_s) for s in segments]
        cut = [c for c in cut if len(c[0]) >= 4]
        pieces = [even(p)[1] for c in cut for p in split_gaps(c) if len(p[0]) >= 4]
        grid_s = np.arange(start_s, end_s, 1 / GRID_HZ)
        path_mm = held(cut, grid_s) if cut else np.empty((0, 2))
        out, back = _smoothness(path_mm)
        found.append(
            Pass(
                event.trial,
                event.label,
                start_s,
                end_s,
                abs(event.x_mm - settings["chip_x_mm"]),
                float(np.abs(np.diff(path_mm[:, 0])).sum() / (end_s - start_s)),
                out,
                back,
                pieces,
            )
        )
    return found


def _smoothness(path_mm: Floats) -> tuple[float, float]:
    """SPARC of the way out and of the way back, each one movement."""
    if len(path_mm) < 40:
        return math.nan, math.nan
    turn = int(np.argmax(np.abs(path_mm[:, 0] - path_mm[0, 0])))
    halves = (path_mm[: turn + 1], path_mm[turn:])
    values = []
    for half in halves:
        if len(half) < 20:
            values.append(math.nan)
            continue
        speed = speed_mm_s(half)
        values.append(sparc(speed[trim_to_movement(speed)], GRID_HZ))
    return values[0], values[1]


def score(block: Block, seed: int, pixel_mm: float) -> list[Score]:
    """Score a finished slide block."""
    found = passes(block)
    n = len(found)
    if n < LEAST_PASSES:
        reason = f"{n} finished passes; at least {LEAST_PASSES} are needed"
        names = ("jitter_across_mm", "extent_mm", "mean_speed_mm_s", "sparc")
        return [missing(f"slide.{name}", reason, n) for name in names]
    extents = np.array([p.extent_mm for p in found])
    speeds = np.array([p.speed_mm_s for p in found])
    arcs = np.array([v for p in found for v in (p.sparc_out, p.sparc_back)])
    arcs = arcs[~np.isnan(arcs)]
    across = [piece[:, 1] for p in found for piece in p.pieces_mm]
    scores = [
        jitter_score(
            "slide.jitter_across_mm", across, seed, pixel_mm, block.audit.report_rate_hz
        ),
        Score(
            "slide.extent_mm", float(np.median(extents)), n, *bootstrap(extents, median, seed)
        ),
        Score(
            "slide.mean_speed_mm_s",
            float(np.median(speeds)),
            n,
            *bootstrap(speeds, median, seed),
        ),
    ]
    if len(arcs) == 0:
        return [*scores, missing("slide.sparc", "no movement long enough", 0)]
    interval = bootstrap(arcs, median, seed)
    return [*scores, Score("slide.sparc", float(np.median(arcs)), len(arcs), *interval)]
