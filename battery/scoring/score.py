"""A score: one measure of one block, with how sure it is and why it may be missing."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

from battery.scoring.measures import measures_of

SCORING_VERSION = 3
NO_INTERVAL = "no interval"
LEFT_ALONE = "left alone"
BELOW_FLOOR = "below the measurement floor"


@dataclass(frozen=True, slots=True)
class Score:
    """One value.

    Parameters
    ----------
    measure : str
        ``task.name``, an entry of `battery.scoring.measures.MEASURES`.
    value : float
        In the measure's unit; nan where it cannot be had, never 0 in its place.
    n : int
        What it was computed from: trials, passes, links or windows.
    low, high : float
        95 % interval; nan where there is none, and then `reason` says why. Without width for
        what is counted or known, not estimated.
    reason : str
        Why the value is missing, or what to keep in mind; empty otherwise.
    """

    measure: str
    value: float
    n: int = 0
    low: float = math.nan
    high: float = math.nan
    reason: str = ""
    scoring_version: int = SCORING_VERSION

    @property
    def below_floor(self) -> bool:
        """Whether the device cannot tell this value from none."""
        return self.reason.startswith(BELOW_FLOOR)


def missing(measure: str, reason: str, n: int = 0) -> Score:
    """Return a score that is not there, with the reason."""
    return Score(measure, math.nan, n, reason=reason)


def in_order(task: str, scores: Iterable[Score]) -> list[Score]:
    """Put a task's scores into the order of its measures.

    Raises
    ------
    ValueError
        If one is not there, or there twice, or is no measure of the task.
    """
    given = list(scores)
    found = {score.measure: score for score in given}
    names = [measure.name for measure in measures_of(task)]
    if set(found) != set(names) or len(given) != len(names):
        lacking, strange = sorted(set(names) - set(found)), sorted(set(found) - set(names))
        msg = f"{len(given)} scores of {task} for {len(names)} measures: {lacking=} {strange=}"
        raise ValueError(msg)
    return [_with_interval(found[name]) for name in names]


def _with_interval(score: Score) -> Score:
    """Say why there is no interval, where there is none and nothing else is said."""
    if score.reason or math.isnan(score.value) or not math.isnan(score.low):
        return score
    return replace(score, reason=f"{NO_INTERVAL}: {score.n}, too few or all alike")
