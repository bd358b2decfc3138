"""A score: one measure of one block, with how sure it is and why it may be missing."""

from __future__ import annotations

import math
from dataclasses import dataclass

SCORING_VERSION = 3
NO_INTERVAL = "no interval"
NOT_GIVEN = f"{NO_INTERVAL} is given for this measure"
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
        95 % interval, or the spread, as the measure's `width` says; nan where there is none,
        and then `reason` says why. Without width for what is counted or known, not estimated.
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
