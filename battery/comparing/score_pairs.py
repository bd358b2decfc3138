"""A score as it was stored beside the same score computed again: alike or not, and why."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from battery.recording import Block, Screen
from battery.scoring.flags import Value, flags_of
from battery.scoring.measures import MEASURES, PRIMARY
from battery.scoring.score import Score

WHY = "same version: other libraries or another machine"


class Held(NamedTuple):
    """What was stored of a measure of a block; nan where there is none."""

    value: float
    n: int
    low: float
    high: float
    reason: str
    scoring_version: int


def kind_of(reason: str) -> str:
    """Return a reason without its numbers, so that alike ones are counted together."""
    return " ".join(_words(reason))[:120]


def _words(reason: str) -> Iterator[str]:
    for word in reason.split():
        yield "#" if any(letter.isdigit() for letter in word) else word


def flags_by(block: Block, screen: Screen, held: Mapping[str, Held]) -> set[str]:
    """Name the flags of a record with such scores; those of other visits do not change."""
    header = block.header
    primary = held.get(PRIMARY[header.task].name)
    return set(
        flags_of(
            ending=block.ending,
            input_type=block.input_type,
            scale_source=screen.scale_source,
            audit=block.audit,
            task=header.task,
            n_primary=primary.n if primary else None,
            scores={
                name: Value(had.value, had.n, had.reason, had.scoring_version)
                for name, had in held.items()
            },
        )
    )


def as_held(score: Score) -> Held:
    """Give a fresh score the form of a stored one."""
    return Held(
        score.value, score.n, score.low, score.high, score.reason, score.scoring_version
    )


def why_differs(before: Held, score: Score) -> str:
    """Say why a score may differ: another version, or the same one elsewhere."""
    if before.scoring_version == score.scoring_version:
        return WHY
    versions = f"version {before.scoring_version} to {score.scoring_version}"
    if MEASURES[score.measure].since > before.scoring_version:
        return f"{versions}, defined anew"
    return f"{versions}, computed anew"


def identical(before: Held, now: Held) -> bool:
    """Whether two scores are the same bit for bit."""
    return (
        (before.n, before.reason, before.scoring_version)
        == (now.n, now.reason, now.scoring_version)
        and same_value(before.value, now.value)
        and same_value(before.low, now.low)
        and same_value(before.high, now.high)
    )


def same_value(a: float, b: float) -> bool:
    """Whether two values are equal, or both missing."""
    return a == b or (math.isnan(a) and math.isnan(b))
