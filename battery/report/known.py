"""What records say of people, kept person by person until something of theirs changes.

A list of many people and the pools stand on the same reading of everybody. Whoever stays, as
the desk does, keeps one `Known` and reads again only whose visits were changed.
"""

from __future__ import annotations

import threading
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from battery.alarms import Alarm, alarms_of_visits, limits_of
from battery.recording import HANDS
from battery.report.lines import by_measure, headline_of, rule_of
from battery.report.page_rows import PageRows, Reading, VisitRow
from battery.report.pooling import NO_PLAN, Pools, Readings, Shares, shares_of
from battery.report.readings import Everything, Placed, readings_and_places
from battery.report.visit_rows import brief_row
from battery.scoring import PRIMARY
from battery.scoring.flags import decisive_measures, flag_measures
from battery.store import Amended, Amendment, Person, Store

AT_ONCE = 20  # people whose records are in memory together
Visits = list[tuple[str, int | None]]  # which, and the number of its latest change


@dataclass(frozen=True, slots=True)
class Theirs:
    """What the records of one person say.

    Parameters
    ----------
    visits : tuple of VisitRow
        That are the person's now, in order, without what was said around them.
    listed : tuple of Reading
        Of the main measures, in order of visits.
    readings : mapping
        The same by measure and hand, composites included, as before a new baseline.
    plan : str
        Of the latest visit, by its hash.
    offset_min : int
        Of the place of the latest visit.
    alarms : tuple of Alarm
        That follow from the visits, whether or not somebody has seen them.
    placed : tuple of Placed
        The blocks that stand for the visits, for whoever looks at their other measures.
    """

    person: Person
    visits: tuple[VisitRow, ...]
    listed: tuple[Reading, ...]
    readings: Readings
    plan: str
    offset_min: int
    alarms: tuple[Alarm, ...]
    placed: tuple[Placed, ...]

    @property
    def numbers(self) -> dict[str, int]:
        """The visits' numbers by their identifiers."""
        return {visit.visit_id: visit.number for visit in self.visits}


class Known:
    """What was read of everybody, each with the sign of what it was read from.

    Attributes
    ----------
    lock : RLock
        One at a time reads on.
    judged : dict
        By person: the rows that were judged, and what came out.
    shares : dict
        By person: what all their measures bring, with what it was made from.
    """

    def __init__(self) -> None:
        self.lock = threading.RLock()
        self.judged: dict[str, tuple[PageRows, Any]] = {}
        self.shares: dict[str, tuple[Theirs, Shares]] = {}
        self._held: dict[str, tuple[Hashable, Theirs]] = {}
        self._common: Hashable = None
        self._pools = Pools({})
        self._all_pools = Pools({})
        self._shares: dict[str, tuple[Theirs, frozenset[str], Shares]] = {}

    def people(self, store: Store) -> dict[str, Theirs]:
        """Return what records say of everybody, in order of enrolment.

        Ask as of one moment of the store. A person of whom something cannot be read is read
        again every time, so that it is noted every time.
        """
        with self.lock:
            people = {person.code: person for person in store.people.all()}
            amendments = store.annotations.amendments()
            visits, others = _by_holder(store, people, Amended(amendments))
            limits = limits_of(store)
            common = (tuple(store.setup.timing_checks()), tuple(sorted(limits.items())))
            if common != self._common:
                self._held.clear()
            self._common = common
            signs = {code: (people[code], tuple(visits[code])) for code in people}
            for code in set(self._held) - set(people):
                for held in (self._held, self.judged, self.shares):
                    held.pop(code, None)
            anew = [c for c in people if self._held.get(c, (None,))[0] != signs[c]]
            found: dict[str, Theirs] = {}
            for codes in [anew[i : i + AT_ONCE] for i in range(0, len(anew), AT_ONCE)]:
                some = {code: people[code] for code in codes}
                ids = [visit_id for code in codes for visit_id, _ in visits[code]]
                with store.noting() as noted:
                    found |= _read(store, some, ids, amendments, limits)
                for code in codes:
                    self._held.pop(code, None)
                    if not noted:
                        self._held[code] = signs[code], found[code]
            if others:  # nobody's: only what cannot be read of them is told
                _read(store, {}, others, amendments, limits)
            return {code: found.get(code) or self._held[code][1] for code in people}

    def pools_of(self, shares: Mapping[str, tuple[str, Shares]]) -> Pools:
        """Pool what people bring of all measures; the same object while it is the same."""
        with self.lock:
            self._all_pools = self._all_pools.of_shares(shares)
            return self._all_pools

    def pools_of_headlines(
        self, people: Mapping[str, Theirs]
    ) -> tuple[Pools, Mapping[str, Shares]]:
        """Pool what headlines are about, and return what each person brings to it.

        The pools are the same object while nobody brings anything else. Where anybody of a plan
        has another headline than the others, all bring that measure too, as they do on pages.
        """
        names: dict[str, set[str]] = {}
        for theirs in people.values():
            heads = (headline_of(theirs.readings, hand) for hand in HANDS)
            names.setdefault(theirs.plan, set()).update(name for name in heads if name)
        with self.lock:
            for code in set(self._shares) - set(people):
                del self._shares[code]
            for code, theirs in people.items():
                wanted = frozenset(names[theirs.plan])
                held = self._shares.get(code)
                if held is None or held[0] is not theirs or held[1] != wanted:
                    own = shares_of(theirs.person, theirs.readings, wanted)
                    self._shares[code] = theirs, wanted, own
            shares = {code: self._shares[code][2] for code in people}
            self._pools = self._pools.of_shares(
                {code: (own.plan, shares[code]) for code, own in people.items() if own.visits}
            )
            return self._pools, shares


def _by_holder(
    store: Store, people: Mapping[str, Person], amended: Amended
) -> tuple[dict[str, Visits], list[str]]:
    """Sort all visits by whose they are now, and name those that are nobody's here."""
    found: dict[str, Visits] = {code: [] for code in people}
    others: list[str] = []
    for visit_id, recorded, number in store.visits.revisions():
        code = amended.person(visit_id, recorded)
        if code in found:
            found[code].append((visit_id, number))
        else:
            others.append(visit_id)
    return found, others


def _read(
    store: Store,
    people: Mapping[str, Person],
    visit_ids: Sequence[str],
    amendments: list[Amendment],
    limits: Mapping[str, int],
) -> dict[str, Theirs]:
    decisive = {task: decisive_measures(task) for task in PRIMARY}
    everything = Everything.read_some(
        store, people, visit_ids, amendments=amendments, measures=decisive
    )
    _read_flags_of_latest(store, everything)
    return {code: _theirs(everything, people[code], limits) for code in people}


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


def _theirs(everything: Everything, person: Person, limits: Mapping[str, int]) -> Theirs:
    own = everything.visits[person.code]
    readings, placed = readings_and_places(everything, person.code, own)
    listed = tuple(r for r in readings if r.measure in _MAIN)
    sorted_readings = by_measure(listed, rule_of(person))
    return Theirs(
        person=person,
        visits=tuple(brief_row(v, n) for n, v in enumerate(own, start=1)),
        listed=listed,
        readings=sorted_readings,
        plan=own[-1].header.plan_hash if own else NO_PLAN,
        offset_min=own[-1].header.utc_offset_min if own else 0,
        alarms=tuple(alarms_of_visits(person.code, own, everything.flagging.answers, limits)),
        placed=placed,
    )


_MAIN = frozenset(measure.name for measure in PRIMARY.values())
