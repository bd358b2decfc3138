"""One row a trial, for the export: reach, pass, link or part of a block."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from battery.errors import BatteryError, ScoringError
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


def plain_rows(block: Block) -> list[Row]:
    """List the trials of a block as values that JSON can hold; a missing value is None.

    Of a block that was broken off before there was a trial to read there are none.
    """
    try:
        found = trial_rows(block)
    except ScoringError:
        return []
    return [{name: _plain(value) for name, value in row.items()} for row in found]


def rows_to_keep(block: Block) -> list[Row] | None:
    """List the trials of a block as `plain_rows` does; None where that cannot be.

    Whoever stores a block goes on without them; whoever exports it computes them, and says why
    it cannot.
    """
    try:
        return plain_rows(block)
    except (BatteryError, ValueError, ArithmeticError, LookupError, TypeError):
        return None


def _plain(value: Any) -> Any:
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and math.isnan(value) else value
