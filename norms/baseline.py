"""Which visits are baseline: by a rule fixed beforehand, never by looking at the values."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class BaselineRule:
    """How many first visits are left out for familiarisation, and how many then count.

    Two and four: on a comparable dexterity test times improved over the first four
    administrations (Solari et al. 2005, J Neurol Sci 236:21-25, from memory).
    """

    familiarisation: int = 2
    baseline: int = 4


@dataclass(frozen=True, slots=True)
class Point:
    """One visit's value of one measure.

    Parameters
    ----------
    visit : int
        The person's visits in order.
    value : float
        nan where it is missing.
    comparable : bool
        Whether flags allow it into baseline and verdict. A flagged visit neither counts nor
        vanishes.
    """

    visit: int
    value: float
    comparable: bool = True

    @property
    def counts(self) -> bool:
        """Whether the point takes part."""
        return self.comparable and not math.isnan(self.value)


@dataclass(frozen=True, slots=True)
class Split:
    """The points that count, by what they count for, in order of visits."""

    familiarisation: tuple[Point, ...]
    baseline: tuple[Point, ...]
    later: tuple[Point, ...]


def split(points: Sequence[Point], rule: BaselineRule) -> Split:
    """Sort the points that count into familiarisation, baseline and later ones.

    Raises
    ------
    ValueError
        If visits are not in increasing order.
    """
    visits = [point.visit for point in points]
    if visits != sorted(set(visits)):
        msg = f"visits {visits} must increase"
        raise ValueError(msg)
    counting = tuple(point for point in points if point.counts)
    first, last = rule.familiarisation, rule.familiarisation + rule.baseline
    return Split(counting[:first], counting[first:last], counting[last:])
