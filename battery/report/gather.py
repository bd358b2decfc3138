"""Gathers everything that one person's page, or the list of people, is made from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta, timezone
from typing import TypeVar

from battery.alarms import Watch
from battery.answers import SYMPTOMS, latest, rises
from battery.home_plan import held_home_plan
from battery.loop_delay import held_checks
from battery.recording import Device
from battery.report.around import (
    diary_days,
    goal_rows,
    held_restart,
    home_exercise_rows,
    latest_state,
    outside_sems,
    restart_visit,
)
from battery.report.lines import (
    by_measure,
    rule_of,
)
from battery.report.page_rows import HomeExerciseRow, MarkerRow, PageRows, VisitRow
from battery.report.pooling import (
    Pools,
    Readings,
    pools_of_primaries,
    read_pools,
    shares_of,
)
from battery.report.readings import Everything, readings_of, readings_or_none
from battery.scoring import PRIMARY
from battery.scoring.flags import decisive_measures, flag_measures
from battery.store import (
    HomeExercise,
    HomePlanEntry,
    Person,
    PersonState,
    Prescription,
    Restart,
    Store,
    VisitRecord,
)

Said = TypeVar("Said", Restart, PersonState)
SCALES = {
    "card": "measured with a card",
    "ruler": "measured with a ruler",
    "guess": "size not measured",
    "virtual": "simulated",
}


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
        planned = store.care.prescriptions(code)
        diary = store.care.home_exercises(code)
        agreed = store.care.home_plans(code)
        gone = {row.target_id for row in store.annotations.taken_back(code)}
        goals = goal_rows(store.care.goals(code), store.care.goal_levels(), gone)
        watch = Watch.read(store, code)
        states = store.care.states(code)
        loops = store.setup.loop_checks()
    own = everything.visits[code]
    everything.look_for_damage(store, own)
    readings = readings_of(everything, own)
    readings_sorted = by_measure(readings, rule_of(person), restart_visit(restarts, own))
    return PageRows(
        person=person,
        visits=tuple(
            _visit_row(everything, visit, number) for number, visit in enumerate(own, start=1)
        ),
        readings=tuple(readings),
        markers=tuple(
            MarkerRow(_local(m.at_utc, _offset_at(own, m.at_utc)), m.kind, m.note)
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
        restart_visit=restart_visit(restarts, own),
        outside=outside_sems(entered),
        restart=held_restart(restarts, own),
        alarms=watch.alarms(code, own, everything.flagging.answers),
        state=latest_state(states),
        asked=tuple({c.item: c for c in watch.contraindications.get(code, ())}.values()),
        loops=held_checks(
            [c for c in loops if own and c.device == own[-1].header.device.alias]
        ),
    )


def gather_primaries(store: Store) -> list[tuple[PageRows, Readings]]:
    """Read everybody's rows of the main measures, in order of enrolment, and sort the readings.

    Enough to judge the headline of each hand. The records are read once, so that a list of
    many people costs little more than one page.
    """
    primaries = {measure.name for measure in PRIMARY.values()}
    decisive = [name for task in PRIMARY for name in decisive_measures(task)]
    with store.at_one_moment():
        everything = Everything.read(store, measures=decisive)
        _read_flags_of_latest(store, everything)
        restarts = store.annotations.restarts()
        entered = outside_sems(store.annotations.outside_errors())
        watch = Watch.read(store)
        states = store.care.states()
    visits = everything.visits
    listed = {
        code: [r for r in readings_or_none(everything, code, theirs) if r.measure in primaries]
        for code, theirs in visits.items()
    }
    readings = {
        code: by_measure(theirs, rule_of(everything.people[code]))
        for code, theirs in listed.items()
    }
    pools, shares = pools_of_primaries(everything.people, visits, readings)
    restarted = _by_person(restarts)
    stated = _by_person(states)
    gathered: list[tuple[PageRows, Readings]] = []
    for code, person in everything.people.items():
        own = visits[code]
        restart = restart_visit(restarted.get(code, ()), own)
        rows = PageRows(
            person=person,
            visits=tuple(_visit_row(everything, v, n) for n, v in enumerate(own, start=1)),
            readings=tuple(listed[code]),
            pools=pools.of(person, own[-1].header.plan_hash, shares[code]) if own else {},
            restart_visit=restart,
            outside=entered,
            alarms=watch.alarms(code, own, everything.flagging.answers),
            state=latest_state(stated.get(code, ())),
        )
        anew = restart is not None  # the pools know no new baseline, the person does
        told = by_measure(listed[code], rule_of(person), restart) if anew else readings[code]
        gathered.append((rows, told))
    return gathered


def _by_person(rows: Iterable[Said]) -> dict[str, list[Said]]:
    found: dict[str, list[Said]] = {}
    for row in rows:
        found.setdefault(row.person, []).append(row)
    return found


def readings_by_person(store: Store) -> list[tuple[Person, str, Readings]]:
    """Return everybody with the latest plan and readings of the main measures.

    The plan is told by its hash; empty before a visit.
    """
    decisive = [name for task in PRIMARY for name in decisive_measures(task)]
    with store.at_one_moment():
        everything = Everything.read(store, measures=decisive)
    return [
        (
            everything.people[code],
            visits[-1].header.plan_hash if visits else "",
            by_measure(
                readings_or_none(everything, code, visits), rule_of(everything.people[code])
            ),
        )
        for code, visits in everything.visits.items()
    ]


def _read_flags_of_latest(store: Store, everything: Everything) -> None:
    """Read what flags stand on, of everybody's latest visit: the list shows no others."""
    names = [name for task in PRIMARY for name in flag_measures(task)]
    latest = [
        block.block_id
        for visits in everything.visits.values()
        if visits
        for block in everything.blocks.get(visits[-1].header.visit_id, ())
    ]
    everything.scores.update(store.scores.by_block(latest, measures=names))


