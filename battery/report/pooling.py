"""What everybody of one plan and role of the hand scatters, to judge one person by."""

from __future__ import annotations

from array import array
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import NamedTuple

from battery.recording import HANDS, Hand
from battery.report.combined import by_measure, ratio_name, ratio_readings
from battery.report.page_rows import Fit, Pool, Reading
from battery.report.points import baseline_and_series, hand_order, role, rule_of
from battery.report.readings import Everything, readings_or_none
from battery.scoring import MEASURES, PRIMARY
from battery.store import Person, Store
from norms.baseline import BaselineRule
from tasks.registry import TASKS

Readings = Mapping[tuple[str, Hand], tuple[Reading, ...]]
Place = tuple[str, str]  # of a pool: measure, and role of the hand
Fits = Mapping[tuple[str, Place], Mapping[bool, Fit]]  # by plan and place, and by scale
WEEKS = "h"  # for six centuries
NO_PLAN = ""  # of who has no visit


class Share(NamedTuple):
    """What one measure of one hand of a person brings to a pool.

    Parameters
    ----------
    name, role : str
        Which pool: the measure, and the role of the hand (more affected, other, or not told
        apart).
    n_baseline : int
    series : array of float
        The baseline of the current series with all that followed it; empty before it is
        complete.
    weeks : array of int
        Those of its visits, by number.
    """

    name: str
    role: str
    n_baseline: int
    series: array[float]
    weeks: array[int]

    @property
    def baseline(self) -> array[float]:
        """The baseline alone."""
        return self.series[: self.n_baseline]


Shares = Mapping[Place, Sequence[Share]]  # both hands may bring to one pool


def shares_of(
    person: Person, readings: Readings, names: Collection[str] | None = None
) -> Shares:
    """Return what a person's readings bring, ratios of the hands included.

    Parameters
    ----------
    names : collection of str, optional
        Of these measures only, and no ratios.
    """
    rule = rule_of(person)
    if names is None:
        told = _with_ratios(readings, person)
    else:
        told = (
            (name, role(hand, person), own)
            for (name, hand), own in readings.items()
            if name in names
        )
    return by_place(_share(name, their_role, own, rule) for name, their_role, own in told)


def _share(name: str, their_role: str, own: Sequence[Reading], rule: BaselineRule) -> Share:
    _, series, weeks = baseline_and_series(own, rule)
    return Share(name, their_role, rule.baseline, array("d", series), array(WEEKS, weeks))


class Pools:
    """What everybody brings, by plan; a person is judged by those with the same plan.

    Parameters
    ----------
    shares : mapping of code to (plan, shares)
        Of everybody, in order of enrolment; the plan is that of the latest visit, by its hash.
    before : mapping, optional
        What was fitted to what they brought before: weeks in which nothing differs are not
        fitted again.
    """

    def __init__(
        self, shares: Mapping[str, tuple[str, Shares]], before: Fits | None = None
    ) -> None:
        self._shares = shares
        self._by_plan: dict[str, dict[str, Shares]] = {}
        for code, (plan, theirs) in shares.items():
            self._by_plan.setdefault(plan, {})[code] = theirs
        self._made: dict[tuple[str, Place], Pool] = {}
        self._before = {
            key: own for key, own in (before or {}).items() if key[0] in self._by_plan
        }

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
        return Pools(shares, self._fits_for(shares))

    def of_shares(self, shares: Mapping[str, tuple[str, Shares]]) -> Pools:
        """Return the pools of what people bring: these, while nobody brings anything else."""
        same = list(self._shares) == list(shares) and all(
            plan == self._shares[code][0] and own is self._shares[code][1]
            for code, (plan, own) in shares.items()
        )
        return self if same else Pools(shares, self._fits_for(shares))

    def fit(self) -> None:
        """Fit all pools now, as who reads a page later would wait for it."""
        for plan, same in self._by_plan.items():
            for place in {place for shares in same.values() for place in shares}:
                self._pool(plan, place).prior(log_scale=_log_scale(place[0]))

    def fits(self) -> Fits:
        """Return what was fitted, by plan and place; where nothing was yet, what was before."""
        return {**self._before, **{key: pool.fits for key, pool in self._made.items()}}

    def first_of_plans(self) -> dict[str, str]:
        """Return who was enrolled first of everybody with a plan."""
        return {plan: next(iter(same)) for plan, same in self._by_plan.items() if plan}

    def fitted_anew(self) -> dict[str, Fits]:
        """Return what was fitted of each plan of which anything was not told before."""
        anew = {key[0] for key, pool in self._made.items() if pool.fits != pool.earlier}
        whole = self.fits()
        return {
            plan: {key: own for key, own in whole.items() if key[0] == plan} for plan in anew
        }

    def _fits_for(self, shares: Mapping[str, object]) -> Fits:
        """Return what was fitted for other shares; nothing once anybody is gone, as erased."""
        return self.fits() if self._shares.keys() <= shares.keys() else {}

    def _pool(self, plan: str, place: Place) -> Pool:
        key = plan, place
        if key not in self._made:
            earlier = self._before.get(key, {})
            self._made[key] = replace(_pooled(self._by_plan[plan], place), earlier=earlier)
        return self._made[key]


def _pooled(shares: Mapping[str, Shares], place: Place) -> Pool:
    """Pool what people bring to one place, in their order."""
    whole = [
        (code, share)
        for code, theirs in shares.items()
        for share in theirs.get(place, ())
        if share.series
    ]
    return Pool(
        tuple(share.baseline for _, share in whole),
        tuple(share.series for _, share in whole),
        len({code for code, _ in whole}),
        tuple(share.weeks for _, share in whole),
        tuple(code for code, _ in whole),
    )


def _log_scale(name: str) -> bool:
    """Whether the values of a measure, a ratio or all tasks together go on logarithms."""
    return MEASURES[name].log_scale if name in MEASURES else True


@cache
def _place(name: str, their_role: str) -> Place:
    """Return the same object for all people."""
    return name, their_role


def by_place(shares: Iterable[Share]) -> Shares:
    """Sort what is brought by the pool it is brought to."""
    found: dict[Place, tuple[Share, ...]] = {}
    for share in shares:
        place = _place(share.name, share.role)
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
