"""Scores of a slide block."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from battery.recording import Block
from battery.scoring import quality
from battery.scoring.jitter.device_floor import Device
from battery.scoring.jitter.jitter_scores import Drag, jitter_scores, settled
from battery.scoring.score import Score
from battery.scoring.signal.filters import slow_speed_mm_s
from battery.scoring.signal.kinematics import runs
from battery.scoring.signal.path import GRID_HZ, Segment, followed_path
from battery.scoring.slide.passes import TAKES, Held, Pass, drag_s, held, passes
from battery.scoring.stats import summary
from battery.scoring.stats.resampling import Bootstrap

MIN_PASSES = 2
MIN_WAYS = 2
LYING_MM_S = 2.0  # a turn at the slowest pace is over sooner
LYING_S = 1.0
PASSES = "finished passes"
WAYS = "ways without loss of contact"


def score(block: Block, draw: Bootstrap, pixel_mm: float) -> list[Score]:
    """Score a finished slide block."""
    del draw
    segments = followed_path(block, TAKES)
    contacts = held(segments)
    found = passes(block, contacts)
    return [
        *_jitter(segments, contacts, pixel_mm),
        *_extents(block, found),
        *_ways(found),
        *_counts(block, segments, found),
        *quality.scores(
            block,
            np.array([way.time_s for p in found for way in p.ways]),
            [(p.start_s, p.end_s) for p in found],
            "ways out and back",
        ),
    ]


def _jitter(segments: list[Segment], contacts: list[Held], pixel_mm: float) -> list[Score]:
    """Jitter over every contact with the chip, to the end, whatever became of the pass.

    There is no movement at will across the track, at no pace and not where it turns. A finger
    that lies still for over a second does not slide, and shakes less: it does not count.
    """
    contacts_s = [float(t_s[0]) for t_s, _ in segments]
    drags = []
    for contact in contacts:
        path_mm, speed = contact.path_mm, slow_speed_mm_s(contact.slow_x_mm)
        counts = settled(contact.t_s, contacts_s)
        for begin, end in runs(speed < LYING_MM_S, round(LYING_S * GRID_HZ)).tolist():
            counts[begin:end] = False
        drags.append(Drag(path_mm[:, 1], path_mm[:, 0], speed, counts))
    return jitter_scores("slide", drags, Device.of(segments, pixel_mm), along=())


def _extents(block: Block, found: Sequence[Pass]) -> list[Score]:
    extents_mm = np.array([p.extent_mm for p in found])
    reach_mm = float(block.header.settings["reach_mm"])
    scores = [
        summary.median_of("slide.extent_mm", extents_mm, least=MIN_PASSES, what=PASSES),
        summary.median_of(
            "slide.extent_percent", 100 * extents_mm / reach_mm, least=MIN_PASSES, what=PASSES
        ),
    ]
    for side in ("left", "right"):
        own_mm = np.array([p.extent_mm for p in found if p.side == side])
        name = f"slide.extent_{side}_mm"
        what = f"{PASSES} to the {side}"
        scores.append(summary.median_of(name, own_mm, least=MIN_PASSES, what=what))
    return scores


def _ways(found: Sequence[Pass]) -> list[Score]:
    speeds = np.array([p.speed_mm_s for p in found])
    ways = [way for p in found for way in p.ways]
    scores = [
        summary.median_of(
            "slide.mean_speed_mm_s", speeds, least=MIN_PASSES, what=f"{PASSES} measured"
        )
    ]
    for name in ("sparc", "ldlj", "path_ratio"):
        values = np.array([getattr(way, name) for way in ways], dtype=np.float64)
        scores.append(summary.spread_of(f"slide.{name}", values, least=MIN_WAYS, what=WAYS))
    peaks = np.array([way.submovements for way in ways], dtype=np.float64)
    scores.append(
        summary.mean_spread_of("slide.submovements", peaks, least=MIN_WAYS, what=WAYS)
    )
    for name in ("stops", "reversals"):
        counts = np.array([getattr(way, name) for way in ways], dtype=np.float64)
        scores.append(
            summary.mean_spread_of(f"slide.{name}", counts, least=MIN_WAYS, what=WAYS)
        )
    return scores


def _counts(block: Block, segments: list[Segment], found: Sequence[Pass]) -> list[Score]:
    lost = int((block.events["kind"] == "lost").sum())
    minutes = drag_s(segments) / 60
    return [
        summary.rate_of("slide.lifts_per_min", lost, minutes, n=len(found)),
        Score("slide.n_passes", float(len(found)), len(found), len(found), len(found)),
    ]
