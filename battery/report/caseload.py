"""The list of people: those first who need somebody, each with why they stand where they do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from battery.due import Due, due_after
from battery.errors import BatteryError
from battery.report.alarming import alarm_lines
from battery.report.gather import gather_primaries
from battery.report.judged import page_data
from battery.report.known import Known
from battery.report.page_rows import PageRows
from battery.report.pooling import Readings
from battery.report.words import short_words
from battery.scoring.flags import FLAGS
from battery.store import Person, PersonState, Store
from battery.store.base import UNREADABLE

NO_TIME = datetime.min.replace(tzinfo=UTC)  # a headline does not hang on when it is judged
STATES = ("alarm", "flagged", "beyond", "possible", "overdue", "due", "paused", "discharged")
AWAY = ("paused", "discharged")
PLACES = (*(state for state in STATES if state not in AWAY), "not due yet", *AWAY)


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

    @property
    def place(self) -> str:
        """Why the row stands where it does in the list: one of `PLACES`, in their order."""
        if self.due in AWAY and not self.alarms:
            return self.due
        return next((state for state in PLACES if state in self.states), "not due yet")


def caseload(store: Store, *, now: datetime) -> list[CaseloadRow]:
    """List everybody: those first who need somebody, and among them who waits longest.

    First come alarms, then whose latest visit is flagged, who changed beyond error, who
    possibly changed, who is overdue, who is due or had no visit yet, and the rest. Who is
    paused or discharged stands last, flagged or changed or not, unless there is an alarm.

    A visit is due after a week, give or take two days, and overdue after that; one in which
    nothing was measured does not count. Among those without a measured visit the first
    enrolled comes first.
    """
    return listed(judged_people(store), now=now)


@dataclass(frozen=True, slots=True)
class JudgedPerson:
    """What a list says of somebody at any moment while the store is as it is.

    Parameters
    ----------
    last_visit : datetime or None
        In which something was measured.
    hands, flags : tuple of str
        As in `CaseloadRow`.
    words : frozenset of str
        The words of the headlines' verdicts.
    """

    person: Person
    n_visits: int
    last_visit: datetime | None
    hands: tuple[str, ...]
    flags: tuple[str, ...]
    words: frozenset[str]
    state: PersonState | None = None
    alarms: tuple[str, ...] = ()


def judged_people(store: Store, known: Known | None = None) -> list[JudgedPerson]:
    """Judge everybody by the main measures; who cannot be judged is noted and left out.

    What comes out depends on the store alone, so it may be kept until the store changes.

    Parameters
    ----------
    known : Known, optional
        What was read and judged before; nobody is judged again of whom, and of whose pools,
        nothing changed.
    """
    known = Known() if known is None else known
    found = []
    with known.lock:
        for rows, readings in gather_primaries(store, known, headlines_only=True):
            try:
                judged = _judged(rows, readings, known)
                alarms = alarm_lines(rows.open_alarms)
            except (BatteryError, *UNREADABLE) as error:
                why = f"not in the list, the records cannot be judged: {error}"
                store.left_out(f"person {rows.person.code}", why)
            else:
                found.append(replace(judged, state=rows.state, alarms=alarms))
    return found


def _judged(rows: PageRows, readings: Readings, known: Known) -> JudgedPerson:
    """Judge somebody, if not done already from the very same."""
    code = rows.person.code
    held = known.judged.get(code)
    if held is not None and _alike(held[0], rows):
        kept: JudgedPerson = held[1]
        return kept
    page = page_data(rows, made=NO_TIME, headlines_only=True, readings=readings)
    measured = {r.visit for r in rows.readings if not math.isnan(r.value)}
    lines = [line for hand in page.hands if (line := page.headline(hand))]
    judged = JudgedPerson(
        rows.person,
        len(rows.visits),
        max((v.when for v in rows.visits if v.number in measured), default=None),
        tuple(f"{line.hand}: {short_words(line.verdict)}" for line in lines),
        _flags(rows),
        frozenset(line.verdict.word for line in lines),
    )
    known.judged[code] = rows, judged
    return judged


def _alike(before: PageRows, rows: PageRows) -> bool:
    """Whether a headline stands on the same; readings that were kept are the same objects."""
    return (
        before.visits is rows.visits
        and before.readings is rows.readings
        and before.person == rows.person
        and before.restart_visit == rows.restart_visit
        and before.outside == rows.outside
        and before.pools == rows.pools
    )


def listed(people: Sequence[JudgedPerson], *, now: datetime) -> list[CaseloadRow]:
    """Return the list of judged people as it stands at a moment, in its order.

    Parameters
    ----------
    people : sequence of JudgedPerson
        In order of enrolment.
    now : datetime
        With its zone.
    """
    return sorted(
        (_row(person, now=now) for person in people),
        key=lambda row: (PLACES.index(row.place), -row.days_ago),
    )


def _row(judged: JudgedPerson, *, now: datetime) -> CaseloadRow:
    last = judged.last_visit
    days_ago = (now - last).total_seconds() / 86_400 if last else float("inf")
    due = due_after(days_ago if last else None, visits=judged.n_visits > 0, state=judged.state)
    states = {
        "alarm": bool(judged.alarms),
        "paused": due == "paused",
        "discharged": due == "discharged",
        "due": due in ("due", "no visit yet"),
        "overdue": due == "overdue",
        "flagged": bool(judged.flags),
        "possible": "possible, repeat" in judged.words,
        "beyond": "beyond error" in judged.words,
    }
    return CaseloadRow(
        code=judged.person.code,
        n_visits=judged.n_visits,
        last_visit=last,
        days_ago=days_ago,
        due=due,
        hands=judged.hands,
        flags=judged.flags,
        states=frozenset(name for name, holds in states.items() if holds),
        alarms=judged.alarms,
    )


def _flags(rows: PageRows) -> tuple[str, ...]:
    """Collect what the latest visit raised, each once."""
    numbers = [v.number for v in rows.visits]
    if not numbers:
        return ()
    latest = [r for r in rows.readings if r.visit == max(numbers)]
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
