"""Whether the rows beside an arrival have the form of the tables they are to go into."""

from __future__ import annotations

from typing import Any, NoReturn

from sqlalchemy import Column, DefaultClause, Table

from battery.errors import HandoverError, NewerFormatError
from battery.store.arrival import Arrival
from battery.store.reach import tables_beside

MAX_TEXT = 100_000


def hold_to_form(arrival: Arrival) -> None:
    """Refuse rows that no table here can hold; complete those of an earlier program.

    A column that came later than the bundle has its default; one that this program does not
    know is left away where it is empty in every row, since then it says nothing.

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
            if name not in known and rows:
                wait_for_update(f"rows of {name[:40]!r}")
            for row in rows:
                complete(known[name], row)
                for column in known[name].columns:
                    _can_be(column, row[column.name])


def complete(table: Table, row: dict[str, Any]) -> None:
    """Give a row of an earlier program the columns it lacks, and take away empty later ones.

    Raises
    ------
    NewerFormatError
        If a column that this program does not know says something.
    """
    for name in sorted(set(row) - set(table.columns.keys())):
        if row.pop(name) is not None:
            wait_for_update(f"{name[:40]!r} in a row of {table.name!r}")
    for column in table.columns:
        if column.name not in row:
            row[column.name] = _default(column)


def _default(column: Column[Any]) -> Any:
    """Return what a row of an earlier program has in a column that came later."""
    if isinstance(column.server_default, DefaultClause):
        text = str(column.server_default.arg)
        return column.type.python_type(text.strip("'"))
    return None


def wait_for_update(told: str) -> NoReturn:
    """Refuse what a later program made, and say whose program to update and that all is kept.

    Raises
    ------
    NewerFormatError
        Always.
    """
    msg = (
        f"a later program on the tablet made it: it has {told}, which is not known here. "
        "Nothing is lost: the file stays here and the visit on the tablet. Update the program "
        "of this clinic, then receive again"
    )
    raise NewerFormatError(msg)


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
        fits = isinstance(value, str) and len(value) <= MAX_TEXT and _is_text(value)
    if not fits:
        msg = f"{column.name} must be of its column's kind, not {str(value)[:40]!r}"
        raise HandoverError(msg)


def _is_text(value: str) -> bool:
    return "\0" not in value and not any("\ud800" <= letter <= "\udfff" for letter in value)
