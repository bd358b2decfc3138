"""Today: who needs looking at, alarms first, under headings that say why."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from operator import attrgetter

from starlette.requests import Request
from starlette.responses import Response

from battery.copies import copy_is_due, days_since_copy
from battery.desk.frame import Office, office, page, shows
from battery.desk.seen import news_since, seen_by
from battery.drives import drives
from battery.handover import waiting_alarms, waiting_lines
from battery.handover.sending import BUNDLE
from battery.people import person_label
from battery.report.caseload import STATES, JudgedPerson, chosen, judged_people, listed


def show(request: Request) -> Response:
    """List everybody, those first who need somebody."""
    here = office(request)
    state = request.query_params.get("state", "")
    people, n_waiting, waiting, unreadable = everybody(here)
    shown = chosen(listed(people, now=here.wall()), state if state in STATES else None)
    names = here.names()
    label = {p.person.code: person_label(p.person, names) for p in people}
    asked = request.query_params.get("code", "").strip().casefold()
    rows = [row for row in shown if asked in label[row.code].casefold()]
    groups = [(place, list(theirs)) for place, theirs in groupby(rows, attrgetter("place"))]
    with here.store() as store:
        seen = seen_by(store, here.session.author)
        copy_due = copy_is_due(store, here.wall())
        copy_days = days_since_copy(store, here.wall())
    return page(
        request,
        "today.html.j2",
        groups=groups,
        n_people=len(people),
        news={row.code: news_since(seen, row.code, row.last_visit) for row in rows},
        copy_due=copy_due,
        copy_days=copy_days,
        states=STATES,
        state=state,
        code=request.query_params.get("code", "").strip(),
        label=label,
        in_few=in_few,
        with_names=bool(names),
        n_waiting=n_waiting,
        waiting=waiting,
        unreadable=unreadable,
        n_on_drives=sum(drive.n_bundles for drive in drives(BUNDLE)),
    )


def in_few(hands: Sequence[str]) -> Sequence[str]:
    """Return what is said of each hand, in one line where it is the same of both.

    Examples
    --------
    >>> in_few(["left: no verdict yet", "right: no verdict yet"])
    ['both hands: no verdict yet']
    >>> in_few(["left: worse, beyond error", "right: no verdict yet"])
    ['left: worse, beyond error', 'right: no verdict yet']
    """
    told = {line.partition(": ")[2] for line in hands}
    return [f"both hands: {words}" for words in told] if len(hands) > len(told) == 1 else hands


def everybody(here: Office) -> tuple[list[JudgedPerson], int, list[str], list[str]]:
    """Return everybody judged, what waits, its alarms, and what could not be read."""

    def judged() -> tuple[list[JudgedPerson], int, list[str], list[str]]:
        with here.store() as store:
            people = judged_people(store, here.already_read(store))
            waiting = waiting_lines(waiting_alarms(store))
            return people, len(store.transfer.quarantine()), waiting, store.unreadable()

    return here.remembered.get("today", judged)


ROUTES = [shows("/", show)]
