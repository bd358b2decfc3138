"""From one block to all its scores."""

from __future__ import annotations

from battery.recording import Block, Screen, short_hash
from battery.scoring.measures import measures_of
from battery.scoring.pursuit import scores as pursuit_scores
from battery.scoring.quality import why_broken_off
from battery.scoring.score import Score, in_order, missing
from battery.scoring.signal.path import check_order
from battery.scoring.slide import scores as slide_scores
from battery.scoring.stats.intervals import Bootstrap
from battery.scoring.tapping import scores as tapping_scores
from battery.scoring.trail import scores as trail_scores


def score_block(block: Block, *, screen: Screen) -> list[Score]:
    """Compute every measure of a block's task, in their order.

    A practice block, one that was stopped, broken off or left alone for over 20 s, and one in
    which finger and mouse were mixed are not scored: every value is missing, with the reason.

    Parameters
    ----------
    block : Block
    screen : Screen
        Of the visit; its pixels set the floor of the jitter.

    Raises
    ------
    ScoringError
        If the stamps go backwards.
    """
    check_order(block.samples)
    task = block.header.task
    reason = _not_scored(block)
    if reason:
        return [missing(m.name, reason) for m in measures_of(task)]
    # Of the identifier, which an export keeps: the hash of a record holds dates as well.
    draw = Bootstrap(int(short_hash(block.header.block_id)[:8], 16))
    pixel_mm = max(screen.mm_per_px_x, screen.mm_per_px_y)
    if task == "tapping":
        return in_order(task, tapping_scores.score(block, draw))
    if task == "pursuit":
        return in_order(task, pursuit_scores.score(block, draw, pixel_mm))
    if task == "slide":
        return in_order(task, slide_scores.score(block, draw, pixel_mm))
    return in_order(task, trail_scores.score(block, draw))


def _not_scored(block: Block) -> str:
    """Why a block is not scored; empty if it is."""
    if block.header.phase == "practice":
        return "practice is not scored"
    if block.ending != "finished":
        return f"the block was {block.ending}"
    if block.input_type == "mixed":
        return "finger and mouse were mixed"
    return why_broken_off(block)
