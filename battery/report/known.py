"""What records say of people, kept person by person until something of theirs changes.

A list of many people and the pools stand on the same reading of everybody. Whoever stays, as
the desk does, keeps one `Known` and reads again only whose visits were changed. What it read
anew it may also keep in the store, so that the next start finds it there.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any, get_args

from battery.alarms import alarms_of_visits, limits_of
from battery.recording import HANDS
from battery.report.combined import by_measure, headline_of
from battery.report.keeping import (
    or_none,
    packed_records,
    packed_shares,
    sign_of,
    unpacked_records,
    unpacked_shares,
)
from battery.report.keeping_fits import packed_fits, unpacked_fits
from battery.report.page_rows import PageRows
from battery.report.points import rule_of
from battery.report.pooling import NO_PLAN, Fits, Pools, Shares, shares_of
from battery.report.readings import Everything, readings_and_places
from battery.report.theirs import Theirs
from battery.report.visit_rows import brief_row
from battery.scoring import PRIMARY
from battery.scoring.flags import decisive_measures, flag_measures
from battery.store import Amended, Amendment, Person, Store
from battery.store.kept import KeptRow, Kind

AT_ONCE = 20  # people whose records are in memory together
Visits = list[tuple[str, int | None]]  # which, and the number of its latest change


class Known:
    """What was read of everybody, each with the sign of what it was read from.

    Parameters
    ----------
    use_kept : bool
        Whether what an earlier program kept in the store is taken.

    Attributes
    ----------
    lock : RLock
        One at a time reads on.
    judged : dict
        By person: the rows that were judged, and what came out.
    shares : dict
        By person: what all their measures bring, with what it was made from.
    """

    def __init__(self, *, use_kept: bool = True) -> None:
        self.lock = threading.RLock()
        self._use_kept = use_kept
        self._to_keep: dict[tuple[Kind, str], tuple[str, int, Callable[[], bytes]]] = {}
        self.judged: dict[str, tuple[PageRows, Any]] = {}
        self.shares: dict[str, tuple[Theirs, Shares]] = {}
        self._held: dict[str, tuple[Hashable, Theirs]] = {}
        self._common: Hashable = None
        self._n_erased = 0
        self._pools = Pools({})
        self._all_pools: Pools | None = None
        self._fits_held: Pools | None = None
        self._shares: dict[str, tuple[Theirs, frozenset[str], Shares]] = {}

    @property
    def n_to_keep(self) -> int:
        """How much was read anew that no store keeps yet."""
        return len(self._to_keep)

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
            self._n_erased = store.kept.n_erased()
            self._common = common
            signs = {code: (people[code], tuple(visits[code])) for code in people}
            for code in set(self._held) - set(people):
                for held in (self._held, self.judged, self.shares):
                    held.pop(code, None)
                for kind in get_args(Kind):
                    self._to_keep.pop((kind, code), None)
            anew = [c for c in people if self._held.get(c, (None,))[0] != signs[c]]
            for code, theirs in self._kept_records(store, people, signs, anew).items():
                self._held[code] = signs[code], theirs
            anew = [c for c in anew if self._held.get(c, (None,))[0] != signs[c]]
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
                        pack = partial(packed_records, found[code])
                        self._keep_later("records", code, pack)
            if others:  # nobody's: only what cannot be read of them is told
                _read(store, {}, others, amendments, limits)
            return {code: found.get(code) or self._held[code][1] for code in people}

    def has_shares(self, theirs: Theirs) -> bool:
        """Whether what somebody brings to the pools is held, made from the very same."""
        held = self.shares.get(theirs.person.code)
        return held is not None and held[0] is theirs

    def kept_shares(self, store: Store, people: Iterable[Theirs]) -> None:
        """Take what people bring to the pools from what an earlier program kept, if it did."""
        with self.lock:
            lacking = (own for own in people if own.visits and not self.has_shares(own))
            by_code = {theirs.person.code: theirs for theirs in lacking}
            signs = {c: self._sign(c) for c, own in by_code.items() if self._is_held(own)}
            for code, packed in self._kept(store, "shares", signs):
                shares = or_none(partial(unpacked_shares, packed))
                if shares is not None:
                    self.shares[code] = by_code[code], shares

    def hold_shares(self, theirs: Theirs, shares: Shares) -> None:
        """Hold what somebody brings to the pools, all of which could be read."""
        with self.lock:
            code = theirs.person.code
            self.shares[code] = theirs, shares
            if self._is_held(theirs):
                self._keep_later("shares", code, partial(packed_shares, shares))

    def keep(self, store: Store) -> int:
        """Keep in a store, opened to write, what was read anew; return of how many people.

        Of a kind of reading and a person one row; who was erased meanwhile is left out.
        """
        with self.lock:
            waiting, self._to_keep = list(self._to_keep.items()), {}
        for some in [waiting[i : i + AT_ONCE] for i in range(0, len(waiting), AT_ONCE)]:
            by_erased: dict[int, list[KeptRow]] = {}
            for (kind, code), (sign, n_erased, pack) in some:
                by_erased.setdefault(n_erased, []).append(KeptRow(code, kind, sign, pack()))
            for n_erased, rows in by_erased.items():
                store.kept.put(rows, n_erased=n_erased)
        return len({code for (_, code), _ in waiting})

    def _kept_records(
        self,
        store: Store,
        people: Mapping[str, Person],
        signs: Mapping[str, Hashable],
        anew: Sequence[str],
    ) -> dict[str, Theirs]:
        asked = {code: sign_of(signs[code], self._common) for code in anew}
        found = {}
        for code, packed in self._kept(store, "records", asked):
            theirs = or_none(partial(unpacked_records, packed, people[code]))
            if theirs is not None:
                found[code] = theirs
        return found

    def _kept(
        self, store: Store, kind: Kind, signs: Mapping[str, str]
    ) -> Iterator[tuple[str, bytes]]:
        codes = list(signs) if self._use_kept else []
        for some in [codes[i : i + AT_ONCE] for i in range(0, len(codes), AT_ONCE)]:
            yield from store.kept.get(kind, {code: signs[code] for code in some}).items()

    def _is_held(self, theirs: Theirs) -> bool:
        held = self._held.get(theirs.person.code)
        return held is not None and held[1] is theirs

    def _sign(self, code: str) -> str:
        return sign_of(self._held[code][0], self._common)

    def _keep_later(self, kind: Kind, code: str, pack: Callable[[], bytes]) -> None:
        self._to_keep[kind, code] = self._sign(code), self._n_erased, pack

    def pools_of(self, store: Store, shares: Mapping[str, tuple[str, Shares]]) -> Pools:
        """Pool what people bring of all measures; the same object while it is the same.

        What an earlier program fitted to them and kept is taken, where nothing differs.
        """
        with self.lock:
            if self._all_pools is None:
                pools = Pools(shares)
                self._all_pools = Pools(shares, self._kept_fits(store, pools.first_of_plans()))
            else:
                self._all_pools = self._all_pools.of_shares(shares)
            return self._all_pools

    def hold_fits(self, pools: Pools) -> None:
        """Let what was fitted to pools, those of now, be kept for the next start.

        It stands with the first person of a plan, and goes with anybody who is erased. Told
        twice it is kept once, as to keep it changes the store.
        """
        with self.lock:
            if pools is not self._all_pools or pools is self._fits_held:
                return
            self._fits_held = pools
            first = pools.first_of_plans()
            for plan, fits in pools.fitted_anew().items():
                if plan in first:
                    pack = partial(packed_fits, fits)
                    told = sign_of("fits", plan), self._n_erased, pack
                    self._to_keep["fits", first[plan]] = told

    def _kept_fits(self, store: Store, first_of_plans: Mapping[str, str]) -> Fits:
        plans = {code: plan for plan, code in first_of_plans.items()}
        signs = {code: sign_of("fits", plan) for code, plan in plans.items()}
        found: dict[Any, Any] = {}
        for code, packed in self._kept(store, "fits", signs):
            found |= or_none(partial(unpacked_fits, packed, plans[code])) or {}
        return found

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
