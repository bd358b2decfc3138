"""What a clinic has set, held to a form by its name, when it is kept and when it is read.

A setting outlives the program that kept it. What later programs add under names or keys that
are not known here is passed on as it is, within limits of size.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, StringConstraints, TypeAdapter, ValidationError

from battery import forms

WITHOUT_CONSENT = "export.without_consent"  # a list, one entry an export
MAX_LETTERS = 1_000_000  # of a setting as it is stored
Percent = Annotated[int, Field(ge=0, le=100)]
_HEX = Annotated[str, StringConstraints(pattern=r"^([0-9a-f]{2}){8,128}$")]
_KEY = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9+/=]{0,200}$")]


class _Card(forms.Form):
    seal: _KEY
    sign: _KEY = ""


class _Author(forms.Form):
    salt: _HEX
    key: _HEX


def _moment(value: str) -> str:
    if value:
        forms.moment(value)
    return value


def _any(value: Any) -> Any:
    forms.bounded({"it": value})
    return value


@dataclass(frozen=True, slots=True)
class Form:
    """What a setting can be: one value, a list of such, or such by a key.

    Parameters
    ----------
    value : Any
        The type of the value, or of each entry.
    within : {"", "list", "dict"}
    by_key : mapping
        Of a dict: the type under keys that have one of their own.
    """

    value: Any
    within: Literal["", "list", "dict"] = ""
    by_key: Mapping[Any, Any] | None = None


ANY = Form(Annotated[Any, AfterValidator(_any)])
FORMS: Mapping[str, Form] = {
    "emergency_number": Form(Annotated[str, StringConstraints(pattern=r"^[0-9+ -]{0,20}$")]),
    "staff_code": Form(Annotated[str, StringConstraints(pattern=r"^([0-9]{4,8})?$")]),
    "show_scores": Form(bool),
    "machine": Form(Literal["", "tablet", "clinic"]),
    "large": Form(bool),
    "alarm_limits": Form(Annotated[int, Field(ge=1, le=10)], "dict"),
    "comfort": Form(
        Annotated[Any, AfterValidator(_any)],
        "dict",
        {
            "language": forms.Name,
            "theme": forms.Name,
            "text_percent": Annotated[int, Field(ge=100, le=200)],
            "volume_percent": Percent,
            "voice": bool,
            "side": Literal["", "left", "right"],
            "buttons": Literal["", "usual", "large"],
        },
    ),
    "picture": Form(forms.Name),
    "export.licence": Form(forms.Words),
    "export.authors": Form(forms.Name, "list"),
    WITHOUT_CONSENT: Form(
        Annotated[list[forms.Words], Field(min_length=4, max_length=4)], "list"
    ),
    "handover.folders": Form(forms.Words, "list"),
    "handover.clinics": Form(_Card, "list"),
    "handover.accepted": Form(forms.Name, "list"),
    "desk_authors": Form(_Author, "dict"),
    "desk_noted": Form(forms.Name, "dict"),
    "desk_seen": Form(Annotated[str, AfterValidator(forms.moment)], "dict"),
    "entered_by": Form(forms.Name),
    "clinic_change": Form(forms.Words, "dict"),
    "backup.last_utc": Form(Annotated[str, AfterValidator(_moment)]),
}


def form_of(name: str) -> Form:
    """Return the form of a setting; of a person's own it is that of the clinic's."""
    whole = name.split(":", maxsplit=1)[0]
    return FORMS.get(whole) or FORMS.get(whole.rsplit(".", maxsplit=1)[0], ANY)


def read_setting(name: str, text: str) -> tuple[Any, list[str]]:
    """Read a stored setting as far as it has its form.

    Returns
    -------
    value : Any
        Of a list or dict the entries that have it.
    problems : list of str
        One for each entry that has not.

    Raises
    ------
    ValueError
        If nothing of it can be read.
    """
    if len(text) > MAX_LETTERS:
        msg = f"it has {len(text)} letters, more than {MAX_LETTERS}"
        raise ValueError(msg)
    return hold_setting(name, json.loads(text))


def hold_setting(name: str, value: Any) -> tuple[Any, list[str]]:
    """Hold a value to the form of a setting, as `read_setting` does.

    Raises
    ------
    ValueError
        If nothing of it has the form.
    """
    form = form_of(name)
    if not form.within:
        _hold(form.value, value, "")
        return value, []
    kind = list if form.within == "list" else dict
    if not isinstance(value, kind):
        msg = f"it is no {kind.__name__}"
        raise ValueError(msg)  # noqa: TRY004  # a stored value, not an argument
    entries: Iterable[tuple[Any, Any]]
    entries = enumerate(value) if isinstance(value, list) else value.items()
    kept: list[tuple[Any, Any]] = []
    problems = []
    for key, entry in entries:
        try:
            forms.words(str(key)[: forms.MAX_LIST])
            _hold((form.by_key or {}).get(key, form.value), entry, ascii(key)[:60])
        except ValueError as error:
            problems.append(str(error))
        else:
            kept.append((key, entry))
    if form.within == "list":
        return [entry for _, entry in kept], problems
    return dict(kept), problems


@cache
def _adapter(kind: Any) -> TypeAdapter[Any]:
    return TypeAdapter(kind)


def _hold(kind: Any, value: Any, where: str) -> None:
    try:
        _adapter(kind).validate_python(value, strict=True)
    except ValidationError as error:
        raise ValueError(forms.told(error, where)) from error
    except RecursionError as error:
        msg = "it goes too deep"
        raise ValueError(msg) from error
