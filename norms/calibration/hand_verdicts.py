"""What each rule says of a simulated hand: its four tasks and their composite, as on a page."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from norms.calibration import first_rule, judged
from norms.calibration.judged import Told
from norms.calibration.rules import outside_two_sd
from norms.calibration.simulated import Clinic
from norms.limits import Kind
from norms.running import YEAR_LOOKS

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

REFERENCE = Clinic()
# A page: four tasks of each hand, and all of them together.
PAGE = replace(REFERENCE, n_tasks=4, n_looks=YEAR_LOOKS)
# Only a tenth of a clinic have a bad baseline visit, and they alone are looked at.
BAD_TIMES = 3


class Share(NamedTuple):
    """A share of people and its standard error."""

    value: float
    error: float


def share(people: ArrayLike) -> Share:
    """Return the mean of yes (1) and no (0), or of shares, with its standard error."""
    yes = np.asarray(people, dtype=float)
    part = float(yes.mean()) if yes.size else float("nan")
    return Share(part, float(yes.std() / np.sqrt(max(yes.size, 1))))


def seed_of(*numbers: int) -> np.random.Generator:
    """Return the generator of one table; each table has its own."""
    return np.random.default_rng([20261126, *numbers])


class Hand(NamedTuple):
    """What a rule says of a hand after each look: sides, shape (n_clinics, n_people, n_looks).

    Parameters
    ----------
    headline : ndarray
        All tasks together.
    tasks : tuple of ndarray
        Each task as the page tells it.
    line : tuple of ndarray
        Each task at the price of a single line.
    possible : ndarray of bool
        Whether any line's latest visit lies outside its band.
    """

    headline: NDArray[np.int8]
    tasks: tuple[NDArray[np.int8], ...]
    line: tuple[NDArray[np.int8], ...]
    possible: Bools

    def first(self, n_people: int) -> Hand:
        """Return the first people of each clinic."""
        return Hand(
            self.headline[:, :n_people],
            tuple(task[:, :n_people] for task in self.tasks),
            tuple(line[:, :n_people] for line in self.line),
            self.possible[:, :n_people],
        )

    def somewhere(self, side: int = 0) -> Bools:
        """Whether any line is told, on one side if `side` is 1 or -1."""
        lines = np.array([self.headline, *self.tasks])
        return np.asarray((lines != 0 if side == 0 else lines == side).any(axis=0))


Rule = Callable[..., Told]


def usual(visits: Floats, n_baseline: int, *, kinds: Sequence[Kind]) -> Told:
    """Tell by the usual rule: the latest visit outside the own mean plus and minus 2 SD."""
    sides = outside_two_sd(visits, n_baseline).astype(np.int8)
    return Told(dict.fromkeys(kinds, sides), dict.fromkeys(kinds, sides))


RULES: Mapping[str, Rule] = {
    "before": first_rule.told,
    "now": judged.told,
    "mean ± 2 SD": usual,
}


def hand_told(visits: Floats, n_baseline: int, rule: Rule = judged.told) -> Hand:
    """Judge a hand's four tasks and their composite as a page does.

    Parameters
    ----------
    visits : ndarray, shape (n_clinics, n_people, n_tasks, n_visits)
    """
    together = rule(visits.mean(axis=2), n_baseline, kinds=("headline",))
    headline = together.beyond["headline"]
    possible = together.outside["headline"] != 0
    tasks, lines = [], []
    for i in range(visits.shape[2]):
        own = rule(visits[:, :, i], n_baseline, kinds=("alone", "line"))
        lines.append(own.beyond["line"])
        tasks.append(np.where(headline != 0, own.beyond["line"], own.beyond["alone"]))
        possible |= own.outside["alone"] != 0
    return Hand(headline, tuple(tasks), tuple(lines), possible)
