"""What everybody of one plan and role of the hand scatters, to judge one person by."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from typing import Any, NamedTuple

from battery.errors import BatteryError
from battery.recording import HANDS, Hand
from battery.report.lines import (
    baseline_and_series,
    by_measure,
    hand_order,
    ratio_name,
    ratio_readings,
    role,
    rule_of,
)
from battery.report.page_rows import Pool, Reading
from battery.report.readings import Everything, Judged, judged_blocks, readings_or_none
from battery.scoring import MEASURES, PRIMARY
from battery.scoring.flags import decisive_measures
from battery.store import Person, Store, VisitRecord
from battery.store.base import UNREADABLE
from norms.baseline import BaselineRule
from tasks.registry import TASKS

Readings = Mapping[tuple[str, Hand], tuple[Reading, ...]]
Place = tuple[str, str]  # of a pool: measure, and role of the hand
AT_ONCE = 10  # people whose scores are in memory together
NUMBERS = {float, type(None)}
NO_PLAN = ""  # of who has no visit


class Share(NamedTuple):
    """What one measure of one hand of a person brings to a pool.

    Parameters
    ----------
    name, role : str
        Which pool: the measure, and the role of the hand (more affected, other, or not told
        apart).
    baseline, series : tuple of float
        The baseline of the current series, and it with all that followed; both empty before it
        is complete.
    """

    name: str
    role: str
    baseline: tuple[float, ...]
    series: tuple[float, ...]


Shares = Mapping[Place, Sequence[Share]]  # both hands may bring to one pool


def shares_of(person: Person, readings: Readings) -> Shares:
    """Return what a person's readings bring, ratios of the hands included."""
    rule = rule_of(person)
    return _by_place(
        Share(name, their_role, *baseline_and_series(own, rule))
        for name, their_role, own in _with_ratios(readings, person)
    )


class Pools:
    """What everybody brings, by plan; a person is judged by those with the same plan.

    Parameters
    ----------
    shares : mapping of code to (plan, shares)
        Of everybody, in order of enrolment; the plan is that of the latest visit, by its hash.
    """

    def __init__(self, shares: Mapping[str, tuple[str, Shares]]) -> None:
        self._shares = shares
        self._by_plan: dict[str, dict[str, Shares]] = {}
        for code, (plan, theirs) in shares.items():
            self._by_plan.setdefault(plan, {})[code] = theirs
        self._made: dict[tuple[str, Place], Pool] = {}

    def of(self, person: Person, plan: str, own: Shares) -> dict[tuple[str, Hand], Pool]:
        """Choose for each measure and hand of a person the pool of its role.

        Parameters
        ----------
        own : mapping
            What the person brings now: a new baseline may have been begun on purpose, or a
            block be damaged.
        """
        same = self._by_plan.get(plan, {})
        held = same.get(person.code, {})
        found = {}
        for place, shares in own.items():
            if held.get(place) == shares:
                pool = self._pool(plan, place)
            else:
                pool = _pooled({**same, person.code: own}, place)
            name, their_role = place
            for hand in HANDS:
                if their_role == role(hand, person):
                    found[name, hand] = pool
        return found

    def renewed(self, store: Store, codes: Iterable[str]) -> Pools:
        """Return the pools with what some people bring read anew, as nobody else changed."""
        shares = dict(self._shares)
        for code in codes:
            person = store.people.get(code)
            everything = Everything.read_person(store, person)
            visits = everything.visits[code]
            readings = by_measure(readings_or_none(everything, code, visits), rule_of(person))
            plan = visits[-1].header.plan_hash if visits else NO_PLAN
            shares[code] = plan, shares_of(person, readings)
        return Pools(shares)

    def _pool(self, plan: str, place: Place) -> Pool:
        key = plan, place
        if key not in self._made:
            self._made[key] = _pooled(self._by_plan[plan], place)
        return self._made[key]


def _pooled(shares: Mapping[str, Shares], place: Place) -> Pool:
    """Pool what people bring to one place, in their order."""
    whole = [
        (code, share)
        for code, theirs in shares.items()
        for share in theirs.get(place, ())
        if share.baseline
    ]
    return Pool(
        tuple(share.baseline for _, share in whole),
        tuple(share.series for _, share in whole),
        len({code for code, _ in whole}),
    )


