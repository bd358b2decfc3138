"""Whether a practice shows that the task was understood.

Four of the last five tries have to be right. Right is not exact: a touch far from the middle
is right as long as it is nearer to its target than halfway from the centre of the screen, so
that nobody is kept from the test by what the test is to measure.

The rule (four of five, within three practices) is a judgement and has no source.
"""

from __future__ import annotations

from collections.abc import Sequence

from battery.errors import ScoringError
from battery.recording import Block
from battery.scoring.scorers import scorer_of

LAST = 5
WRONG_ALLOWED = 1


def practice_passed(block: Block) -> bool:
    """Whether the tries of a practice block show that the task was understood.

    Raises
    ------
    ScoringError
        If its task has no scorer.
    """
    tries_of = scorer_of(block.header.task).load().tries
    try:
        return understood(tries_of(block))
    except ScoringError:  # broken off before there was anything to read
        return False


def understood(tries: Sequence[bool]) -> bool:
    """Whether at most one of the last five tries was wrong and one at least was right."""
    last = list(tries)[-LAST:]
    return any(last) and last.count(False) <= WRONG_ALLOWED


def right_tries(block: Block) -> list[bool]:
    """Say of each reach, pass, second of following or link whether it was right."""
    return scorer_of(block.header.task).load().tries(block)
