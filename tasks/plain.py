"""Frozen values as plain ones that JSON can hold, the same through every version of a class.

A class of records or settings grows by fields made with `later`. Such a field is left out of
the plain form while it has its default, so that what was stored and hashed before it was there
keeps its text and its hash, and reads as if it had been there with that default.
"""

from __future__ import annotations

import dataclasses
from typing import Any

_LATER = "later"


def later(default: Any) -> Any:
    """Make a field that records before it did not have.

    Parameters
    ----------
    default : object
        What holds for a record without it: it must describe what was done before.
    """
    return dataclasses.field(default=default, metadata={_LATER: True})


def is_left_out(field: dataclasses.Field[Any], value: Any) -> bool:
    """Whether a field is left out of the plain form because it came later and says nothing."""
    return bool(field.metadata.get(_LATER)) and value == field.default


def may_be_missing(field: dataclasses.Field[Any]) -> bool:
    """Whether a plain form may lack this field, since it came later."""
    return bool(field.metadata.get(_LATER))


def to_plain(value: Any) -> Any:
    """Turn frozen dataclasses, at any depth, into dicts; all else stays as it is.

    Examples
    --------
    >>> @dataclasses.dataclass(frozen=True)
    ... class Track:
    ...     length_mm: float
    ...     n_lanes: int = later(1)
    >>> to_plain(Track(80.0)), to_plain(Track(80.0, 2))
    ({'length_mm': 80.0}, {'length_mm': 80.0, 'n_lanes': 2})
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        told = ((field, getattr(value, field.name)) for field in dataclasses.fields(value))
        return {f.name: to_plain(item) for f, item in told if not is_left_out(f, item)}
    if isinstance(value, list | tuple):
        return type(value)(to_plain(item) for item in value)
    if isinstance(value, dict):
        return {key: to_plain(item) for key, item in value.items()}
    return value
