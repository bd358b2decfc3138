"""The form of everything that comes in: one typed model a thing, every field with its range.

A code, an identifier or a name matches its pattern before it touches a path, a query or a
table. The same models hold what arrives from elsewhere and what is read back from the store, so
that a row that an older program let in, or that was damaged, is named in the same words. A
model checks; the record itself is built of the very values, since a hash may hang on them.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from functools import lru_cache
from typing import Annotated, Any, Literal, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints
from pydantic import ValidationError as ValidationError

from battery.recording import MAX_PLACE_MM, Ending, Hand, Phase
from tasks.registry import TASKS

FIRST_YEAR, LAST_YEAR = 2000, 2099
MAX_OFFSET_MIN = 26 * 60  # the calendar's zones lie within a day, with room
SEEDS = 2**31
MAX_VISITS, MAX_BLOCKS = 100_000, 1_000
MAX_WORDS = 100_000
MAX_LIST = 10_000
DEEPEST = 8
MAX_S = 3_600.0
CODE = r"^[A-Z0-9]{2,12}$"
IDENTIFIER = r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$"
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?\+00:00", re.ASCII)
_BEYOND_TEXT = re.compile("[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")
# A number says by its name what it counts in, and so how large it can be.
_LIMITS: Mapping[str, float] = {
    "_s": MAX_S,
    "_ms": MAX_S * 1e3,
    "_ns": MAX_S * 1e9,
    "_mm": MAX_PLACE_MM,
    "_hz": 1e5,
    "_px": 1e5,
}
_NEVER_BELOW_0 = ("_r_mm", "_s", "_hz", "_px")
_NUMBERS = (float, int)
_ONLY_NUMBERS = frozenset(_NUMBERS).issuperset
LARGEST = 1e15


def moment(text: str) -> str:
    """Return a time as the store keeps it, if it is one within sane years.

    Raises
    ------
    ValueError
        If it is none, or has another form or offset.
    """
    if not _MOMENT.fullmatch(text):
        msg = "no time in UTC such as 2026-05-31T09:30:00+00:00"
        raise ValueError(msg)
    _within_years(datetime.fromisoformat(text).year)
    return text


def day(text: str) -> str:
    """Return a date as the store keeps it, if it is one within sane years.

    Raises
    ------
    ValueError
        If it is none, or has another form.
    """
    if not re.fullmatch(r"\d{4}-\d\d-\d\d", text, re.ASCII):
        msg = "no date such as 2026-05-31"
        raise ValueError(msg)
    _within_years(date.fromisoformat(text).year)
    return text


def _within_years(year: int) -> None:
    if not FIRST_YEAR <= year <= LAST_YEAR:
        msg = f"the year {year} is not within {FIRST_YEAR} to {LAST_YEAR}"
        raise ValueError(msg)


def words(text: str) -> str:
    """Return a text that can be shown and stored: no control letters, no half letters.

    Raises
    ------
    ValueError
        If it cannot.
    """
    if _BEYOND_TEXT.search(text):
        msg = "it holds letters that are no text"
        raise ValueError(msg)
    return text


def known_task(name: str) -> str:
    """Return the name of a task of this program.

    Raises
    ------
    ValueError
        If it has none of that name.
    """
    if name not in TASKS:
        msg = f"this program has no such task; it has {', '.join(TASKS)}"
        raise ValueError(msg)
    return name


def bounded(values: dict[str, Any]) -> dict[str, Any]:
    """Return settings whose numbers, lists and texts are of a size a task can have.

    Raises
    ------
    ValueError
        With the name of what is not.
    """
    if not values:
        msg = "there are none"
        raise ValueError(msg)
    _bounded(values, "", DEEPEST)
    return values


def _bounded(value: Any, name: str, depth: int) -> None:
    if depth == 0:
        msg = f"{name or 'it'} goes too deep"
        raise ValueError(msg)
    if isinstance(value, _NUMBERS) and not isinstance(value, bool):  # as nearly all are
        _hold_size((value,), name)
    elif isinstance(value, list | tuple):
        _short(value, name)
        if depth > 1 and _ONLY_NUMBERS(map(type, value)):
            _hold_size(value, name)
            return
        for inner in value:
            _bounded(inner, name, depth - 1)
    elif isinstance(value, str):
        if len(value) > MAX_LIST:
            msg = f"{name} is a text of {len(value)} letters"
            raise ValueError(msg)
        if _BEYOND_TEXT.search(value):
            msg = f"{name} holds letters that are no text"
            raise ValueError(msg)
    elif isinstance(value, Mapping):
        _short(value, name)
        for key, inner in value.items():
            words(str(key))
            _bounded(inner, str(key)[:40], depth - 1)
    elif not isinstance(value, bool | None):
        msg = f"{name} is {ascii(value)[:40]}: no number, text, list or table"
        raise ValueError(msg)  # noqa: TRY004  # what was read, not an argument


def _hold_size(values: Sequence[float], name: str) -> None:
    """Hold numbers of one name to what it says they count in."""
    most, never_below_0 = _limits_of(name)
    least = 0 if never_below_0 else -most
    for value in values:
        if not least <= value <= most:
            raise ValueError(_beyond(value, name, most))


def _beyond(value: float, name: str, most: float) -> str:
    if isinstance(value, float) and not math.isfinite(value):
        return f"{name} is {value}"
    if abs(value) > most:
        return f"{name} is beyond {most:g}"
    return f"{name} is {value:g}, below 0"


@lru_cache(maxsize=1024)
def _limits_of(name: str) -> tuple[float, bool]:
    """Return the largest size of a number of this name, and whether it is never below 0."""
    most = next((most for end, most in _LIMITS.items() if name.endswith(end)), LARGEST)
    return most, name.endswith(_NEVER_BELOW_0)


def _short(value: Any, name: str) -> None:
    if len(value) > MAX_LIST:
        msg = f"{name or 'it'} has {len(value)} entries, more than {MAX_LIST}"
        raise ValueError(msg)


Code = Annotated[str, StringConstraints(pattern=CODE)]
Alias = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$")]
Identifier = Annotated[str, StringConstraints(pattern=IDENTIFIER)]
ShortHash = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{16}$")]
Fingerprint = Annotated[str, StringConstraints(pattern=r"^([0-9a-f]{4} ){3}[0-9a-f]{4}$")]
FileName = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,119}$")]
LongHash = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Moment = Annotated[str, AfterValidator(moment)]
Day = Annotated[str, AfterValidator(day)]
Words = Annotated[str, StringConstraints(max_length=MAX_WORDS), AfterValidator(words)]
Said = Annotated[
    str, StringConstraints(max_length=MAX_WORDS, pattern=r"\S"), AfterValidator(words)
]
Name = Annotated[str, StringConstraints(max_length=200), AfterValidator(words)]
PlanName = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_-]{0,30}$")]
Number = Annotated[float, Field(allow_inf_nan=False, ge=-LARGEST, le=LARGEST)]
NotNegative = Annotated[float, Field(allow_inf_nan=False, ge=0, le=LARGEST)]
AboveNought = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Pixels = Annotated[int, Field(ge=1, le=100_000)]
Scale = Annotated[float, Field(ge=0.001, le=20, allow_inf_nan=False)]
Seed = Annotated[int, Field(ge=0, lt=SEEDS)]
OffsetMin = Annotated[int, Field(ge=-MAX_OFFSET_MIN, le=MAX_OFFSET_MIN)]
TaskName = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,39}$")]


class Form(BaseModel):
    """What all forms share: types are meant, and what a later program added is its matter."""

    model_config = ConfigDict(strict=True, extra="ignore", frozen=True)


class ScreenForm(Form):
    """The glass."""

    width_px: Pixels
    height_px: Pixels
    mm_per_px_x: Scale
    mm_per_px_y: Scale
    scale_source: Literal["card", "ruler", "guess", "virtual"] = "guess"


class DeviceForm(Form):
    """What the person used."""

    alias: Alias
    screen: ScreenForm
    system: Name = "unknown"
    display_latency_ms: Annotated[float, Field(ge=0, le=10_000)] | None = None


class PersonForm(Form):
    """Somebody enrolled."""

    code: Code
    dominant_hand: Hand
    affected_side: Literal["left", "right", "both", "unknown"]
    first_hand: Hand
    enrolled_utc: Moment
    n_familiarisation: Annotated[int, Field(ge=0, le=100)] = 2
    n_baseline: Annotated[int, Field(ge=2, le=100)] = 4


class VisitForm(Form):
    """One sitting."""

    visit_id: Identifier
    person: Code
    sequence: Annotated[int, Field(ge=1, le=MAX_VISITS)]
    plan_name: PlanName
    plan_hash: ShortHash
    device: DeviceForm
    started_utc: Moment
    utc_offset_min: OffsetMin
    software: Name
    origin: Literal["stage", "simulated", "import"] = "stage"
    record_version: Annotated[int, Field(ge=1)]
    protocol_version: Annotated[int, Field(ge=1, le=10_000)]


class BlockForm(Form):
    """What was set before a block."""

    block_id: Identifier
    visit_id: Identifier
    index: Annotated[int, Field(ge=0, lt=MAX_BLOCKS)]
    task: TaskName
    task_version: Annotated[int, Field(ge=1, le=10_000)] = 1
    hand: Hand
    phase: Phase
    layout_seed: Seed
    layout_hash: ShortHash
    settings: Annotated[dict[str, Any], AfterValidator(bounded)]
    started_utc: Moment
    versions: Annotated[dict[Name, Name], Field(max_length=100)]


class AuditForm(Form):
    """What was measured about time."""

    flip_p99_ms: NotNegative | None = None
    stamp_gap_p99_ms: NotNegative | None = None
    report_rate_hz: NotNegative | None = None
    frame_rate_hz: NotNegative | None = None
    slow_frames: Annotated[int, Field(ge=0, le=10_000_000)] | None = None


class FactsForm(Form):
    """A block without its samples, as a bundle tells it."""

    header: BlockForm
    ending: Ending
    reason: Name
    ended_ns: Annotated[int, Field(ge=0, le=int(MAX_S * 1e9))]
    audit: AuditForm
    sha256: LongHash


FormT = TypeVar("FormT", bound=Form)


def hold(form: type[FormT], value: Any, where: str = "") -> FormT:
    """Hold plain values to a form.

    Raises
    ------
    ValueError
        In one line: the field, what it holds, and what is wrong with it.
    """
    try:
        return form.model_validate(value)
    except ValidationError as error:
        raise ValueError(told(error, where)) from error


class WrongFieldError(ValueError):
    """A field is not of its form.

    Parameters
    ----------
    message : str
        In one line: the field, what it holds, and what is wrong with it.
    field : str
        Its name.
    """

    def __init__(self, message: str, field: str) -> None:
        super().__init__(message)
        self.field = field


def wrong_field(error: ValidationError) -> WrongFieldError:
    """Return an error that names the first field that is wrong."""
    where = error.errors(include_url=False, include_context=False)[0]["loc"]
    return WrongFieldError(told(error), str(where[0]) if where else "")


def told(error: ValidationError, where: str = "") -> str:
    """Say in one line which field is wrong, what it holds and why."""
    first = error.errors(include_url=False, include_context=False)[0]
    parts = [where] if where else []
    field = ".".join([*parts, *(str(part)[:40] for part in first["loc"])]) or "it"
    why = first["msg"].removeprefix("Value error, ")
    if first["type"] == "missing":
        return f"{field} is missing"
    held = ascii(first["input"])
    held = held if len(held) <= 60 else held[:57] + "..."
    return f"{field} is {held}: {why[:1].lower() + why[1:]}"
