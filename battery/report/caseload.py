"""The list of people: alarms first, then who is due, flagged, and whose pages say something."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from battery.due import Due, due_after
from battery.errors import BatteryError
from battery.report.alarming import alarm_lines
from battery.report.gather import gather_primaries
from battery.report.judged import Page, page_data
from battery.report.words import short_words
from battery.scoring.flags import FLAGS
from battery.store import Store
from battery.store.base import UNREADABLE

STATES = ("alarm", "due", "overdue", "flagged", "possible", "beyond", "paused", "discharged")


@dataclass(frozen=True, slots=True)
class CaseloadRow:
    """One line of the list.

    Parameters
    ----------
    days_ago : float
        Since the latest visit; infinite before the first.
    hands : tuple of str
        The headline of each hand in a few words.
    flags : tuple of str
        What the latest visit raised, and why blocks of it do not count.
    states : frozenset of str
        Of `STATES`: what the row may be looked up by.
    alarms : tuple of str
        What nobody has acknowledged yet, one a visit or event, the newest first.
    """

    code: str
    n_visits: int
    last_visit: datetime | None
    days_ago: float
    due: Due
    hands: tuple[str, ...]
    flags: tuple[str, ...]
    states: frozenset[str]
    alarms: tuple[str, ...] = ()


def caseload(store: Store, *, now: datetime) -> list[CaseloadRow]:
    """List everybody: those with an alarm first, then those who wait longest.

    A visit is due after a week, give or take two days, and overdue after that; one in which
    nothing was measured does not count. Who is paused or discharged is not due and stands
    last, unless there is an alarm.
    """
    return listed(judged_people(store, now=now), now=now)


def judged_people(store: Store, *, now: datetime) -> list[Page]:
    """Judge everybody by the main measures; who cannot be judged is noted and left out.

    What comes out depends on the store alone, but for the moment written on it, so it may be
    kept until the store changes.
    """
    pages = []
    for person, readings in gather_primaries(store):
        try:
            page = page_data(person, made=now, headlines_only=True, readings=readings)
            _row(page, now=now)  # what cannot be listed is left out here
        except (BatteryError, *UNREADABLE) as error:
            why = f"not in the list, the records cannot be judged: {error}"
            store.left_out(f"person {person.person.code}", why)
        else:
            pages.append(page)
    return pages


def listed(pages: Sequence[Page], *, now: datetime) -> list[CaseloadRow]:
    """Return the list of judged people as it stands at a moment, in its order."""
    return sorted((_row(page, now=now) for page in pages), key=_place)


def _place(row: CaseloadRow) -> tuple[bool, bool, float]:
    return (not row.alarms, row.due in ("paused", "discharged"), -row.days_ago)


def _row(page: Page, *, now: datetime) -> CaseloadRow:
    visits = page.rows.visits
    measured = {r.visit for r in page.rows.readings if not math.isnan(r.value)}
    last = max((v.when for v in visits if v.number in measured), default=None)
    days_ago = (now - last).total_seconds() / 86_400 if last else float("inf")
    due = due_after(days_ago if last else None, visits=bool(visits), state=page.rows.state)
    lines = [line for hand in page.hands if (line := page.headline(hand))]
    words = {line.verdict.word for line in lines}
    flags = _flags(page)
    alarms = alarm_lines(page.rows.open_alarms)
    states = {
        "alarm": bool(alarms),
        "paused": due == "paused",
        "discharged": due == "discharged",
        "due": due in ("due", "no visit yet"),
        "overdue": due == "overdue",
        "flagged": bool(flags),
        "possible": "possible, repeat" in words,
        "beyond": "beyond error" in words,
    }
    return CaseloadRow(
        code=page.rows.person.code,
        n_visits=len(visits),
        last_visit=last,
        days_ago=days_ago,
        due=due,
        hands=tuple(f"{line.hand}: {short_words(line.verdict)}" for line in lines),
        flags=flags,
        states=frozenset(name for name, holds in states.items() if holds),
        alarms=alarms,
    )


def _flags(page: Page) -> tuple[str, ...]:
    """Collect what the latest visit raised, each once."""
    numbers = [v.number for v in page.rows.visits]
    if not numbers:
        return ()
    latest = [r for r in page.rows.readings if r.visit == max(numbers)]
    said: list[str] = []
    for reading in latest:
        odd = [flag for flag in reading.flags if FLAGS[flag].effect != "shown"]
        said += [flag.replace("_", " ") for flag in odd]
        if reading.aside and not odd:
            said.append(reading.aside)
    return tuple(dict.fromkeys(said))


def chosen(rows: Sequence[CaseloadRow], state: str | None) -> list[CaseloadRow]:
    """Return the rows of one state, or all without one."""
    return [row for row in rows if state is None or state in row.states]
