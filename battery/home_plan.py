"""What was agreed for home: versions, what holds on a day, and when a reminder is due.

The therapist sets everything; there is no dose to begin with and none is advised.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from battery.errors import UsageError
from battery.store import HomePlanEntry, Prescription, Store

EXERCISES = ("tapping", "slide", "pursuit", "trail")
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
REMIND_WITHIN = timedelta(minutes=30)


@dataclass(frozen=True, slots=True)
class Dose:
    """What is agreed of one exercise; nothing has a value by itself."""

    exercise: str
    hand: str
    minutes: float
    times_a_day: int
    weekdays: tuple[int, ...]
    target: str
    weight_g: int
    at_times: tuple[str, ...] = ()


def set_home_plan(
    store: Store,
    code: str,
    doses: Iterable[Dose],
    *,
    from_date: date,
    author: str,
    at_utc: str,
) -> list[HomePlanEntry]:
    """Keep a whole home plan, in place of the one before; without a dose nothing is agreed.

    Raises
    ------
    UsageError
        If a dose cannot be, an exercise stands there twice, or the author is empty.
    """
    store.people.get(code)
    entries = home_plan_entries(code, doses, from_date=from_date, author=author, at_utc=at_utc)
    store.care.set_home_plan(entries)
    return entries


def home_plan_entries(
    code: str, doses: Iterable[Dose], *, from_date: date, author: str, at_utc: str
) -> list[HomePlanEntry]:
    """Return the entries of a whole home plan, which `Care.check_home_plan` holds to its form.

    Raises
    ------
    UsageError
        If an exercise is none or stands there twice.
    """
    doses = list(doses)
    names = [dose.exercise for dose in doses]
    odd = [name for name in names if name not in EXERCISES or names.count(name) > 1]
    if odd:
        msg = f"exercise {odd[0]!r}: say each of {', '.join(EXERCISES)} once at most"
        raise UsageError(msg)
    version_id = str(uuid.uuid4())

    def entry(**more: Any) -> HomePlanEntry:
        return HomePlanEntry(
            entry_id=str(uuid.uuid4()),
            person=code,
            version_id=version_id,
            from_date=from_date.isoformat(),
            author=author,
            at_utc=at_utc,
            **more,
        )

    return [
        entry(
            exercise=dose.exercise,
            hand=dose.hand,
            minutes=dose.minutes,
            times_a_day=dose.times_a_day,
            weekdays=" ".join(str(day) for day in sorted(set(dose.weekdays))),
            target=dose.target,
            weight_g=dose.weight_g,
            at_times=" ".join(sorted(set(dose.at_times))),
        )
        for dose in doses
    ] or [
        entry(
            exercise="none", hand=None, minutes=None, times_a_day=None, weekdays="",
            target=None, weight_g=None, at_times="",
        )
    ]  # fmt: skip


def held_home_plan(entries: Sequence[HomePlanEntry], day: date) -> list[HomePlanEntry]:
    """Return what is agreed on a day, in the order of the exercises; empty if nothing is.

    The version that begins last by then holds, of several that begin together the one that
    was said last.
    """
    begun = [entry for entry in entries if entry.from_date <= day.isoformat()]
    if not begun:
        return []
    latest = max(begun, key=lambda entry: (entry.from_date, entry.at_utc)).version_id
    held = {entry.exercise: entry for entry in begun if entry.version_id == latest}
    return [held[name] for name in EXERCISES if name in held]


@dataclass(frozen=True, slots=True)
class Planned:
    """How often home exercise is planned, from a day on.

    Parameters
    ----------
    from_date : str
        ISO 8601.
    per_week : float
        Times a week; 0 is a pause.
    """

    from_date: str
    per_week: float


def planned_steps(
    earlier: Sequence[Prescription], agreed: Sequence[HomePlanEntry]
) -> list[Planned]:
    """Return how often home exercise was planned, in order of the day each step holds from.

    Home plans say it from the first of them on. What was said as times a week before there
    were any holds until then.

    Parameters
    ----------
    earlier : sequence of Prescription
    agreed : sequence of HomePlanEntry
        Of one person.
    """
    versions: dict[tuple[str, str], list[HomePlanEntry]] = {}
    for entry in sorted(agreed, key=lambda e: (e.from_date, e.at_utc)):
        versions.setdefault((entry.from_date, entry.version_id), []).append(entry)
    steps = [Planned(day, times_a_week(entries)) for (day, _), entries in versions.items()]
    before = [
        Planned(p.from_date, p.per_week)
        for p in earlier
        if not steps or p.from_date < steps[0].from_date
    ]
    return [*before, *steps]


def times_a_week(entries: Sequence[HomePlanEntry]) -> float:
    """Count the times in a week at which anything of one home plan is agreed.

    Exercises of one day are done one after another, so the most of them counts.
    """
    most = dict.fromkeys("1234567", 0)
    for entry in entries:
        for day in entry.weekdays.split():
            most[day] = max(most[day], entry.times_a_day or 0)
    return float(sum(most.values()))


def dose_of(entry: HomePlanEntry) -> Dose:
    """Return what an entry says as it was set."""
    return Dose(
        entry.exercise,
        entry.hand or "both",
        entry.minutes or 0.0,
        entry.times_a_day or 0,
        tuple(int(day) for day in entry.weekdays.split()),
        entry.target or "near",
        entry.weight_g or 0,
        tuple(entry.at_times.split()),
    )


def reminder_due(entries: Sequence[HomePlanEntry], now: datetime) -> str:
    """Return the agreed time that has just come, as 09:00; empty if none has.

    Parameters
    ----------
    entries : sequence of HomePlanEntry
        Of one person.
    now : datetime
        On the clock of the place.
    """
    due = [
        told
        for entry in held_home_plan(entries, now.date())
        if str(now.isoweekday()) in entry.weekdays.split()
        for told in entry.at_times.split()
        if timedelta() <= now - _at(now, told) < REMIND_WITHIN
    ]
    return max(due, default="")


def _at(now: datetime, told: str) -> datetime:
    return datetime.combine(now.date(), time.fromisoformat(told), tzinfo=now.tzinfo)


def dose_words(entry: HomePlanEntry, names: Mapping[str, str] | None = None) -> str:
    """Say in one line what is agreed of one exercise."""
    if entry.exercise == "none":
        return "nothing is agreed any more"
    hands = {"both": "each arm", "left": "the left arm", "right": "the right arm"}
    days = [WEEKDAYS[int(day) - 1].capitalize() for day in entry.weekdays.split()]
    often = "once" if entry.times_a_day == 1 else f"{entry.times_a_day} times"
    when = "every day" if len(days) == len(WEEKDAYS) else ", ".join(days)
    where = {"near": "target near", "wall": "target on the wall"}
    weight = f"{entry.weight_g} g at the wrist" if entry.weight_g else "no weight"
    told = f"; reminder at {', '.join(entry.at_times.split())}" if entry.at_times else ""
    name = (names or {}).get(entry.exercise, entry.exercise)
    return (
        f"{name}: {entry.minutes:g} min with {hands[entry.hand or 'both']}, "
        f"{often} a day, {when}, {where[entry.target or 'near']}, "
        f"{weight}{told}"
    )


def day_numbers(told: str) -> tuple[int, ...]:
    """Return days of the week that were typed, as mon,wed or all.

    Raises
    ------
    UsageError
        If one is none.
    """
    words = told.lower().replace(",", " ").split()
    if words == ["all"]:
        return tuple(range(1, 8))
    odd = [word for word in words if word not in WEEKDAYS]
    if odd or not words:
        msg = f"{told!r} are not days: say all, or some of {', '.join(WEEKDAYS)}"
        raise UsageError(msg)
    return tuple(1 + WEEKDAYS.index(word) for word in words)
