"""When the next visit of a person is due: the one rule of the list and of the tablet."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from battery.store import Person, PersonState, Store

WEEK_DAYS = 7
TOLERANCE_DAYS = 2
GO_ON_WITHIN = timedelta(hours=12)  # as long a visit that was cut off may be continued
Due = Literal["no visit yet", "overdue", "due", "not due yet", "paused", "discharged"]


def due_after(days_ago: float | None, *, visits: bool, state: PersonState | None) -> Due:
    """Say whether a visit is due after a week, give or take two days.

    Parameters
    ----------
    days_ago : float or None
        Since the last visit in which something was measured, days; None before the first.
    visits : bool
        Whether there was any visit at all.
    state : PersonState or None
        The latest word on whether the person is due at all; None is active.
    """
    if state is not None and state.state != "active":
        return "paused" if state.state == "paused" else "discharged"
    if days_ago is None:
        return "due" if visits else "no visit yet"
    if days_ago > WEEK_DAYS + TOLERANCE_DAYS:
        return "overdue"
    return "due" if days_ago >= WEEK_DAYS - TOLERANCE_DAYS else "not due yet"


def next_visit(store: Store, person: Person, now: datetime) -> date | None:
    """Return the day from which the next visit may be done; None for one who has no due day.

    Today if it is due, or if the last one was broken off a few hours ago and may be gone on
    with. A visit in which no test was done to its end does not count.

    Parameters
    ----------
    now : datetime
        With its zone.
    """
    said = store.care.states(person.code)
    visits = sorted(store.visits.all(person.code), key=lambda v: v.header.started_utc)
    measured = [v for v in visits if _tested(store, v.header.visit_id)]
    last = datetime.fromisoformat(measured[-1].header.started_utc) if measured else None
    days_ago = None if last is None else (now - last) / timedelta(days=1)
    due = due_after(days_ago, visits=bool(visits), state=said[-1] if said else None)
    if due in ("paused", "discharged"):
        return None
    if due != "not due yet" or last is None:
        return now.date()
    latest = visits[-1]
    age = now - datetime.fromisoformat(latest.header.started_utc)
    if latest.ending != "finished" and timedelta() <= age < GO_ON_WITHIN:
        return now.date()
    first = last.astimezone(now.tzinfo) + timedelta(days=WEEK_DAYS - TOLERANCE_DAYS)
    return max(first.date(), now.date())


def _tested(store: Store, visit_id: str) -> bool:
    return any(
        record.header.phase == "test" and record.ending == "finished"
        for record in store.records.of_visit(visit_id)
    )
