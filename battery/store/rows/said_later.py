"""What is said later about people and records: amendments, events, new baselines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

MarkerKind = Literal[
    "medication",  # a drug or its dose changed
    "injection",  # a toxin injection
    "stimulation",  # a stimulator was switched or its settings changed
    "relapse",
    "fall",
    "illness",
    "therapy",  # exercises or their dose changed
    "glasses",  # new glasses or lenses
    "weight",  # a wrist weight came on or off
    "helper",  # somebody else is there from now on, or no longer
    "device",  # another tablet, stand or screen setting
    "other",
]
VisitField = Literal["person", "helped", "excluded", "note"]
BlockField = Literal["hand", "excluded", "note"]


@dataclass(frozen=True, slots=True)
class Amendment:
    """Something said later about a visit or a block; the record itself stays as it was.

    Parameters
    ----------
    target : {"visit", "block"}
    target_id : str
    field : str
        One of `VisitField` or `BlockField`. `excluded` and `helped` are ``yes`` or ``no``.
    old, new : str
        What held before, and what holds from then on.
    author, reason : str
        Who says so, and why.
    at_utc : str
        When it was said, ISO 8601 with offset +00:00.
    """

    amendment_id: str  # UUID
    target: Literal["visit", "block"]
    target_id: str
    field: str
    old: str
    new: str
    author: str
    reason: str
    at_utc: str


@dataclass(frozen=True, slots=True)
class Marker:
    """A dated event in a person's life that a change of scores may go with."""

    marker_id: str  # UUID
    person: str
    kind: MarkerKind
    at_utc: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Restart:
    """A new baseline begun on purpose.

    Parameters
    ----------
    visit_id : str or None
        Its first visit; None goes back to the baseline after enrolment.
    """

    restart_id: str  # UUID
    person: str
    visit_id: str | None
    author: str
    reason: str
    at_utc: str


@dataclass(frozen=True, slots=True)
class OutsideError:
    """A standard error of measurement from a reliability study, for one measure.

    Parameters
    ----------
    sem : float or None
        On the scale of comparison (of logarithms for a measure compared on them); None takes
        an earlier one back.
    n_people : int
        People in the study; 0 where unknown.
    source : str
        Where it was published or measured.
    """

    error_id: str  # UUID
    measure: str
    sem: float | None
    n_people: int
    source: str
    author: str
    at_utc: str


@dataclass(frozen=True, slots=True)
class Acknowledgement:
    """Somebody has seen an alarm and says so by name.

    Parameters
    ----------
    alarm : str
        Key of the alarm.
    note : str
        What was done, in a few words; may be empty.
    """

    acknowledgement_id: str  # UUID
    person: str
    alarm: str
    note: str
    author: str
    at_utc: str


Takeable = Literal["event", "goal", "rating"]


@dataclass(frozen=True, slots=True)
class TakenBack:
    """An event, a goal or a rating that was said by mistake; it stays stored."""

    taken_id: str  # UUID
    person: str
    kind: Takeable
    target_id: str
    reason: str
    author: str
    at_utc: str
