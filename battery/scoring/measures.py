"""The measures: each defined once. Scores, dictionary, page and docs take them from here."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from operator import is_not
from typing import Generic, TypeVar

from battery.scoring.measure import Direction, Measure
from battery.scoring.scorers import SCORERS, TaskScorer

__all__ = ["MEASURES", "PARTNER", "PRIMARY", "Direction", "Measure", "measures_of"]

ValueT = TypeVar("ValueT")


class _OfScorers(Mapping[str, ValueT], Generic[ValueT]):
    """What the scorers say, under a name each; a scorer that joins is in it at once."""

    def __init__(self, told: Callable[[], dict[str, ValueT]]) -> None:
        self._told = told
        self._of: list[TaskScorer] = []
        self._now: dict[str, ValueT] = {}

    def __getitem__(self, name: str) -> ValueT:
        return self._all()[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._all())

    def __len__(self) -> int:
        return len(self._all())

    def _all(self) -> dict[str, ValueT]:
        if len(SCORERS) != len(self._of) or any(map(is_not, SCORERS.values(), self._of)):
            self._of, self._now = list(SCORERS.values()), self._told()
        return self._now


MEASURES: Mapping[str, Measure] = _OfScorers(
    lambda: {m.name: m for scorer in SCORERS.values() for m in scorer.measures}
)
PRIMARY: Mapping[str, Measure] = _OfScorers(
    lambda: {task: scorer.primary for task, scorer in SCORERS.items()}
)
PARTNER: Mapping[str, str] = _OfScorers(
    lambda: {task: scorer.partner for task, scorer in SCORERS.items()}
)


def measures_of(task: str) -> tuple[Measure, ...]:
    """List the measures of a task in their order; none for a task without a scorer."""
    return SCORERS[task].measures if task in SCORERS else ()
