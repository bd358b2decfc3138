"""What a series allows us to say: one of four words, with the reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from norms.band import Band, Prior, band
from norms.baseline import BaselineRule, Point, split

Word = Literal["beyond error", "possible, repeat", "within error", "withheld"]
Direction = Literal["lower", "higher", "toward_one", "none"]
LEARNING_UNTIL_VISIT = 6


@dataclass(frozen=True, slots=True)
class Verdict:
    """The verdict on one measure of one hand.

    Parameters
    ----------
    word : str
        "beyond error": the last two visits that count lie outside the band on the same side.
        "possible, repeat": the last one does. "within error": it does not, which is not the
        same as no change. "withheld": there is no verdict, and `reason` says why.
    better : bool or None
        With a word that tells a side: whether that side is the better one; None where the
        measure has no better side.
    band : Band or None
    latest : Point or None
        The last point that counts.
    change_percent : float or None
        Of the latest against the centre of the band.
    learning : bool
        Whether learning the test may still explain it.
    """

    word: Word
    reason: str = ""
    better: bool | None = None
    band: Band | None = None
    latest: Point | None = None
    change_percent: float | None = None
    learning: bool = False


def judge(
    points: Sequence[Point],
    prior: Prior | None,
    *,
    log_scale: bool,
    direction: Direction,
    rule: BaselineRule | None = None,
) -> Verdict:
    """Judge a series of visits against its own baseline.

    Parameters
    ----------
    points : sequence of Point
        One series, in order of visits, flagged ones included.
    prior : Prior or None
        Scatter of everybody, or None when nobody can be pooled.
    """
    rule = rule or BaselineRule()
    parts = split(points, rule)
    counting = [point for point in points if point.counts]
    if not counting:
        reason = "no visit that counts" if points else "not done yet"
        return Verdict("withheld", reason)
    latest = counting[-1]
    if len(parts.baseline) < rule.baseline:
        need = rule.familiarisation + rule.baseline
        reason = f"{len(counting)} of the {need} visits that make the baseline"
        return Verdict("withheld", reason, latest=latest, learning=True)
    if log_scale and any(p.value <= 0 for p in (*parts.baseline, *parts.later)):
        return Verdict("withheld", "a value of 0 has no logarithm", latest=latest)
    own = band([p.value for p in parts.baseline], prior, log_scale=log_scale)
    if not parts.later:
        return Verdict(
            "withheld",
            "no visit after the baseline yet",
            band=own,
            latest=latest,
            learning=True,
        )
    sides = [own.side(p.value) for p in parts.later]
    change = 100 * (latest.value / own.centre - 1) if own.centre else None
    learning = latest.visit <= LEARNING_UNTIL_VISIT
    if sides[-1] == 0:
        return Verdict("within error", "", None, own, latest, change, learning)
    confirmed = len(sides) >= 2 and sides[-2] == sides[-1]
    word: Word = "beyond error" if confirmed else "possible, repeat"
    better = _better(sides[-1], direction, own, latest.value)
    return Verdict(word, "", better, own, latest, change, learning)


def _better(side: int, direction: Direction, own: Band, value: float) -> bool | None:
    if direction == "none":
        return None
    if direction == "toward_one":
        return abs(value - 1) < abs(own.centre - 1)
    return (side < 0) == (direction == "lower")
