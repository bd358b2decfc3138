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

    Raises
    ------
    ValueError
        If there are fewer than 0 familiarisation or fewer than 2 baseline visits.
    """

    familiarisation: int = 2
    baseline: int = 4

    def __post_init__(self) -> None:
        if self.familiarisation < 0 or self.baseline < 2:
            msg = (
                f"{self.familiarisation} familiarisation and {self.baseline} baseline visits; "
                "at least 0 and 2 are needed"
            )
            raise ValueError(msg)

    @property
    def n_visits(self) -> int:
        """Visits until the baseline is complete."""
        return self.familiarisation + self.baseline


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
    reason : str
        Why it does not count, in words.
    error : float
        Its measurement error over that of a whole visit: above 1 where less was done.
    day : float
        Days on any clock; nan where it is not known. Visits a few days apart are one look.
    """

    visit: int
    value: float
    comparable: bool = True
    reason: str = ""
    error: float = 1.0
    day: float = math.nan

    @property
    def counts(self) -> bool:
        """Whether the point takes part."""
        return self.comparable and not math.isnan(self.value)


@dataclass(frozen=True, slots=True)
class Split:
    """The points by what they count for, in order of visits.

    Parameters
    ----------
    familiarisation, baseline, later : tuple of Point
        Points that count.
    earlier : tuple of Point
        Points that counted before a new baseline was begun.
    aside : tuple of Point
        Points that do not count: flagged or missing.
    """

    familiarisation: tuple[Point, ...]
    baseline: tuple[Point, ...]
    later: tuple[Point, ...]
    earlier: tuple[Point, ...] = ()
    aside: tuple[Point, ...] = ()


def split(
    points: Sequence[Point], rule: BaselineRule, *, restart_visit: int | None = None
) -> Split:
    """Sort the points that count into familiarisation, baseline and later ones.

    Parameters
    ----------
    points : sequence of Point
        One series, in order of visits.
    rule : BaselineRule
        Fixed at enrolment.
    restart_visit : int, optional
        The first visit of a new baseline, begun on purpose (after a relapse, say). The test is
        known by then, so nothing is left out for familiarisation; what was before is `earlier`.

    Raises
    ------
    ValueError
        If visits are not in increasing order.
    """
    visits = [point.visit for point in points]
    if visits != sorted(set(visits)):
        msg = f"visits {visits} must increase"
        raise ValueError(msg)
    aside = tuple(point for point in points if not point.counts)
    counting = [point for point in points if point.counts]
    earlier: list[Point] = []
    first = rule.familiarisation
    if restart_visit is not None:
        earlier = [point for point in counting if point.visit < restart_visit]
        counting = counting[len(earlier) :]
        first = max(0, first - len(earlier))
    last = first + rule.baseline
    return Split(
        tuple(counting[:first]),
        tuple(counting[first:last]),
        tuple(counting[last:]),
        tuple(earlier),
        aside,
    )


# A visit within so many days of the first visit of a look repeats it: both are one look.
REPEAT_DAYS = 4.0


def looks(later: Sequence[Point]) -> tuple[tuple[Point, ...], ...]:
    """Put visits after the baseline together into looks, in order.

    A look begins with a visit; a repeat visit within four days of it belongs to it. Its visits
    then count once, by their mean, so that whoever looks again after a doubtful visit gets a
    better answer and not a second chance.
    """
    found: list[list[Point]] = []
    for point in later:
        repeats = bool(found) and 0 <= point.day - found[-1][0].day <= REPEAT_DAYS
        if repeats:
            found[-1].append(point)
        else:
            found.append([point])
    return tuple(tuple(group) for group in found)
