"""Gathers everything that one person's page, or the list of people, is made from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import TypeVar

from battery.alarms import Watch
from battery.home_plan import Planned, held_home_plan, planned_steps
from battery.loop_delay import held_checks
from battery.report.around import (
    diary_days,
    goal_rows,
    held_restart,
    home_exercise_rows,
    latest_state,
    outside_sems,
    restart_visit,
)
from battery.report.combined import by_measure
from battery.report.known import Known
from battery.report.page_rows import HomeExerciseRow, MarkerRow, PageRows
from battery.report.points import rule_of
from battery.report.pool_reading import read_pools
from battery.report.pooling import Pools, Readings, shares_of
from battery.report.readings import Everything, readings_of
from battery.report.visit_rows import local, visit_row
from battery.store import (
    HomeExercise,
    HomePlanEntry,
    PersonState,
    Restart,
    Store,
    VisitRecord,
)

Said = TypeVar("Said", Restart, PersonState)


def gather(store: Store, code: str, pools: Pools | None = None) -> PageRows:
    """Read a person's rows, and nobody else's.

    Parameters
    ----------
    pools : Pools, optional
        What everybody brings, by `read_pools`, if it was read already from the store as it is.

    Raises
    ------
    UsageError
        If nobody has the code.
    """
    person = store.people.get(code)
    with store.at_one_moment():
        everything = Everything.read_person(store, person)
        pools = pools or read_pools(store)
        markers = store.annotations.markers(code)
        restarts = store.annotations.restarts(code)
        entered = store.annotations.outside_errors()
        diary = store.care.home_exercises(code)
        agreed = store.care.home_plans(code)
        planned = planned_steps(store.care.prescriptions(code), agreed)
        gone = {row.target_id for row in store.annotations.taken_back(code)}
        goals = goal_rows(store.care.goals(code), store.care.goal_levels(), gone)
        watch = Watch.read(store, code)
        states = store.care.states(code)
        loops = store.setup.loop_checks()
    own = everything.visits[code]
    everything.look_for_damage(store, own)
    numbers = {v.header.visit_id: n for n, v in enumerate(own, start=1)}
    readings = readings_of(everything, own)
    readings_sorted = by_measure(readings, rule_of(person), restart_visit(restarts, numbers))
    return PageRows(
        person=person,
        visits=tuple(
            visit_row(everything, visit, number) for number, visit in enumerate(own, start=1)
        ),
        readings=tuple(readings),
        markers=tuple(
            MarkerRow(local(m.at_utc, _offset_at(own, m.at_utc)), m.kind, m.note)
            for m in markers
            if m.marker_id not in gone
        ),
        home_exercise=_home_exercise(planned, diary, own),
        home_plan=_home_plan(agreed, own),
        head_turns=tuple(e for e in diary if e.exercise == "head_turns" and _says(e)),
        goals=goals,
        pools=pools.of(person, own[-1].header.plan_hash, shares_of(person, readings_sorted))
        if own
        else {},
        restart_visit=restart_visit(restarts, numbers),
        outside=outside_sems(entered),
        restart=held_restart(restarts, numbers),
        alarms=watch.alarms(code, own, everything.flagging.answers),
        state=latest_state(states),
        asked=tuple({c.item: c for c in watch.contraindications.get(code, ())}.values()),
        loops=held_checks(
            [c for c in loops if own and c.device == own[-1].header.device.alias]
        ),
    )


def gather_primaries(
    store: Store, known: Known | None = None, *, headlines_only: bool = False
) -> list[tuple[PageRows, Readings]]:
    """Read everybody's rows of the main measures, in order of enrolment, and sort the readings.

    Enough to judge the main lines of each hand; of visits what was said around them is left
    out.

    Parameters
    ----------
    known : Known, optional
        What was read before; of whose visits nothing changed nothing is read again.
    headlines_only : bool
        Pool nothing but what headlines are about.
    """
    known = Known() if known is None else known
    with store.at_one_moment():
        people = known.people(store)
        restarts = _by_person(store.annotations.restarts())
        entered = outside_sems(store.annotations.outside_errors())
        watch = Watch.read(store)
        states = _by_person(store.care.states())
    if headlines_only:
        pools, shares = known.pools_of_headlines(people)
    else:
        shares = {c: shares_of(own.person, own.readings) for c, own in people.items()}
        pools = Pools({c: (own.plan, shares[c]) for c, own in people.items() if own.visits})
    gathered: list[tuple[PageRows, Readings]] = []
    for code, theirs in people.items():
        restart = restart_visit(restarts.get(code, ()), theirs.numbers)
        rows = PageRows(
            person=theirs.person,
            visits=theirs.visits,
            readings=theirs.listed,
            pools=pools.of(theirs.person, theirs.plan, shares[code]) if theirs.visits else {},
            restart_visit=restart,
            outside=entered,
            alarms=watch.together(code, theirs.alarms, theirs.offset_min),
            state=latest_state(states.get(code, ())),
        )
        anew = restart is not None  # the pools know no new baseline, the person does
        rule = rule_of(theirs.person)
        told = by_measure(theirs.listed, rule, restart) if anew else theirs.readings
        gathered.append((rows, told))
    return gathered


def _by_person(rows: Iterable[Said]) -> dict[str, list[Said]]:
    found: dict[str, list[Said]] = {}
    for row in rows:
        found.setdefault(row.person, []).append(row)
    return found


def _home_exercise(
    planned: Sequence[Planned],
    diary: Sequence[HomeExercise],
    visits: Sequence[VisitRecord],
) -> tuple[HomeExerciseRow, ...]:
    if not visits:
        return ()
    days = [local(v.header.started_utc, v.header.utc_offset_min).date() for v in visits]
    told, seen, rest = diary_days(diary)
    return home_exercise_rows(planned, told, seen, first=min(days), last=max(days), rest=rest)


def _home_plan(
    agreed: Sequence[HomePlanEntry], visits: Sequence[VisitRecord]
) -> tuple[HomePlanEntry, ...]:
    """Return what was agreed at the latest visit; before the first what was said last."""
    days = [local(v.header.started_utc, v.header.utc_offset_min).date() for v in visits]
    return tuple(held_home_plan(agreed, max(days, default=date.max)))


def _says(entry: HomeExercise) -> bool:
    said = (entry.symptoms_before, entry.symptoms, entry.clear_beats_per_min)
    return any(value is not None for value in said)


def _offset_at(visits: Sequence[VisitRecord], at_utc: str) -> int:
    """Offset of the visit nearest in time: markers are kept in UTC only."""
    at = datetime.fromisoformat(at_utc)
    if not visits:
        return 0
    nearest = min(visits, key=lambda v: abs(datetime.fromisoformat(v.header.started_utc) - at))
    return nearest.header.utc_offset_min
