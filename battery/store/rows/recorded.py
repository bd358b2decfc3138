"""People, their consent, and what was recorded of them: visits, blocks, scores."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from battery.recording import BlockHeader, Ending, Hand, Phase, TimingAudit, VisitHeader

AffectedSide = Literal["left", "right", "both", "unknown"]
Decision = Literal["given", "withdrawn"]
Scope = Literal["care", "research"]  # record and page; export for research


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody enrolled: a random code and which hand is which. Never a name.

    Parameters
    ----------
    code : str
        Drawn at random.
    dominant_hand, first_hand : {"left", "right"}
        `first_hand` is tested first, in every visit.
    affected_side : {"left", "right", "both", "unknown"}
    enrolled_utc : str
        ISO 8601 with offset +00:00.
    n_familiarisation, n_baseline : int
        How many of the first visits are left out, and how many after them make the baseline:
        the rule is fixed before the first visit.
    """

    code: str
    dominant_hand: Hand
    affected_side: AffectedSide
    first_hand: Hand
    enrolled_utc: str
    n_familiarisation: int = 2
    n_baseline: int = 4


@dataclass(frozen=True, slots=True)
class Consent:
    """A person's decision about one use of the data, under one version of the form."""

    consent_id: str  # UUID
    person: str
    form_version: str
    decision: Decision
    at_utc: str
    scope: Scope = "research"


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


class BlockBrief(NamedTuple):  # made by the ten thousand
    """A block without its samples and settings: what a table of many blocks needs."""

    block_id: str
    visit_id: str
    number: int  # place in the visit, from 0
    task: str
    hand: Hand
    phase: Phase
    layout_hash: str
    ending: Ending | None
    reason: str
    input_type: str
    audit: TimingAudit


class ScoreRow(NamedTuple):  # made by the ten thousand
    """A stored score with the block it belongs to; `value` is nan where it is missing."""

    block_id: str
    measure: str
    value: float
    n: int
    low: float
    high: float
    reason: str
    scoring_version: int
