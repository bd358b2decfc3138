"""Rows of the small tables held to their form: by the record's types, and by each field's name.

The same check holds a row that arrives and a row that is read back. A table that is added later
is held by the names of its columns without a word about it here.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Set
from functools import cache, lru_cache
from typing import Any, TypeVar, cast, get_args

from pydantic import TypeAdapter, ValidationError

from battery import forms
from battery.answers import MOMENTS, QUESTIONS, Answer
from battery.plan import told_hash
from battery.recording import HANDS
from battery.store.rows import device_checks, person_care, recorded, said_later
from battery.store.rows.said_later import BlockField, VisitField

T = TypeVar("T")
YES_NO = ("yes", "no")
MAX_TIMES = 12
_TIME = re.compile(r"([01]\d|2[0-3]):[0-5]\d", re.ASCII)

# The record that a row of a table becomes; amendments are named by their target.
KINDS: Mapping[str, type] = {
    "people": recorded.Person,
    "consents": recorded.Consent,
    "markers": said_later.Marker,
    "restarts": said_later.Restart,
    "outside_errors": said_later.OutsideError,
    "prescriptions": person_care.Prescription,
    "goals": person_care.Goal,
    "goal_levels": person_care.GoalLevel,
    "practice": person_care.HomeExercise,
    "screen_checks": device_checks.ScreenCheck,
    "timing_checks": device_checks.TimingCheck,
    "loop_checks": device_checks.LoopCheck,
    "person_plans": person_care.PersonPlan,
    "home_plans": person_care.HomePlanEntry,
    "comforts": person_care.ComfortEntry,
    "alarm_acknowledgements": said_later.Acknowledgement,
    "person_states": person_care.PersonState,
    "contraindications": person_care.Contraindication,
    "taken_back": said_later.TakenBack,
}
AMENDABLE = {"visit": get_args(VisitField), "block": get_args(BlockField)}


def fitted(kind: type[T], row: Mapping[Any, Any], *, may_be_empty: Set[str] = frozenset()) -> T:
    """Build a record of a row.

    Parameters
    ----------
    kind : type
    row : mapping
    may_be_empty : set of str
        Fields that are an empty text where there is nothing to say.

    Raises
    ------
    ValueError
        In one line, if a field is not of its form.
    """
    values = dict(row)
    try:
        built: T = _adapter(cast("Any", kind)).validate_python(values)
    except ValidationError as error:
        raise forms.wrong_field(error) from error
    for name, value in values.items():
        if value != "" or name not in may_be_empty:
            hold_field(name, value)
    return built


@cache
def _adapter(kind: Any) -> TypeAdapter[Any]:
    return TypeAdapter(kind)


def hold_row(table: str, row: Mapping[str, Any]) -> None:
    """Hold a row that arrives to the form of its table.

    Raises
    ------
    ValueError
        In one line, with the field.
    """
    if table == "answers":
        answer(row)
    elif table == "amendments":
        hold_amendment(row)
    elif table in KINDS:
        fitted(KINDS[table], row)
    if table == "person_plans":
        hold_person_plan(row)
    elif table == "home_plans":
        hold_home_plan(fitted(person_care.HomePlanEntry, row))
    for name, value in row.items():
        hold_field(name, value)


def answer(row: Mapping[Any, Any]) -> Answer:
    """Build an answer of a row.

    Raises
    ------
    ValueError
        If there is no such moment or question, or it cannot be answered so.
    """
    if _is_plainly_one(row):
        return Answer(
            row["answer_id"],
            row["visit_id"],
            row["number"],
            row["block_id"],
            row["moment"],
            row["question"],
            row["value"],
            row["at_utc"],
        )
    built = fitted(Answer, row)
    known = QUESTIONS.get(built.question)
    if known is None or not isinstance(built.value, str) or not known.allows(built.value):
        msg = f"{built.question!r} must not be answered {built.value!r}"
        raise ValueError(msg)
    if built.moment not in MOMENTS:
        msg = f"moment is {built.moment!r}: say one of {', '.join(MOMENTS)}"
        raise ValueError(msg)
    forms.moment(built.at_utc)
    return built


def _is_plainly_one(row: Mapping[Any, Any]) -> bool:
    """Whether a row is an answer as they are stored by the ten thousand.

    Says the same as the whole look, ten times as fast; of what it does not know it says no.
    """
    try:
        forms.moment(row["at_utc"])
        return (
            type(row["number"]) is int
            and _is_identifier(row["answer_id"]) is not None
            and _is_identifier(row["visit_id"]) is not None
            and (row["block_id"] is None or _is_identifier(row["block_id"]) is not None)
            and _is_allowed(row["moment"], row["question"], row["value"])
        )
    except (ValueError, TypeError):
        return False


_is_identifier = re.compile(forms.IDENTIFIER, re.ASCII).fullmatch


@lru_cache(maxsize=4096)
def _is_allowed(moment: Any, question: Any, value: Any) -> bool:
    known = QUESTIONS.get(question)
    return (
        moment in MOMENTS
        and known is not None
        and isinstance(value, str)
        and known.allows(value)
    )


def hold_amendment(row: Mapping[str, Any]) -> None:
    """Hold an amendment's row to what can be amended.

    Raises
    ------
    ValueError
        If its field or value cannot be, or it has no single target.
    """
    if (row["visit_id"] is None) == (row["block_id"] is None):
        msg = "an amendment needs one target"
        raise ValueError(msg)
    target = "visit" if row["block_id"] is None else "block"
    field, new = row["field"], row["new"]
    if field not in AMENDABLE[target]:
        msg = f"field is {field!r}: of a {target} it cannot be amended"
        raise ValueError(msg)
    allowed = {"hand": HANDS, "helped": YES_NO, "excluded": YES_NO}.get(field)
    if allowed is not None and new not in allowed:
        msg = f"new is {new!r}: {field} is {' or '.join(allowed)}"
        raise ValueError(msg)
    if field == "person":
        _hold("new", new, _CODE)


def person_plan(row: Mapping[Any, Any]) -> person_care.PersonPlan:
    """Build the plan of a person of a row.

    Raises
    ------
    ValueError
        If it is not of its form, or its plan has another hash.
    """
    built = fitted(person_care.PersonPlan, row)
    hold_person_plan(row)
    return built


def hold_person_plan(row: Mapping[Any, Any]) -> None:
    """Hold a plan that belongs to a person to its hash, as far as this program can tell it.

    Raises
    ------
    ValueError
        If it is no plan, or another.
    """
    found = told_hash(json.loads(row["plan_json"]))
    if found not in (None, row["plan_hash"]):
        msg = f"plan_hash is {row['plan_hash']!r}: the plan in it has {found!r}"
        raise ValueError(msg)
    for entry in row["follows"].split():
        _hold("follows", entry, _IDENTIFIER)


def home_plan_entry(row: Mapping[Any, Any]) -> person_care.HomePlanEntry:
    """Build an entry of a home plan of a row.

    Raises
    ------
    ValueError
        If it is not of its form, or cannot be done.
    """
    built = fitted(person_care.HomePlanEntry, row)
    hold_home_plan(built)
    return built


def hold_home_plan(entry: person_care.HomePlanEntry) -> None:
    """Hold an entry of a home plan to what can be done at home; it judges no dose.

    Raises
    ------
    WrongFieldError
        With the field, what it holds and the limit.
    """
    if entry.exercise == "none":
        return
    for name, value, low, most in (
        ("minutes", entry.minutes, 0.25, 60), ("times_a_day", entry.times_a_day, 1, 12),
        ("weight_g", entry.weight_g, 0, 5000),
    ):  # fmt: skip
        if value is None or not low <= value <= most:
            msg = f"{name} is {value}: say {low:g} to {most:g}"
            raise forms.WrongFieldError(msg, name)
    for name, said in (("hand", entry.hand), ("target", entry.target)):
        if said is None:
            msg = f"{name} is not said"
            raise forms.WrongFieldError(msg, name)
    days, times = entry.weekdays.split(), entry.at_times.split()
    if not days or len(set(days)) != len(days) or not set(days) <= set("1234567"):
        msg = f"weekdays is {entry.weekdays!r}: say 1 (Monday) to 7 (Sunday), each once"
        raise forms.WrongFieldError(msg, "weekdays")
    odd = [time for time in times if not _TIME.fullmatch(time)]
    if odd or len(times) > MAX_TIMES:
        msg = f"at_times is {entry.at_times!r}: say at most {MAX_TIMES} times as 09:00"
        raise forms.WrongFieldError(msg, "at_times")


def hold_field(name: str, value: Any) -> None:
    """Hold one value to what its column's name says it is.

    Raises
    ------
    ValueError
        With the field, what it holds and why that cannot be.
    """
    if value is None:
        return
    if (check := _check_of(name)) is not None:
        _hold(name, value, check)
    elif isinstance(value, str):
        _hold(name, value, _WORDS)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        _hold(name, value, _NUMBER)
    elif isinstance(value, bytes | memoryview):
        msg = f"{name} is {len(value)} bytes and no text"
        raise ValueError(msg)  # a stored value, not an argument


def _hold(name: str, value: Any, check: Callable[[Any], Any]) -> None:
    try:
        check(value)
    except ValidationError as error:
        raise ValueError(forms.told(error, name)) from error


_IDENTIFIER: Callable[[Any], Any] = TypeAdapter(forms.Identifier).validate_python
_CODE: Callable[[Any], Any] = TypeAdapter(forms.Code).validate_python
_WORDS: Callable[[Any], Any] = TypeAdapter(forms.Words).validate_python
_NUMBER: Callable[[Any], Any] = TypeAdapter(forms.Number).validate_python
_BY_ENDING: Mapping[str, Any] = {
    "_utc": forms.Moment,
    "_date": forms.Day,
    "_id": forms.Identifier,
    "_hash": forms.ShortHash,
    "_sha256": forms.LongHash,
    "_px": forms.Pixels,
    "_hz": forms.NotNegative,
    "_ms": forms.NotNegative,
}
_BY_NAME: Mapping[str, Any] = {
    "person": forms.Code,
    "code": forms.Code,
    "device": forms.Alias,
    "fingerprint": forms.Fingerprint,
    "file_name": forms.FileName,
    "sha256": forms.LongHash,
    "mm_per_px_x": forms.Scale,
    "mm_per_px_y": forms.Scale,
    "sem": forms.AboveNought,
    "source": forms.Said,
}


@cache
def _check_of(name: str) -> Callable[[Any], Any] | None:
    form = _BY_NAME.get(name)
    if form is None and name.startswith("n_"):
        form = forms.NotNegative
    if form is None:
        form = next((f for end, f in _BY_ENDING.items() if name.endswith(end)), None)
    return None if form is None else TypeAdapter(form).validate_python
