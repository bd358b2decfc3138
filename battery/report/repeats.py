"""How well measures repeat in this store: everybody's baseline visits as repeated visits."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import exp

from battery.report.known import Known
from battery.report.points import baseline_values, role, rule_of
from battery.report.theirs import Theirs
from battery.scoring import PRIMARY, Measure
from battery.store import Store
from norms.reliability import MIN_PEOPLE, Interval, Reliability, mean_squares, reliability
from norms.scatter import transform

ROLES = ("affected", "other", "both", "unknown")  # of a hand, in the order of a table
ALIKE = "the visits do not differ at all, so nothing can be said"


@dataclass(frozen=True, slots=True)
class Repeats:
    """What the baselines of one role of the hand say about a measure.

    Parameters
    ----------
    role : str
        One of `ROLES`; the last two where the sides are not told apart.
    n_people, n_hands : int
        With a complete baseline; more hands than people where the sides are not told apart.
    found : Reliability or None
        None with fewer than three people, or without any scatter; then `reason` says so. Two
        hands of one person are taken as two people.
    """

    measure: Measure
    role: str
    n_people: int
    n_hands: int
    found: Reliability | None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class PlanRepeats:
    """The same for everybody who follows one plan.

    Parameters
    ----------
    plan_hash, name : str
    n_people : int
        People whose latest visit had this plan.
    rows : tuple of Repeats
        By task and role of the hand.
    """

    plan_hash: str
    name: str
    n_people: int
    rows: tuple[Repeats, ...]


@dataclass(frozen=True, slots=True)
class Figures:
    """What was found as words for a table; of intervals value, low and high end.

    Parameters
    ----------
    agreement, consistency : tuple of str
        ICC(2,1) and ICC(3,1).
    sem, mdc95 : str
        In percent of the value, the second upwards, or in the measure's unit.
    drift : tuple of str
        From the first to the last visit: a factor, or a difference in the measure's unit.
    """

    agreement: tuple[str, str, str]
    consistency: tuple[str, str, str]
    sem: str
    mdc95: str
    drift: tuple[str, str, str]


def repeats_by_plan(store: Store, known: Known | None = None) -> list[PlanRepeats]:
    """Compute the reliability of each primary measure from complete baselines, plan by plan.

    Parameters
    ----------
    known : Known, optional
        What was read of people before.

    Returns
    -------
    list of PlanRepeats
        The plan that most people's latest visit had comes first; empty before any visit.

    Notes
    -----
    People are taken as unchanged over their baseline. Where they still learn, or change,
    the error comes out too large. Series are each person's own: devices are not told apart.
    """
    known = Known() if known is None else known
    with known.lock, store.at_one_moment():
        people = [own for own in known.people(store).values() if own.plan]
        plans = store.setup.plans()
    found: dict[str, list[Theirs]] = {}
    for own in people:
        found.setdefault(own.plan, []).append(own)
    return [
        PlanRepeats(plan, str(plans.get(plan, {}).get("name", "")), len(theirs), _rows(theirs))
        for plan, theirs in sorted(found.items(), key=lambda held: (-len(held[1]), held[0]))
    ]


def repeats(store: Store, *, plan_hash: str | None = None) -> tuple[list[Repeats], str]:
    """Compute it for one plan.

    Parameters
    ----------
    plan_hash : str, optional
        Take people whose latest visit had this plan; by default the plan most of them had.

    Returns
    -------
    list of Repeats
        By task and role of the hand.
    str
        Hash of the plan; empty before any visit.
    """
    found = repeats_by_plan(store)
    if not found:
        return [], ""
    chosen = plan_hash or found[0].plan_hash
    rows = next((held.rows for held in found if held.plan_hash == chosen), ())
    return list(rows), chosen


def _rows(people: Iterable[Theirs]) -> tuple[Repeats, ...]:
    """Judge every table there is, of a plan's people."""
    tables: dict[tuple[str, str], list[tuple[str, tuple[float, ...]]]] = {}
    for theirs in people:
        for task, measure in PRIMARY.items():
            for (name, hand), own in theirs.readings.items():
                if name == measure.name:
                    values = baseline_values(own, rule_of(theirs.person))
                    table = tables.setdefault((task, role(hand, theirs.person)), [])
                    if values and (not measure.log_scale or min(values) > 0):
                        table.append((theirs.person.code, values))
    return tuple(
        _one(measure, side, tables[task, side])
        for task, measure in PRIMARY.items()
        for side in ROLES
        if (task, side) in tables
    )


def _one(measure: Measure, side: str, table: list[tuple[str, tuple[float, ...]]]) -> Repeats:
    """Judge one table; baselines longer than the shortest are cut to its length."""
    n_people = len({code for code, _ in table})

    def without(reason: str) -> Repeats:
        return Repeats(measure, side, n_people, len(table), None, reason)

    if n_people < MIN_PEOPLE:
        complete = "1 complete baseline" if n_people == 1 else f"{n_people} complete baselines"
        return without(f"{complete}; at least {MIN_PEOPLE} people are needed")
    n_visits = min(len(values) for _, values in table)
    rows = [values[:n_visits] for _, values in table]
    squares = mean_squares(transform(rows, log_scale=measure.log_scale))
    if squares.within == 0 or squares.error == 0:  # as where all lie below what is compared
        return without(ALIKE)
    found = reliability(rows, log_scale=measure.log_scale)
    return Repeats(measure, side, n_people, len(table), found)


def figures_of(measure: Measure, found: Reliability) -> Figures:
    """Return what was found as words for a table."""
    bias = found.first_to_last.bias
    if measure.log_scale:
        sem, mdc95 = f"{found.sem_percent:.1f} %", f"+{found.mdc95_percent:.0f} %"
        drift = _each(Interval(*map(exp, bias)), "× {:.2f}", "{:.2f}")
    else:
        sem, mdc95 = (f"{size:.3g} {measure.unit}" for size in (found.sem, found.mdc95))
        drift = _each(bias, "{:+.3g}", "{:+.3g}")
    two, three = (_each(found.icc[name], "{:.2f}", "{:.2f}") for name in ("(2,1)", "(3,1)"))
    return Figures(two, three, sem, mdc95, drift)


def _each(told: Interval, value: str, end: str) -> tuple[str, str, str]:
    return value.format(told.value), end.format(told.low), end.format(told.high)


def repeats_text(found: list[Repeats]) -> list[list[str]]:
    """Return a header and one row a measure and role, as words for a table."""
    rows = [
        ["measure", "hand", "people", "visits", "ICC(2,1)", "ICC(3,1)", "SEM", "MDC95",
         "first to last"]
    ]  # fmt: skip
    for row in found:
        hands = f" ({row.n_hands} hands)" if row.n_hands > row.n_people else ""
        start = [row.measure.name, row.role, f"{row.n_people}{hands}"]
        if row.found is None:
            rows.append([*start, "", "", "", "", "", row.reason])
            continue
        told = figures_of(row.measure, row.found)
        two, three, drift = (
            f"{value} ({low} to {high})"
            for value, low, high in (told.agreement, told.consistency, told.drift)
        )
        n_visits = str(row.found.n_visits)
        rows.append([*start, n_visits, two, three, told.sem, told.mdc95, drift])
    return rows
