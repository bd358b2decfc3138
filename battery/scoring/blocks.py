"""From one block to all its scores."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from battery.recording import Block, Screen, short_hash
from battery.scoring.measure import Measure
from battery.scoring.quality import why_broken_off
from battery.scoring.score import NO_INTERVAL, NOT_GIVEN, Score, missing
from battery.scoring.scorers import TaskScorer, scorer_of
from battery.scoring.signal.path import check_order
from battery.scoring.stats.resampling import Bootstrap


def score_block(block: Block, *, screen: Screen) -> list[Score]:
    """Compute every measure of a block's task, in their order.

    A practice block, one that was stopped, broken off or left alone for over 20 s, and one in
    which finger and mouse were mixed are not scored: every value is missing, with the reason.

    Parameters
    ----------
    block : Block
    screen : Screen
        Of the visit; its pixels set the noise floor of the jitter.

    Raises
    ------
    ScoringError
        If the stamps go backwards, or the task has no scorer.
    """
    check_order(block.samples)
    scorer = scorer_of(block.header.task)
    reason = _not_scored(block)
    if reason:
        return [missing(measure.name, reason) for measure in scorer.measures]
    # Of the identifier, which an export keeps: the hash of a record holds dates as well.
    draw = Bootstrap(int(short_hash(block.header.block_id)[:8], 16))
    pixel_mm = max(screen.mm_per_px_x, screen.mm_per_px_y)
    return _in_order(scorer, scorer.load().score(block, draw, pixel_mm))


def _in_order(scorer: TaskScorer, scores: Sequence[Score]) -> list[Score]:
    """Put a task's scores into the order of its measures; each is there once, and no other."""
    found = {score.measure: score for score in scores}
    names = [measure.name for measure in scorer.measures]
    if set(found) != set(names) or len(scores) != len(names):
        lacking, strange = sorted(set(names) - set(found)), sorted(set(found) - set(names))
        msg = (
            f"{len(scores)} scores of {scorer.task} for {len(names)} measures: "
            f"{lacking=} {strange=}"
        )
        raise ValueError(msg)
    return [_with_interval(measure, found[measure.name]) for measure in scorer.measures]


def _with_interval(measure: Measure, score: Score) -> Score:
    """Say why there is no interval, where there is none and nothing else is said."""
    if math.isnan(score.value):
        return score
    if measure.width == "none":
        reason = score.reason or NOT_GIVEN
        return replace(score, low=math.nan, high=math.nan, reason=reason)
    if score.reason or not math.isnan(score.low):
        return score
    return replace(score, reason=f"{NO_INTERVAL}: {score.n}, too few or all alike")


def _not_scored(block: Block) -> str:
    """Why a block is not scored; empty if it is."""
    if block.header.phase == "practice":
        return "practice is not scored"
    if block.ending != "finished":
        return f"the block was {block.ending}"
    if block.input_type == "mixed":
        return "finger and mouse were mixed"
    return why_broken_off(block)
