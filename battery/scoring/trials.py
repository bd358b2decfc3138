"""One row a trial, for the export: reach, pass, link or part of a block."""

from __future__ import annotations

from battery.recording import Block
from battery.scoring.scorers import Row, scorer_of
from battery.scoring.signal.path import check_order


def trial_rows(block: Block) -> list[Row]:
    """List the trials of a block; columns that do not concern its task are left out.

    A value that cannot be had is None or nan.

    Raises
    ------
    ScoringError
        If the stamps go backwards, or the task has no scorer.
    """
    check_order(block.samples)
    return scorer_of(block.header.task).load().trials(block)
