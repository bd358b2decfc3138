"""Reads one person's rows from the store, and everybody's scatter to judge them by."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone

from battery.answers import SYMPTOMS, latest, rises
from battery.flagging import Flagging
from battery.recording import HANDS, Device, Hand, VisitHeader
from battery.report.around import (
    diary_days,
    goal_rows,
    outside_sems,
    practice_rows,
    restart_visit,
)
from battery.report.lines import (
    baseline_values,
    by_measure,
    hand_order,
    ratio_name,
    ratio_readings,
    role,
    rule_of,
    series_values,
)
from battery.report.rows import MarkerRow, PageRows, Pool, PracticeRow, Reading, VisitRow
from battery.scoring import MEASURES, PRIMARY
from battery.scoring.flags import FLAGS, Value, comparable, flag_measures
from battery.store import (
    Amended,
    Amendment,
    BlockBrief,
    Person,
    Practice,
    Prescription,
    ScoreRow,
    Store,
    VisitRecord,
)
from norms.series import SeriesKey
from tasks.registry import TASKS

SCALES = {
    "card": "measured with a card",
    "ruler": "measured with a ruler",
    "guess": "size not measured",
    "virtual": "simulated",
}
Readings = Mapping[tuple[str, Hand], tuple[Reading, ...]]


@dataclass(frozen=True, slots=True)
class _Everything:
    """The store's tables, read once, and what was said later about them."""

    people: dict[str, Person]
    visits: list[VisitRecord]
    blocks: dict[str, list[BlockBrief]]  # by visit
    scores: dict[str, list[ScoreRow]]  # by block
    flagging: Flagging
    amendments: list[Amendment]

    @property
    def amended(self) -> Amended:
        """What holds now."""
        return self.flagging.amended

    @classmethod
    def read(cls, store: Store, *, measures: Sequence[str] | None = None) -> _Everything:
        blocks: dict[str, list[BlockBrief]] = {}
        for block in store.blocks_in_brief():
            if block.phase == "test":
                blocks.setdefault(block.visit_id, []).append(block)
        scores: dict[str, list[ScoreRow]] = {}
        for row in store.scores(measures=measures):
            scores.setdefault(row.block_id, []).append(row)
        people = {p.code: p for p in store.list_people()}
        flagging = Flagging.read(store)
        return cls(people, store.visits(), blocks, scores, flagging, store.amendments())

    def visits_of(self) -> dict[str, list[VisitRecord]]:
        """Everybody's visits in order, each with whom it belongs to now."""
        found: dict[str, list[VisitRecord]] = {code: [] for code in self.people}
        moved = set()
        for visit in self.visits:
            header = visit.header
            code = self.amended.person(header.visit_id, header.person)
            if code != header.person:
                moved.add(code)
            found[code].append(visit)
        for code in moved:  # the numbers of two people do not go together; the time does
            found[code].sort(key=lambda v: v.header.started_utc)
        return found


def gather(store: Store, code: str) -> PageRows:
    """Read a person's rows.

    Raises
    ------
    UsageError
        If nobody has the code.
    """
    person = store.person(code)
    with store.at_one_moment():
        everything = _Everything.read(store)
        markers = store.markers(code)
        restarts = store.restarts(code)
        entered = store.outside_errors()
        planned = store.prescriptions(code)
        diary = store.practice(code)
        goals = goal_rows(store.goals(code), store.goal_levels())
    visits = everything.visits_of()
    own = visits[code]
    readings = readings_of(everything, own)
    return PageRows(
        person=person,
        visits=tuple(
            _visit_row(everything, visit, number) for number, visit in enumerate(own, start=1)
        ),
        readings=tuple(readings),
        markers=tuple(
            MarkerRow(_local(m.at_utc, _offset_at(own, m.at_utc)), m.kind, m.note)
            for m in markers
        ),
        practice=_practice(planned, diary, own),
        goals=goals,
        pools=_pools(everything, visits, person, by_measure(readings)),
        restart_visit=restart_visit(restarts, own),
        outside=outside_sems(entered),
    )


