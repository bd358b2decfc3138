"""How far the values of a measure moved, counted so that counts can be added up."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

MAX_TOLD = 20  # values or blocks that are told one by one; more are summed up
N_DIGITS = 4  # of a change that is counted


@dataclass(slots=True)
class Moves:
    """How far the values of a measure moved, counted to four digits.

    Attributes
    ----------
    plain : Counter of float
        After less before.
    percent : Counter of float
        After over before, less 100 %; where both are above 0.
    gone, come : int
        Values that are withheld now, or had none before.
    """

    plain: Counter[float] = field(default_factory=Counter)
    percent: Counter[float] = field(default_factory=Counter)
    gone: int = 0
    come: int = 0

    def put(self, before: float, now: float) -> None:
        """Count a change."""
        if math.isnan(before) or math.isnan(now):
            self.gone += math.isnan(now)
            self.come += math.isnan(before)
            return
        self.plain[_rounded(now - before)] += 1
        if before > 0 and now > 0:
            self.percent[_rounded(100 * (now / before - 1))] += 1

    def add(self, other: Moves) -> None:
        """Put what others counted to the rest."""
        self.plain += other.plain
        self.percent += other.percent
        self.gone += other.gone
        self.come += other.come

    @property
    def told(self) -> str:
        """Middle and range, in percent where all values are above 0; nine tenths of many."""
        parts = [f"{self.gone} withheld now"] * bool(self.gone)
        parts += [f"{self.come} had none before"] * bool(self.come)
        n = self.plain.total()
        if n:
            whole = self.percent.total() == n
            moves, unit = (self.percent, " %") if whole else (self.plain, "")
            middle, low, high = _quantiles(moves, (0.5, 0.0, 1.0))
            ends = ""
            if n > 1:
                ends = f" ({low:+.2g} to {high:+.2g}{unit})"
            if n >= MAX_TOLD:
                low, high = _quantiles(moves, (0.05, 0.95))
                ends = f"{ends[:-1]}, nine tenths {low:+.2g} to {high:+.2g}{unit})"
            parts.insert(0, f"{n} moved by {middle:+.2g}{unit}{ends}")
        return ", ".join(parts)


def _rounded(value: float) -> float:
    return float(f"{value:.{N_DIGITS}g}")


def _quantiles(counted: Counter[float], shares: Sequence[float]) -> list[float]:
    """Quantiles of counted values; between two neighbours their mean, as a median has it."""
    ordered = sorted(counted.items())
    n = counted.total()

    def at(rank: int) -> float:
        passed = 0
        for value, count in ordered:
            passed += count
            if rank < passed:
                return value
        return ordered[-1][0]

    found = []
    for share in shares:
        place = share * (n - 1)
        below, above = at(math.floor(place)), at(math.ceil(place))
        found.append(below if below == above else (below + above) / 2)
    return found
