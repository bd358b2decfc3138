"""Arrays in, scores out. Deterministic: the same raw record gives the same bits."""

from __future__ import annotations

from battery.recording import Block, Screen
from battery.scoring import pursuit, slide, tapping, trail
from battery.scoring.measures import MEASURES, PARTNER, PRIMARY, Measure, measures_of
from battery.scoring.path import check_order
from battery.scoring.score import SCORING_VERSION, Score, missing
from battery.scoring.trials import trial_rows

__all__ = [
    "MEASURES",
    "PARTNER",
    "PRIMARY",
    "SCORING_VERSION",
    "Measure",
    "Score",
    "measures_of",
    "score_block",
    "trial_rows",
]


def score_block(block: Block, *, screen: Screen) -> list[Score]:
    """Compute every measure of a block's task.

    A block that was stopped or broken off, and one in which finger and mouse were mixed, is not
    scored: every value is missing, with the reason.

    Raises
    ------
    ScoringError
        If the stamps go backwards.
    """
    check_order(block.samples)
    task = block.header.task
    if block.ending != "finished":
        return [missing(m.name, f"the block was {block.ending}") for m in measures_of(task)]
    if block.input_type == "mixed":
        return [missing(m.name, "finger and mouse were mixed") for m in measures_of(task)]
    seed = int(block.sha256[:8], 16)
    pixel_mm = max(screen.mm_per_px_x, screen.mm_per_px_y)
    if task == "tapping":
        return tapping.score(block, seed)
    if task == "pursuit":
        return pursuit.score(block, seed, pixel_mm)
    if task == "slide":
        return slide.score(block, seed, pixel_mm)
    return trail.score(block, seed)
