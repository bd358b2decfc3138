"""What the store takes and gives back: small frozen records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from battery.recording import BlockHeader, Ending, Hand, Phase, TimingAudit, VisitHeader

AffectedSide = Literal["left", "right", "both", "unknown"]
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
Decision = Literal["given", "withdrawn"]
Scope = Literal["care", "research"]  # record and page; export for research
VisitField = Literal["person", "helped", "excluded", "note"]
BlockField = Literal["hand", "excluded", "note"]


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
        How many first visits are left out, and how many after them are the baseline: the rule
        is fixed before the first visit.
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


@dataclass(frozen=True, slots=True)
class BlockBrief:
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
        What was held before, and what holds from then on.
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
    """A dated event around a person that a change of scores may go with."""

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
class Prescription:
    """How often home exercise is planned from a day on.

    Parameters
    ----------
    from_date : str
        First day, ISO 8601.
    per_week : float
        Times a week; 0 is a pause.
    """

    prescription_id: str  # UUID
    person: str
    from_date: str
    per_week: float
    note: str
    author: str
    at_utc: str


@dataclass(frozen=True, slots=True)
class Goal:
    """What the person wants to be able to do, in own words.

    Parameters
    ----------
    weight : float
        How much it counts among the person's goals; 1 unless said otherwise.
    """

    goal_id: str  # UUID
    person: str
    goal: str
    weight: float
    author: str
    at_utc: str


@dataclass(frozen=True, slots=True)
class GoalLevel:
    """How far a goal was reached: -2 much less than hoped for, 0 as hoped for, 2 much more."""

    level_id: str  # UUID
    goal_id: str
    level: int
    author: str
    at_utc: str


HomeExerciseKind = Literal["reported", "seen"]
HomeExerciseHand = Literal["left", "right", "both"]
Exercise = Literal[
    "all", "tapping", "slide", "pursuit", "trail", "head_turns", "other", "rest_day"
]


@dataclass(frozen=True, slots=True)
class HomeExercise:
    """Exercise at home, between visits: one entry of a person, or one use of the timer.

    Parameters
    ----------
    kind : {"reported", "seen"}
        Said by the person, or timed by the tablet. A timer sees that it ran, not what was done.
    exercise : str
        What it was; "all" is everything that was agreed, "rest_day" a day without on purpose.
    hand : {"left", "right", "both"} or None
    minutes : float or None
        None when it was not said.
    symptoms : int or None
        How it felt afterwards: 0 none, 1 a little, 2 clear, 3 strong; None when not asked.
    local_date : str
        The day it belongs to, on the clock of the place.
    symptoms_before : int or None
        How it felt before, as `symptoms`.
    clear_beats_per_min : int or None
        Of head turns the fastest beat at which sight stayed clear, as the person says; 0 if
        it did at none.
    """

    practice_id: str  # UUID
    person: str
    kind: HomeExerciseKind
    exercise: Exercise
    hand: HomeExerciseHand | None
    minutes: float | None
    symptoms: int | None
    local_date: str
    at_utc: str
    symptoms_before: int | None = None
    clear_beats_per_min: int | None = None

    @property
    def was_done(self) -> bool:
        """Whether it was begun: with strong symptoms before, it is not."""
        return self.minutes is not None or (self.symptoms_before or 0) < STRONG


STRONG = 3
PlannedExercise = Literal["tapping", "slide", "pursuit", "trail", "none"]
TargetPlace = Literal["near", "wall"]


@dataclass(frozen=True, slots=True)
class HomePlanEntry:
    """What was agreed of one exercise at home; entries of one version hold together.

    Parameters
    ----------
    exercise : str
        "none" is a version by which nothing is agreed any more.
    minutes : float or None
        With each arm, each time.
    weekdays : str
        1 Monday to 7 Sunday, with blanks between.
    weight_g : int or None
        At the wrist; 0 is none.
    at_times : str
        When a reminder was agreed, as 09:00, with blanks between; empty for none.
    """

    entry_id: str  # UUID
    person: str
    version_id: str  # UUID
    from_date: str
    exercise: PlannedExercise
    hand: HomeExerciseHand | None
    minutes: float | None
    times_a_day: int | None
    weekdays: str
    target: TargetPlace | None
    weight_g: int | None
    at_times: str
    author: str
    at_utc: str


@dataclass(frozen=True, slots=True)
class ScreenCheck:
    """A measurement of a screen.

    Parameters
    ----------
    device : str
        Alias of the machine.
    width_px, height_px : int
        Size of the whole screen.
    mm_per_px_x, mm_per_px_y : float
        What was found.
    source : {"card", "ruler"}
    at_utc : str
        ISO 8601 with offset +00:00.
    """

    check_id: str  # UUID
    device: str
    width_px: int
    height_px: int
    mm_per_px_x: float
    mm_per_px_y: float
    source: Literal["card", "ruler"]
    at_utc: str


@dataclass(frozen=True, slots=True)
class TimingCheck:
    """What a device's pointer and screen did while somebody moved a finger about.

    Parameters
    ----------
    device : str
        Alias of the machine.
    input_type : str
        What was pointed with: mouse, touch, mixed or none.
    n_reports : int
        Reports of motion.
    report_rate_hz : float or None
        Inverse of the median interval between reports of motion; None without
        two seconds of contact.
    longest_gap_ms : float or None
        Longest interval between reports of one touch.
    wide_gaps : float or None
        Share of those intervals above 50 ms.
    frame_rate_hz : float or None
    slow_frames : float or None
        Share of frames more than 34 ms after the one before.
    flip_p99_ms : float or None
        99th percentile of the time one screen update takes.
    at_utc : str
        ISO 8601 with offset +00:00.
    """

    check_id: str  # UUID
    device: str
    input_type: str
    n_reports: int
    report_rate_hz: float | None
    longest_gap_ms: float | None
    wide_gaps: float | None
    frame_rate_hz: float | None
    slow_frames: float | None
    flip_p99_ms: float | None
    at_utc: str


Edge = Literal["touch", "lift"]


@dataclass(frozen=True, slots=True)
class LoopCheck:
    """How long a device takes from a finger to light, as a film of it shows.

    Parameters
    ----------
    device : str
        Alias of the machine.
    edge : {"touch", "lift"}
        What the finger did: it came onto the glass, or left it.
    n_read : int
        Touches or lifts that were read off the film.
    mean_ms, sd_ms : float
        From the finger to the first light of what follows.
    low_ms, high_ms : float
        95 % interval of the mean.
    program_ms : float or None
        Of it, what the program itself took, from the report to the picture handed over.
    camera_hz : float
        True rate of the camera, against the program's own frames.
    frames : str
        Frames of the film between the two, for each, as they were read.
    method : {"film"}
    reader : str
        Who read them, in initials.
    at_utc : str
        ISO 8601 with offset +00:00.
    """

    check_id: str  # UUID
    device: str
    edge: Edge
    n_read: int
    mean_ms: float
    sd_ms: float
    low_ms: float
    high_ms: float
    program_ms: float | None
    camera_hz: float
    frames: str
    method: Literal["film"]
    reader: str
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


State = Literal["active", "paused", "discharged"]


@dataclass(frozen=True, slots=True)
class PersonState:
    """Whether a person is due for visits, from a day on; the latest word holds."""

    state_id: str  # UUID
    person: str
    state: State
    from_date: str  # ISO 8601
    reason: str
    author: str
    at_utc: str


@dataclass(frozen=True, slots=True)
class PersonPlan:
    """The plan that a person follows, from when it was set.

    Parameters
    ----------
    plan_json : str
        The whole plan.
    source : str
        A plan's name, or that of the file it was read from.
    source_sha256 : str or None
        Of that file.
    follows : str
        Identifiers of the entries in whose place it stands, with blanks between. Entries that
        nothing follows contradict each other if their plans differ.
    """

    entry_id: str  # UUID
    person: str
    plan_name: str
    plan_hash: str
    plan_json: str
    source: str
    source_sha256: str | None
    follows: str
    author: str
    at_utc: str


Present = Literal["yes", "no", "unknown"]


@dataclass(frozen=True, slots=True)
class Contraindication:
    """Whether something speaks against starting; the latest word on each item holds."""

    entry_id: str  # UUID
    person: str
    item: str
    answer: Present
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