def pools_of_primaries(
    people: Mapping[str, Person],
    visits: Mapping[str, Sequence[VisitRecord]],
    readings: Mapping[str, Readings],
) -> tuple[Pools, dict[str, Shares]]:
    """Pool the main measures of everybody, and return what each person brought."""
    shares = {code: shares_of(people[code], own) for code, own in readings.items()}
    plans = {code: theirs[-1].header.plan_hash for code, theirs in visits.items() if theirs}
    return Pools({code: (plan, shares[code]) for code, plan in plans.items()}), shares


def read_pools(store: Store) -> Pools:
    """Read what everybody brings, all measures of it; depends on the store alone.

    The readings of main measures are made whole, as composites stand on them; of all others
    only the values are looked at.
    """
    decisive = [name for task in PRIMARY for name in decisive_measures(task)]
    found: dict[str, tuple[str, Shares]]
    with store.at_one_moment():
        everything = Everything.read(store, measures=decisive)
        found = dict.fromkeys(everything.people, (NO_PLAN, {}))  # in order of enrolment
        waiting = iter([(code, own) for code, own in everything.visits.items() if own])
        while some := list(islice(waiting, AT_ONCE)):
            block_ids = [
                block.block_id
                for _, visits in some
                for visit in visits
                for block in everything.blocks.get(visit.header.visit_id, ())
            ]
            values = store.scores.values(block_ids)
            for code, visits in some:
                shares = _shares_of_person(store, everything, code, visits, values)
                found[code] = (visits[-1].header.plan_hash, shares)
    return Pools(found)


def _shares_of_person(
    store: Store,
    everything: Everything,
    code: str,
    visits: Sequence[VisitRecord],
    values: Mapping[str, Mapping[str, Any]],
) -> Shares:
    person = everything.people[code]
    blocks = [
        block.block_id
        for visit in visits
        for block in everything.blocks.get(visit.header.visit_id, ())
    ]
    odd = any(
        set(map(type, values[block].values())) - NUMBERS or (block not in everything.scores)
        for block in blocks
        if block in values
    )
    if odd:  # something cannot be read: the long way, row by row
        everything.scores.update(store.scores.by_block(blocks))
        return shares_of(
            person, by_measure(readings_or_none(everything, code, visits), rule_of(person))
        )
    primaries = {measure.name for measure in PRIMARY.values()}
    main = [r for r in readings_or_none(everything, code, visits) if r.measure in primaries]
    shares = dict(shares_of(person, by_measure(main, rule_of(person))))
    try:
        judged = list(judged_blocks(everything, visits))
    except (BatteryError, *UNREADABLE):
        return shares  # it was noted when the main measures were read
    rest = _by_place(_shares_of_values(person, judged, values, primaries))
    return {**shares, **rest}


def _shares_of_values(
    person: Person,
    judged: Sequence[Judged],
    values: Mapping[str, Mapping[str, Any]],
    but: set[str],
) -> Iterator[Share]:
    """Give what all measures but some bring; they share which visits count."""
    rule = rule_of(person)
    series: dict[tuple[str, Hand], list[Judged]] = {}
    for one in judged:
        if one.block.block_id in values:
            series.setdefault((one.block.task, one.hand), []).append(one)
    for (_, hand), blocks in series.items():
        told = [values[one.block.block_id] for one in blocks]
        their_role = role(hand, person)
        chosen: dict[tuple[bool, ...], tuple[list[int], list[int]]] = {}
        for name in dict.fromkeys(name for own in told for name in own):
            measure = MEASURES.get(name)
            if measure is None or name in but:
                continue
            column: list[Any] = [own.get(name) for own in told]
            there = tuple(value is not None for value in column)
            if there not in chosen:
                chosen[there] = _counting(blocks, there, rule)
            baseline, whole = chosen[there]
            floor = measure.floor
            yield Share(
                name,
                their_role,
                tuple([max(column[i], floor) for i in baseline]),
                tuple([max(column[i], floor) for i in whole]),
            )


def _counting(
    blocks: Sequence[Judged], there: Sequence[bool], rule: BaselineRule
) -> tuple[list[int], list[int]]:
    """Return which blocks are the baseline of the current series, and it with all after it."""
    counting = [i for i, one in enumerate(blocks) if there[i] and not one.aside]
    if not counting:
        return [], []
    key = blocks[counting[-1]].key
    current = [i for i in counting if blocks[i].key is key]
    if len(current) < rule.n_visits:
        return [], []
    return current[rule.familiarisation : rule.n_visits], current[rule.familiarisation :]


def _by_place(shares: Iterable[Share]) -> Shares:
    found: dict[Place, tuple[Share, ...]] = {}
    for share in shares:
        place = share.name, share.role
        found[place] = (*found.get(place, ()), share)
    return found


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
