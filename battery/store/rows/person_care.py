"""The care of a person between visits: state, plan, goals, home exercise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


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
    """What the person wants to be able to do, in their own words.

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
        What it was; "all" is everything that was agreed, "rest_day" a day off on purpose.
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
        Fastest beat of head turns at which sight stayed clear, as the person says; 0 if it
        stayed clear at none.
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
    """What was agreed about one exercise at home; entries of one version belong together.

    Parameters
    ----------
    exercise : str
        "none" says that nothing is agreed any more.
    minutes : float or None
        With each arm, each time.
    weekdays : str
        1 Monday to 7 Sunday, separated by spaces.
    weight_g : int or None
        At the wrist; 0 is none.
    at_times : str
        Agreed times of reminders, as 09:00, separated by spaces; empty for none.
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
        Identifiers of the entries it replaces, separated by spaces. Entries that nothing
        replaces contradict each other if their plans differ.
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


@dataclass(frozen=True, slots=True)
class ComfortEntry:
    """One thing of how pages look and sound for a person; the latest word on it holds.

    Parameters
    ----------
    name : str
        A field of `battery.looks.Comfort`, or one of a later program.
    value : str
        A number as digits, a switch as on or off.
    author : str
        The person's own code for what was chosen on the tablet.
    """

    entry_id: str  # UUID
    person: str
    name: str
    value: str
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
