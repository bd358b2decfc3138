"""Whether the rows beside an arrival have the form of the tables they are to go into."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Column

from battery.errors import HandoverError, NewerFormatError
from battery.store.arrival import Arrival
from battery.store.reach import tables_beside

LONGEST_TEXT = 100_000


def hold_to_form(arrival: Arrival) -> None:
    """Refuse rows that no table here can hold.

    Raises
    ------
    NewerFormatError
        If a table or column is not known to this program.
    HandoverError
        If a value is not of its column's kind.
    """
    known = {table.name: table for table in tables_beside()}
    for part in (arrival.beside.visit, arrival.beside.person, arrival.beside.device):
        for name, rows in part.items():
            names = {c.name for c in known[name].columns} if name in known else set()
            if not names or any(set(row) != names for row in rows):
                msg = (
                    f"it has rows of {name[:40]!r} that this program does not know; the file "
                    "is kept. Update this program, then receive again"
                )
                raise NewerFormatError(msg)
            for row in rows:
                for column in known[name].columns:
                    _can_be(column, row[column.name])


def _can_be(column: Column[Any], value: Any) -> None:
    """Refuse a value that the column cannot hold; SQLite itself would take any."""
    kind = column.type.python_type
    if value is None:
        fits = bool(column.nullable)
    elif isinstance(value, bool):
        fits = False
    elif kind is float:
        fits = isinstance(value, int | float) and -1e300 < value < 1e300
    elif kind is int:
        fits = isinstance(value, int) and -(2**31) <= value < 2**31
    else:
        fits = isinstance(value, str) and len(value) <= LONGEST_TEXT and _is_text(value)
    if not fits:
        msg = f"a row has {str(value)[:40]!r} as {column.name}, which cannot be"
        raise HandoverError(msg)


def _is_text(value: str) -> bool:
    return "\0" not in value and not any("\ud800" <= letter <= "\udfff" for letter in value)
