"""How well measures repeat in this store: everybody's baseline visits as repeated visits."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

from battery.report.gather import readings_by_person
from battery.report.points import baseline_values, role, rule_of
from battery.scoring import PRIMARY, Measure
from battery.store import Store
from norms.reliability import MIN_PEOPLE, Reliability, reliability


@dataclass(frozen=True, slots=True)
class Repeats:
    """What the baselines of one role of the hand say about a measure.

    Parameters
    ----------
    role : str
        "affected", "other", or "any" where the sides are not told apart.
    n_people : int
        People with a complete baseline.
    found : Reliability or None
        None with fewer than three people; then `reason` says so.
    """

    measure: Measure
    role: str
    n_people: int
    found: Reliability | None
    reason: str = ""


def repeats(store: Store, *, plan_hash: str | None = None) -> tuple[list[Repeats], str]:
    """Compute the reliability of each primary measure from complete baselines.

    Parameters
    ----------
    plan_hash : str, optional
        Take people whose latest visit had this plan; by default the plan most of them had.

    Returns
    -------
    list of Repeats
        By task and role of the hand.
    str
        Hash of the plan.

    Notes
    -----
    People are taken as unchanged over their baseline. Where they still learn, or change,
    the error comes out too large. Series are each person's own: devices are not told apart.
    """
    people = readings_by_person(store)
    plans = [plan for _, plan, _ in people if plan]
    if not plans:
        return [], ""
    chosen = plan_hash or max(sorted(set(plans)), key=plans.count)
    tables: dict[tuple[str, str], list[tuple[float, ...]]] = {}
    for person, plan, readings in people:
        if plan != chosen:
            continue
        for task, measure in PRIMARY.items():
            for (name, hand), own in readings.items():
                if name == measure.name:
                    values = baseline_values(own, rule_of(person))
                    table = tables.setdefault((task, role(hand, person)), [])
                    if values and (not measure.log_scale or min(values) > 0):
                        table.append(values)
    return [_one(PRIMARY[task], side, table) for (task, side), table in tables.items()], chosen


def _one(measure: Measure, side: str, table: list[tuple[float, ...]]) -> Repeats:
    """Judge one table; baselines longer than the shortest are cut to its length."""
    if len(table) < MIN_PEOPLE:
        reason = f"{len(table)} complete baselines; at least {MIN_PEOPLE} people are needed"
        return Repeats(measure, side, len(table), None, reason)
    n_visits = min(len(values) for values in table)
    rows = [values[:n_visits] for values in table]
    return Repeats(measure, side, len(table), reliability(rows, log_scale=measure.log_scale))


def repeats_text(found: list[Repeats]) -> list[list[str]]:
    """Return a header and one row a measure and role, as words for a table."""
    rows = [
        ["measure", "hand", "people", "visits", "ICC(2,1)", "ICC(3,1)", "SEM", "MDC95",
         "first to last"]
    ]  # fmt: skip
    for row in found:
        start = [row.measure.name, row.role, str(row.n_people)]
        if row.found is None:
            rows.append([*start, "", "", "", "", "", row.reason])
            continue
        r = row.found
        bias = r.first_to_last.bias
        if row.measure.log_scale:
            sizes = [f"{r.sem_percent:.1f} %", f"+{r.mdc95_percent:.0f} %"]
            drift = f"x {_ratio(bias.value)} ({_ratio(bias.low)} to {_ratio(bias.high)})"
        else:
            sizes = [f"{r.sem:.3g} {row.measure.unit}", f"{r.mdc95:.3g} {row.measure.unit}"]
            drift = f"{bias.value:+.3g} ({bias.low:+.3g} to {bias.high:+.3g})"
        agreement = [
            f"{x.value:.2f} ({x.low:.2f} to {x.high:.2f})"
            for x in (r.icc["(2,1)"], r.icc["(3,1)"])
        ]
        rows.append([*start, str(r.n_visits), *agreement, *sizes, drift])
    return rows


def _ratio(log_difference: float) -> str:
    return f"{exp(log_difference):.2f}"
