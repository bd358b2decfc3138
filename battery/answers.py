"""What a person is asked around the blocks of a visit, and what the answers mean for a block.

An answer is one row: of which visit, at which moment, to which question. Nothing is changed
later: who goes back and answers again adds a row, and the latest row counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

Moment = Literal["before", "block", "stop", "after"]
MOMENTS: tuple[Moment, ...] = ("before", "block", "stop", "after")
SYMPTOMS = ("dizziness", "vision", "pain", "fatigue", "arm", "sickness")
ASKED_TWICE = SYMPTOMS[:5]  # before and after every visit; sickness only when somebody stops
MIN_RATING, MAX_RATING = 0, 10
STRONG, STALE_DAYS = 7, 21  # beyond these, nothing is offered "as last time"
PAUSE_RISE, STOP_RISE = 2, 3  # over the start of the visit, on the scale of 0 to 10


@dataclass(frozen=True, slots=True)
class Question:
    """A question: what it asks, and the words it may be answered with.

    Parameters
    ----------
    words : tuple of str
        Empty for a scale of 0 (not at all) to 10 (as bad as can be).
    """

    name: str
    meaning: str
    words: tuple[str, ...] = ()

    def allows(self, value: str) -> bool:
        """Whether this can be an answer."""
        if self.words:
            return value in self.words
        return value.isdecimal() and MIN_RATING <= int(value) <= MAX_RATING


QUESTIONS: Mapping[str, Question] = {
    q.name: q
    for q in (
        Question("dizziness", "Dizziness, 0 to 10."),
        Question("vision", "Double or blurred vision, 0 to 10."),
        Question("pain", "Pain, 0 to 10."),
        Question("fatigue", "Tiredness, 0 to 10."),
        Question("arm", "Trouble with arm or hand today, 0 to 10."),
        Question("sickness", "Feeling sick or faint, 0 to 10; asked at a stop only."),
        Question("effort", "How hard the visit was, 0 to 10; asked after it."),
        Question("red_flags", "Whether a sign of an emergency was new.", ("yes", "no")),
        Question("unwell", 'Whether the person pressed "I feel worse".', ("yes",)),
        Question(
            "settled",
            "Whether what rose in the visit before had settled within an hour.",
            ("yes", "no"),
        ),
        Question(
            "medication",
            "When medicine for movement was last taken.",
            ("none", "under_1_h", "1_to_2_h", "2_to_4_h", "over_4_h", "not_today"),
        ),
        Question("weight", "Whether a weight stayed on the wrist.", ("off", "on")),
        Question("hand_used", "Hand that did the block.", ("left", "right", "not_sure")),
        Question("practice", "Whether the practice before a test was passed.", ("yes", "no")),
        Question("helped", "Whether somebody helped with arm or presses.", ("yes", "no")),
        Question(
            "as_last",
            "Whether the answers before were taken over from the visit before, in one press.",
            ("yes", "no"),
        ),
        Question(
            "as_before",
            "Whether the answers after were taken over from before the visit, in one press.",
            ("yes", "no"),
        ),
        Question("clock", "Whether the wall clock stood before the last visit.", ("odd",)),
    )
}


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer.

    Parameters
    ----------
    block_id : str or None
        The block it is about; at a stop, the last block that was begun.
    question : str
        One of `QUESTIONS`.
    value : str
        One of the question's words, or a number on its scale.
    at_utc : str
        When it was given, ISO 8601 with offset +00:00.
    """

    answer_id: str  # UUID
    visit_id: str
    number: int  # place among the answers of the visit, from 0
    block_id: str | None
    moment: Moment
    question: str
    value: str
    at_utc: str


def latest(
    answers: Iterable[Answer], moment: Moment, question: str, block_id: str | None = None
) -> str | None:
    """Return the answer that counts; None if it was not asked or not answered.

    Parameters
    ----------
    answers : iterable of Answer
        Of one visit, in order.
    block_id : str, optional
        The block; None takes answers about the visit and about any block.
    """
    given = None
    for answer in answers:
        if (answer.moment, answer.question) == (moment, question) and (
            block_id is None or answer.block_id == block_id
        ):
            given = answer.value
    return given


