"""What comes from another store: one visit with all that belongs to it, or what lies beside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any, Literal

from battery.recording import (
    Block,
    Device,
    VisitHeader,
    audit_to_dict,
    canonical_json,
    header_to_dict,
    visit_header_to_dict,
)
from battery.scoring.score import Score
from battery.store.rows.recorded import Person
from battery.store.trial_rows import TrialRow

Rows = dict[str, list[dict[str, Any]]]


@dataclass(frozen=True, slots=True, eq=False)
class WholeVisit:
    """A visit with its raw blocks.

    Parameters
    ----------
    header : VisitHeader
    ending : str or None
    plan : str
        The plan as JSON text.
    blocks : sequence of Block
        In order of their place.
    """

    header: VisitHeader
    ending: str | None
    plan: str
    blocks: Sequence[Block]

    @property
    def content_sha256(self) -> str:
        """Hash of all that was recorded: two visits are the same if and only if it is."""
        return visit_sha256(self.header, self.ending, [facts_of(b) for b in self.blocks])


@dataclass(frozen=True, slots=True)
class Beside:
    """Rows that lie beside: of the visit, of the person alone, of the device."""

    visit: Rows = field(default_factory=dict)
    person: Rows = field(default_factory=dict)
    device: Rows = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Arrival:
    """A bundle that was opened and found whole.

    Parameters
    ----------
    fingerprint, public_key : str
        Of the tablet that signed it.
    number : int
        The tablet's bundles in order, from 1.
    sha256 : str
        Of what was signed.
    previous_sha256 : str
        The same of the bundle before; empty for the first.
    replaces : tuple of int
        Numbers that were lost on the way and will not come any more.
    made_utc : str
        When it was packed, by the tablet's clock.
    device : Device
    person : Person
    visit : WholeVisit or None
        None where only what lies beside visits was sent.
    beside : Beside
    content : bytes
        What was signed.
    """

    fingerprint: str
    public_key: str
    number: int
    sha256: str
    previous_sha256: str
    replaces: tuple[int, ...]
    made_utc: str
    device: Device
    person: Person
    visit: WholeVisit | None
    beside: Beside
    content: bytes
    scores: Mapping[str, Sequence[Score]] = field(default_factory=dict)
    trials: Mapping[str, Sequence[TrialRow] | None] = field(default_factory=dict)

    @property
    def visit_id(self) -> str | None:
        """The visit in it, if there is one."""
        return None if self.visit is None else self.visit.header.visit_id


Outcome = Literal[
    "new",  # a visit that was not there
    "added",  # nothing but what lies beside visits
    "same",  # all of it was there
    "conflict",  # another visit has this identifier; both wait
    "device",  # the tablet is not known; it waits
    "person",  # the person is not known, or is another; it waits
    "erased",  # the person was erased; nothing was kept
    "left out",  # this version was left out by a person's choice
    "false",  # it says what cannot be; it waits
    "refused",  # the same, and it was not kept
]


def facts_of(block: Block) -> dict[str, Any]:
    """Return what identifies a block's record."""
    return {
        "header": header_to_dict(block.header),
        "ending": block.ending,
        "reason": block.reason,
        "ended_ns": block.ended_ns,
        "audit": audit_to_dict(block.audit),
        "sha256": block.sha256,
    }


def visit_sha256(
    header: VisitHeader, ending: str | None, blocks: Sequence[Mapping[str, Any]]
) -> str:
    """Hash a visit's header, its ending, and the facts of its blocks in order."""
    told = {"header": visit_header_to_dict(header), "ending": ending, "blocks": list(blocks)}
    return sha256(canonical_json(told).encode()).hexdigest()