def gather_primaries(store: Store) -> list[PageRows]:
    """Read everybody's rows of the main measures, in order of enrolment.

    Enough to judge the headline of each hand. The records are read once, so that a list of
    many people costs little more than one page.
    """
    primaries = {measure.name for measure in PRIMARY.values()}
    names = [name for task in PRIMARY for name in flag_measures(task)]
    with store.at_one_moment():
        everything = _Everything.read(store, measures=names)
        restarts = store.restarts()
        entered = outside_sems(store.outside_errors())
    visits = everything.visits_of()
    listed = {
        code: [r for r in readings_of(everything, theirs) if r.measure in primaries]
        for code, theirs in visits.items()
    }
    readings = {code: by_measure(theirs) for code, theirs in listed.items()}
    plans = {code: theirs[-1].header.plan_hash for code, theirs in visits.items() if theirs}
    scatters = {
        plan: _scatter(
            everything.people, {code: readings[code] for code in plans if plans[code] == plan}
        )
        for plan in set(plans.values())
    }
    return [
        PageRows(
            person=person,
            visits=tuple(
                _visit_row(everything, visit, n)
                for n, visit in enumerate(visits[code], start=1)
            ),
            readings=tuple(listed[code]),
            pools=_pools_of(scatters[plans[code]], person, readings[code])
            if code in plans
            else {},
            restart_visit=restart_visit(
                [r for r in restarts if r.person == code], visits[code]
            ),
            outside=entered,
        )
        for code, person in everything.people.items()
    ]


def readings_by_person(store: Store) -> list[tuple[Person, str, Readings]]:
    """Return everybody with the hash of the latest plan (empty before a visit) and readings."""
    with store.at_one_moment():
        everything = _Everything.read(store)
    return [
        (
            everything.people[code],
            visits[-1].header.plan_hash if visits else "",
            by_measure(readings_of(everything, visits)),
        )
        for code, visits in everything.visits_of().items()
    ]


def visit_numbers(store: Store, code: str) -> dict[int, str]:
    """Return the identifiers of a person's visits by the numbers the page gives them."""
    with store.at_one_moment():
        everything = _Everything.read(store)
    own = everything.visits_of()[code]
    return {number: visit.header.visit_id for number, visit in enumerate(own, start=1)}


def _practice(
    planned: Sequence[Prescription], diary: Sequence[Practice], visits: Sequence[VisitRecord]
) -> tuple[PracticeRow, ...]:
    if not visits:
        return ()
    days = [_local(v.header.started_utc, v.header.utc_offset_min).date() for v in visits]
    told, seen, rest = diary_days(diary)
    return practice_rows(planned, told, seen, first=min(days), last=max(days), rest=rest)


def readings_of(everything: _Everything, visits: Sequence[VisitRecord]) -> list[Reading]:
    """Turn a person's scored test blocks into readings, in order of visits."""
    found: list[Reading] = []
    pointer = ""
    for number, visit in enumerate(visits, start=1):
        for hand, block in _one_of_each(everything, visit):
            rows = everything.scores.get(block.block_id, [])
            flags, aside = _judged(everything, visit, block, rows)
            if not aside:
                pointer = block.input_type
            # A block that does not count begins no series of its own.
            key = _key(visit.header, block, hand, rows, pointer if aside else block.input_type)
            if "weight_on" in flags:
                key = replace(key, weight="on")
            found += _block_readings(block, hand, number, rows, key, flags, aside)
    return found


def _one_of_each(
    everything: _Everything, visit: VisitRecord
) -> Iterable[tuple[Hand, BlockBrief]]:
    """Of blocks repeated within a visit take the last finished one, else the last."""
    best: dict[tuple[str, Hand], BlockBrief] = {}
    for block in everything.blocks.get(visit.header.visit_id, []):
        held = everything.amended.hand(block.block_id, block.hand)
        hand: Hand = "left" if held == "left" else "right"
        known = best.get((block.task, hand))
        left_out = everything.amended.excluded(block.block_id)
        if known is None or (block.ending == "finished" and not left_out) or (
            known.ending != "finished"
        ):  # fmt: skip
            best[block.task, hand] = block
    return [(hand, block) for (_, hand), block in best.items()]


def _judged(
    everything: _Everything, visit: VisitRecord, block: BlockBrief, rows: Sequence[ScoreRow]
) -> tuple[tuple[str, ...], str]:
    """Return the flags of a block and why it does not count; empty if it does."""
    primary = PRIMARY[block.task].name
    raised = everything.flagging.flags(
        visit.header,
        block_id=block.block_id,
        task=block.task,
        hand=block.hand,
        ending=block.ending,
        input_type=block.input_type,
        audit=block.audit,
        n_primary=next((r.n for r in rows if r.measure == primary), None),
        scores={r.measure: Value(r.value, r.n, r.reason, r.scoring_version) for r in rows},
    )
    left_out = [
        _why(everything, target)
        for target in (visit.header.visit_id, block.block_id)
        if everything.amended.excluded(target)
    ]
    told = [FLAGS[name].says for name in raised if not comparable([name])]
    aside = left_out or ([] if comparable(raised) else told)
    return tuple(raised), "; ".join(aside)