def _home_exercise(
    planned: Sequence[Prescription],
    diary: Sequence[HomeExercise],
    visits: Sequence[VisitRecord],
) -> tuple[HomeExerciseRow, ...]:
    if not visits:
        return ()
    days = [_local(v.header.started_utc, v.header.utc_offset_min).date() for v in visits]
    told, seen, rest = diary_days(diary)
    return home_exercise_rows(planned, told, seen, first=min(days), last=max(days), rest=rest)


def _home_plan(
    agreed: Sequence[HomePlanEntry], visits: Sequence[VisitRecord]
) -> tuple[HomePlanEntry, ...]:
    """Return what was agreed at the latest visit; before the first what was said last."""
    days = [_local(v.header.started_utc, v.header.utc_offset_min).date() for v in visits]
    return tuple(held_home_plan(agreed, max(days, default=date.max)))


def _says(entry: HomeExercise) -> bool:
    said = (entry.symptoms_before, entry.symptoms, entry.clear_beats_per_min)
    return any(value is not None for value in said)


def _visit_row(everything: Everything, visit: VisitRecord, number: int) -> VisitRow:
    header = visit.header
    said = everything.flagging.answers_of(header.visit_id)
    return VisitRow(
        number=number,
        visit_id=header.visit_id,
        when=_local(header.started_utc, header.utc_offset_min),
        plan=header.plan_name,
        plan_hash=header.plan_hash,
        device=header.device.alias,
        screen=_screen_words(header.device),
        protocol_version=header.protocol_version,
        ending=visit.ending or "open",
        origin=header.origin,
        remarks=_remarks(everything, visit),
        symptoms={
            name: max(told)
            for name in SYMPTOMS
            if (told := [int(a.value) for a in said if a.question == name])
        },
        rises=rises(said),
        medication=latest(said, "before", "medication") or "",
        red_flags=any((a.question, a.value) == ("red_flags", "yes") for a in said),
    )


def _screen_words(device: Device) -> str:
    screen = device.screen
    size = f"{screen.width_mm:.0f} × {screen.height_mm:.0f} mm"
    return f"{size}, {SCALES[screen.scale_source]}"


def _remarks(everything: Everything, visit: VisitRecord) -> tuple[str, ...]:
    """Say what was amended, and which blocks were stopped and why."""
    blocks = {b.block_id: b for b in everything.blocks.get(visit.header.visit_id, [])}
    said = [
        f"{b.task}, {b.hand} hand, {b.ending}" + (f": {b.reason}" if b.reason else "")
        for b in blocks.values()
        if b.ending not in (None, "finished")
    ]
    said += [
        f"{name} rose by {rise} on 0 to 10"
        for name, rise in rises(everything.flagging.answers_of(visit.header.visit_id)).items()
    ]
    for a in everything.amendments_of((visit.header.visit_id, *blocks)):
        if a.target_id == visit.header.visit_id:
            where = "visit"
        else:
            where = f"{blocks[a.target_id].task} block {a.target_id[:8]}"
        was = f" (was {a.old})" if a.old else ""
        said.append(
            f"{where}: {a.field} {a.new}{was}, by {a.author} on {a.at_utc[:10]}: {a.reason}"
        )
    return tuple(said)


def _local(at_utc: str, offset_min: int) -> datetime:
    return datetime.fromisoformat(at_utc).astimezone(timezone(timedelta(minutes=offset_min)))


def _offset_at(visits: Sequence[VisitRecord], at_utc: str) -> int:
    """Offset of the visit nearest in time: markers are kept in UTC only."""
    at = datetime.fromisoformat(at_utc)
    if not visits:
        return 0
    nearest = min(visits, key=lambda v: abs(datetime.fromisoformat(v.header.started_utc) - at))
    return nearest.header.utc_offset_min