def rises(answers: Iterable[Answer]) -> dict[str, int]:
    """How far each symptom rose over the start of the visit at most; only those that did.

    A symptom nobody asked about at the start counts from 0.
    """
    start: dict[str, str] = {}
    then: dict[str, int] = {}
    for answer in answers:
        question = answer.question
        if question not in SYMPTOMS:
            continue
        if answer.moment == "before":
            start[question] = answer.value
        elif answer.moment in ("stop", "after"):
            then[question] = max(then.get(question, MIN_RATING), int(answer.value))
    most = {name: level - int(start.get(name) or MIN_RATING) for name, level in then.items()}
    return {name: rise for name, rise in most.items() if rise > 0}


def levels(answers: Iterable[Answer]) -> dict[str, int]:
    """Return the highest level of each question on the scale, over the moments of a visit.

    Before and after the blocks the latest answer counts; at a stop each one, since the same
    question is asked again after a rest.
    """
    most: dict[str, int] = {}
    held: dict[tuple[str, str], int] = {}
    for answer in answers:
        if QUESTIONS[answer.question].words:
            continue
        if answer.moment == "stop":
            most[answer.question] = max(
                most.get(answer.question, MIN_RATING), int(answer.value)
            )
        else:
            held[answer.moment, answer.question] = int(answer.value)
    for (_, question), value in held.items():
        most[question] = max(most.get(question, MIN_RATING), value)
    return most


def ended_unwell(answers: Iterable[Answer], ending: str | None) -> bool:
    """Whether a visit that was not finished held a stop for symptoms."""
    return ending != "finished" and any(answer.moment == "stop" for answer in answers)


def taken_over(answers: Iterable[Answer], *, days_ago: float) -> dict[str, str] | None:
    """Return what may be offered as "as last time" at the start of the next visit.

    Never the sign of an emergency. None where it would not be safe to offer: not everything
    was answered, something was strong or rose in that visit, a weight stayed on, or it is more
    than three weeks ago. The limits (7 of 10, three weeks) are judgements and have no source.

    Parameters
    ----------
    answers : iterable of Answer
        Of the visit before.
    days_ago : float
        How long it is ago.
    """
    said = list(answers)
    held = {
        name: latest(said, "before", name) for name in (*ASKED_TWICE, "medication", "weight")
    }
    known = {name: value for name, value in held.items() if value is not None}
    if len(known) < len(held) or known["weight"] != "off" or days_ago > STALE_DAYS:
        return None
    strong = any(int(known[name]) >= STRONG for name in ASKED_TWICE)
    rose = max(rises(said).values(), default=0) >= PAUSE_RISE
    return None if strong or rose else known


def hand_flags(
    answers: Iterable[Answer], *, block_id: str, hand_asked: str, hand_amended: bool
) -> list[str]:
    """List the flags that the answers of a visit raise for one of its test blocks alone.

    Parameters
    ----------
    answers : iterable of Answer
        Of the whole visit, in order.
    hand_asked : str
        The hand the block was to be done with.
    hand_amended : bool
        Whether somebody has said since which hand it was; that settles it.
    """
    used = latest(answers, "block", "hand_used", block_id)
    if hand_amended or used is None or used == hand_asked:
        return []
    return ["hand_uncertain" if used == "not_sure" else "hand_mismatch"]


def visit_flags(answers: Iterable[Answer], *, helped_amended: bool = False) -> list[str]:
    """List the flags that the answers of a visit raise for all of its blocks.

    Parameters
    ----------
    answers : iterable of Answer
        Of the whole visit, in order.
    helped_amended : bool
        Whether somebody has said since that nobody helped; that settles it.
    """
    said = list(answers)
    held = {(answer.moment, answer.question): answer.value for answer in said}
    raised = []
    if max(rises(said).values(), default=0) >= STOP_RISE:
        raised.append("stopped_symptom")
    if held.get(("after", "helped")) == "yes" and not helped_amended:
        raised.append("helped")
    if held.get(("before", "weight")) == "on":
        raised.append("weight_on")
    if held.get(("before", "clock")) == "odd":
        raised.append("clock_odd")
    return raised