def _why(everything: _Everything, target: str) -> str:
    said = [a for a in everything.amendments if a.target_id == target and a.field == "excluded"]
    return f"left out by {said[-1].author}: {said[-1].reason}"


def _key(
    header: VisitHeader, block: BlockBrief, hand: Hand, rows: Sequence[ScoreRow], pointer: str
) -> SeriesKey:
    screen = header.device.screen
    versions = sorted({row.scoring_version for row in rows})
    return SeriesKey(
        task=block.task,
        hand=hand,
        plan=header.plan_hash,
        device=header.device.alias,
        scale=f"{screen.mm_per_px_x:.5f} x {screen.mm_per_px_y:.5f} mm",
        input_type=pointer,
        protocol=str(header.protocol_version),
        scoring=str(versions[-1]) if versions else "",
    )


def _block_readings(
    block: BlockBrief,
    hand: Hand,
    number: int,
    rows: Sequence[ScoreRow],
    key: SeriesKey,
    flags: tuple[str, ...],
    aside: str,
) -> list[Reading]:
    """One reading a measure; a block without scores still shows as its primary measure."""
    common = {"hand": hand, "visit": number, "block_id": block.block_id}
    if not rows:
        return [
            Reading(
                PRIMARY[block.task].name,
                value=math.nan,
                key=key,
                reason=aside or "not scored",
                flags=flags,
                aside=aside or "not scored",
                **common,  # type: ignore[arg-type]
            )
        ]
    return [
        Reading(
            row.measure,
            value=row.value,
            key=key,
            n=row.n,
            low=row.low,
            high=row.high,
            reason=row.reason,
            flags=flags,
            aside=aside,
            **common,  # type: ignore[arg-type]
        )
        for row in rows
        if row.measure in MEASURES
    ]


def _pools(
    everything: _Everything,
    visits: Mapping[str, list[VisitRecord]],
    person: Person,
    own: Readings,
) -> dict[tuple[str, Hand], Pool]:
    """Collect, for each of the person's measures, what everybody of that role scatters."""
    if not visits[person.code]:
        return {}
    plan = visits[person.code][-1].header.plan_hash
    same = {
        code: own if code == person.code else by_measure(readings_of(everything, theirs))
        for code, theirs in visits.items()
        if theirs and theirs[-1].header.plan_hash == plan
    }
    return _pools_of(_scatter(everything.people, same), person, own)


def _scatter(
    people: Mapping[str, Person], readings: Mapping[str, Readings]
) -> dict[tuple[str, str], Pool]:
    """Pool people whose latest visit had the same plan, by measure and role of the hand.

    The role is more affected, other, or not told apart.
    """
    groups: dict[tuple[str, str], list[tuple[float, ...]]] = {}
    series: dict[tuple[str, str], list[tuple[float, ...]]] = {}
    for code, theirs in readings.items():
        for name, their_role, values in _with_ratios(theirs, people[code]):
            baseline = baseline_values(values, rule_of(people[code]))
            if baseline:
                groups.setdefault((name, their_role), []).append(baseline)
            series.setdefault((name, their_role), []).append(series_values(values))
    return {key: Pool(tuple(groups.get(key, ())), tuple(series[key])) for key in series}


def _pools_of(
    scatter: Mapping[tuple[str, str], Pool], person: Person, own: Readings
) -> dict[tuple[str, Hand], Pool]:
    pools = {}
    for name, their_role, _ in _with_ratios(own, person):
        for hand in HANDS:
            if their_role == role(hand, person):
                pools[name, hand] = scatter[name, their_role]
    return pools


def _with_ratios(
    readings: Readings, person: Person
) -> Iterable[tuple[str, str, tuple[Reading, ...]]]:
    """Yield a person's measures with the role of the hand, and the ratios of the hands."""
    for (name, hand), own in readings.items():
        yield name, role(hand, person), own
    first, second = hand_order(person)
    for task in TASKS:
        name = PRIMARY[task].name
        upper, lower = readings.get((name, first), ()), readings.get((name, second), ())
        if upper and lower:
            yield ratio_name(name), role(first, person), ratio_readings(upper, lower, name)


def _visit_row(everything: _Everything, visit: VisitRecord, number: int) -> VisitRow:
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


def _remarks(everything: _Everything, visit: VisitRecord) -> tuple[str, ...]:
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
    for a in everything.amendments:
        if a.target_id == visit.header.visit_id:
            where = "visit"
        elif a.target_id in blocks:
            where = f"{blocks[a.target_id].task} block {a.target_id[:8]}"
        else:
            continue
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
