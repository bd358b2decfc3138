"""What the store gives back: small frozen records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from battery.recording import BlockHeader, Ending, Hand, TimingAudit, VisitHeader

AffectedSide = Literal["left", "right", "both", "unknown"]


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody enrolled: a random code and which hand is which. Never a name.

    `first_hand` is tested first, in every visit.
    """

    code: str
    dominant_hand: Hand
    affected_side: AffectedSide
    first_hand: Hand
    enrolled_utc: str


@dataclass(frozen=True, slots=True)
class VisitRecord:
    """A visit and how it ended; None while it is open."""

    header: VisitHeader
    ending: str | None


@dataclass(frozen=True, slots=True)
class BlockRecord:
    """A block without its samples. `ending` is None while it runs."""

    header: BlockHeader
    ending: Ending | None
    reason: str
    n_samples: int
    input_type: str
    sha256: str
    audit: TimingAudit


@dataclass(frozen=True, slots=True)
class ScoreRow:
    """A stored score with the block it belongs to; `value` is nan where it is missing."""

    block_id: str
    measure: str
    value: float
    n: int
    low: float
    high: float
    reason: str
    scoring_version: int
