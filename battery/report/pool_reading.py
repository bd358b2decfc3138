"""Reads what everybody brings to the pools, all measures of it, by the short way."""

from __future__ import annotations

from array import array
from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import Any

from battery.recording import Hand
from battery.report.combined import by_measure
from battery.report.known import Known
from battery.report.points import role, rule_of
from battery.report.pooling import WEEKS, Pools, Share, Shares, by_place, shares_of
from battery.report.readings import Everything, Placed, readings_or_none
from battery.report.theirs import Theirs
from battery.scoring import MEASURES, PRIMARY
from battery.store import Store
from norms.baseline import BaselineRule
from norms.pooled import weeks_of

AT_ONCE = 4  # people whose scores are in memory together
NUMBERS = {float, type(None)}
NOTHING: Shares = MappingProxyType({})


def read_pools(store: Store, known: Known | None = None) -> Pools:
    """Read what everybody brings, all measures of it; depends on the store alone.

    The readings of main measures are made whole, as composites stand on them; of all others
    only the values are looked at.

    Parameters
    ----------
    known : Known, optional
        What was read before; of whose visits nothing changed nothing is read again.
    """
    known = Known() if known is None else known
    with known.lock, store.at_one_moment():
        people = known.people(store)
        known.kept_shares(store, people.values())
        found: dict[str, tuple[str, Shares]] = {}
        anew = []
        for code, theirs in people.items():
            if not theirs.visits:
                found[code] = theirs.plan, NOTHING
            elif known.has_shares(theirs):
                found[code] = theirs.plan, known.shares[code][1]
            else:
                found[code] = theirs.plan, NOTHING  # in order of enrolment
                anew.append(theirs)
        for some in [anew[i : i + AT_ONCE] for i in range(0, len(anew), AT_ONCE)]:
            values = store.scores.values([p.block_id for own in some for p in own.placed])
            for theirs in some:
                with store.noting() as noted:
                    shares = _shares_of_person(store, theirs, values)
                code = theirs.person.code
                found[code] = theirs.plan, shares
                if not noted:
                    known.hold_shares(theirs, shares)
        return known.pools_of(store, found)


def _shares_of_person(
    store: Store, theirs: Theirs, values: Mapping[str, Mapping[str, Any]]
) -> Shares:
    odd = any(
        set(map(type, values[place.block_id].values())) - NUMBERS or not place.was_read
        for place in theirs.placed
        if place.block_id in values
    )
    if odd:  # something cannot be read: the long way, row by row
        return _shares_row_by_row(store, theirs)
    rest = by_place(_shares_of_values(theirs, values))
    return {**shares_of(theirs.person, theirs.readings), **rest}


def _shares_row_by_row(store: Store, theirs: Theirs) -> Shares:
    person = theirs.person
    everything = Everything.read_some(
        store,
        {person.code: person},
        [visit.visit_id for visit in theirs.visits],
        amendments=store.annotations.amendments(),
    )
    visits = everything.visits[person.code]
    readings = readings_or_none(everything, person.code, visits)
    return shares_of(person, by_measure(readings, rule_of(person)))


def _shares_of_values(
    theirs: Theirs, values: Mapping[str, Mapping[str, Any]]
) -> Iterator[Share]:
    """Give what all measures but the main ones bring; they share which visits count."""
    rule = rule_of(theirs.person)
    main = {measure.name for measure in PRIMARY.values()}
    series: dict[tuple[str, Hand], list[Placed]] = {}
    for place in theirs.placed:
        if place.block_id in values:
            series.setdefault((place.task, place.hand), []).append(place)
    for (_, hand), places in series.items():
        told = [values[place.block_id] for place in places]
        their_role = role(hand, theirs.person)
        chosen: dict[tuple[bool, ...], tuple[list[int], array[int]]] = {}
        for name in dict.fromkeys(name for own in told for name in own):
            measure = MEASURES.get(name)
            if measure is None or name in main:
                continue
            column: list[Any] = [own.get(name) for own in told]
            there = tuple(value is not None for value in column)
            if there not in chosen:
                counting = _counting(places, there, rule)
                days = (places[i].day for i in counting)
                chosen[there] = counting, array(WEEKS, weeks_of(days))
            counting, weeks = chosen[there]
            least = measure.min_compared
            whole = array("d", [max(column[i], least) for i in counting])
            yield Share(measure.name, their_role, rule.baseline, whole, weeks)


def _counting(places: Sequence[Placed], there: Sequence[bool], rule: BaselineRule) -> list[int]:
    """Return which blocks are the baseline of the current series and all that followed."""
    counting = [i for i, place in enumerate(places) if there[i] and place.counts]
    if not counting:
        return []
    key = places[counting[-1]].key
    current = [i for i in counting if places[i].key is key]
    return current[rule.familiarisation :] if len(current) >= rule.n_visits else []
