"""What everybody of one plan and role of the hand scatters, to judge one person by."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from battery.recording import HANDS, Hand
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
from battery.report.page_rows import Pool, Reading
from battery.report.readings import Everything, readings_or_none
from battery.scoring import PRIMARY
from battery.store import Person, VisitRecord
from tasks.registry import TASKS

Readings = Mapping[tuple[str, Hand], tuple[Reading, ...]]


def pools(
    everything: Everything,
    visits: Mapping[str, list[VisitRecord]],
    person: Person,
    own: Readings,
) -> dict[tuple[str, Hand], Pool]:
    """Collect, for each of the person's measures, what everybody of that role scatters."""
    if not visits[person.code]:
        return {}
    plan = visits[person.code][-1].header.plan_hash
    same = {
        code: own
        if code == person.code
        else by_measure(
            readings_or_none(everything, code, theirs), rule_of(everything.people[code])
        )
        for code, theirs in visits.items()
        if theirs and theirs[-1].header.plan_hash == plan
    }
    return pools_of(scatter(everything.people, same), person, own)


def scatter(
    people: Mapping[str, Person], readings: Mapping[str, Readings]
) -> dict[tuple[str, str], Pool]:
    """Pool people whose latest visit had the same plan, by measure and role of the hand.

    The role is more affected, other, or not told apart.
    """
    groups: dict[tuple[str, str], list[tuple[float, ...]]] = {}
    series: dict[tuple[str, str], list[tuple[float, ...]]] = {}
    whose: dict[tuple[str, str], set[str]] = {}
    for code, theirs in readings.items():
        rule = rule_of(people[code])
        for name, their_role, values in _with_ratios(theirs, people[code]):
            key = name, their_role
            groups.setdefault(key, [])
            baseline = baseline_values(values, rule)
            if baseline:
                groups[key].append(baseline)
                series.setdefault(key, []).append(series_values(values, rule))
                whose.setdefault(key, set()).add(code)
    return {
        key: Pool(tuple(own), tuple(series.get(key, ())), len(whose.get(key, ())))
        for key, own in groups.items()
    }


def pools_of(
    scatter: Mapping[tuple[str, str], Pool], person: Person, own: Readings
) -> dict[tuple[str, Hand], Pool]:
    """Choose for each measure and hand of a person the pool of its role."""
    found = {}
    for name, their_role, _ in _with_ratios(own, person):
        for hand in HANDS:
            if their_role == role(hand, person):
                found[name, hand] = scatter[name, their_role]
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
