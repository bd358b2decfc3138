"""The form of what is agreed for home, on whichever screen it stands."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from starlette.datastructures import FormData

from battery.desk.frame import chosen
from battery.errors import UsageError
from battery.home_plan import EXERCISES, Dose
from battery.store import HomePlanEntry

MAX_NUMBER = 10_000
FIELDS = ("agreed", "hand", "minutes", "times", "days", "target", "weight", "at")
OF_COLUMNS = {
    "hand": "hand", "minutes": "minutes", "times_a_day": "times", "weekdays": "day",
    "target": "target", "weight_g": "weight", "at_times": "at",
}  # fmt: skip


def doses_said(form: FormData) -> list[Dose]:
    """Return the exercises that are ticked, each as it was agreed.

    Raises
    ------
    UsageError
        If a number is none, or something was not said.
    """
    doses = []
    for name in EXERCISES:
        if chosen(form, f"{name}-agreed") != "yes":
            continue
        for field, asked in (
            ("hand", "choose with which arm; nothing was stored"),
            ("target", "choose where the target is; nothing was stored"),
            ("day", "tick the days; nothing was stored"),
        ):
            if not chosen(form, f"{name}-{field}"):
                raise UsageError(asked, field=f"{name}-{field}")
        days = [int(str(day)) for day in form.getlist(f"{name}-day") if str(day) in "1234567"]
        times = chosen(form, f"{name}-at").replace(",", " ").split()
        doses.append(
            Dose(
                name,
                chosen(form, f"{name}-hand"),
                number_said(form, f"{name}-minutes"),
                int(number_said(form, f"{name}-times")),
                tuple(days),
                chosen(form, f"{name}-target"),
                int(number_said(form, f"{name}-weight")),
                tuple(f"0{time}"[-5:] for time in times),
            )
        )
    return doses


@contextmanager
def at_its_field() -> Iterator[None]:
    """Let an error about a column of a home plan concern the field it was typed into."""
    try:
        yield
    except UsageError as error:
        exercise, _, column = error.field.partition(".")
        if column in OF_COLUMNS:
            error.field = f"{exercise}-{OF_COLUMNS[column]}"
        raise


def agreed_fields(entries: Iterable[HomePlanEntry] = ()) -> dict[str, dict[str, str]]:
    """Return what the fields hold at first: what is agreed now; empty where nothing is."""
    found: dict[str, dict[str, str]] = {name: dict.fromkeys(FIELDS, "") for name in EXERCISES}
    for entry in entries:
        found[entry.exercise] = {
            "agreed": "yes",
            "hand": entry.hand or "",
            "minutes": f"{entry.minutes:g}",
            "times": str(entry.times_a_day),
            "days": entry.weekdays,
            "target": entry.target or "",
            "weight": str(entry.weight_g),
            "at": entry.at_times,
        }
    return found


def number_said(form: FormData, name: str) -> float:
    """Return the number in a field.

    Raises
    ------
    UsageError
        If it is none, or far too large.
    """
    told = chosen(form, name).replace(",", ".")
    if not told:
        msg = "fill in a number; nothing was stored"
        raise UsageError(msg, field=name)
    try:
        number = float(told)
    except ValueError:
        number = math.nan
    if not abs(number) <= MAX_NUMBER:  # nor what is no number at all
        msg = f"{told[:40]!r} is not a number up to {MAX_NUMBER}; nothing was stored"
        raise UsageError(msg, field=name)
    return number
