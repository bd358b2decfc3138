"""One number a hand and visit: the tasks' primary measures together, fixed in advance.

Errors of different tasks only partly go together, a change of the hand mostly does. The
composite therefore finds far smaller changes than any single measure (`norms/verdict-rule.md`),
at the same share of false verdicts. It is judged like one more measure, on the log scale, lower
being better.

Every part is set against its own baseline, so that a visit in which a task is missing still has
a composite, of the others. No part speaks for the others: one that strays from them enters at
most two of its typical scatters away from their middle.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from norms.baseline import BaselineRule, Point, split

# Usual within-person standard deviation of the logarithm of each task's primary measure from
# week to week. Starting values by judgement, no source: they only set the weights, so a wrong
# one costs power and makes no verdict false more often.
TYPICAL_SCATTER: dict[str, float] = {
    "tapping": 0.12,
    "pursuit": 0.10,
    "slide": 0.18,
    "trail": 0.10,
}
MIN_TASKS = 2
MAX_APART = 2.0  # typical scatters that a part may lie from the middle of all parts
LEADS = 0.5  # share of the whole change above which one part leads


@dataclass(frozen=True, slots=True)
class Composite(Point):
    """One visit's composite.

    Parameters
    ----------
    leads : str
        The task that makes up more than half of the change; empty where none does.
    lead_share : float
        Its share of the sizes of all parts' changes, as they entered.
    """

    leads: str = ""
    lead_share: float = math.nan


def composite(
    points: Mapping[str, Sequence[Point]],
    *,
    rule: BaselineRule | None = None,
    restart_visit: int | None = None,
    scatter: Mapping[str, float] = TYPICAL_SCATTER,
    min_compared: Mapping[str, float] = MappingProxyType({}),
    higher_is_better: frozenset[str] = frozenset(),
) -> tuple[Composite, ...]:
    """Combine one hand's primary measures, visit by visit.

    Parameters
    ----------
    points : mapping of str to sequence of Point
        By task, that hand's primary measure, in order of visits; values above 0 or with a
        least one. Only tasks of the plan: one that a plan leaves out is left out.
    rule : BaselineRule, optional
        Fixed at enrolment: against the mean of which visits a part is set.
    restart_visit : int, optional
        First visit of a new baseline begun on purpose.
    scatter : mapping of str to float
        Typical standard deviation of the logarithms. Each task weighs by its inverse.
    min_compared : mapping of str to float
        Values of a task below its own are equal to it, in the measure's unit: what the device
        or a finger cannot tell is no change.
    higher_is_better : frozenset of str
        Tasks whose primary measure is better when higher; they enter upside down.

    Returns
    -------
    tuple of Composite
        ``exp(sum(w d) / sum(w))`` times a level that is the same at every visit, where d is the
        change of a part's logarithm from its baseline, brought to within two typical scatters
        of the weighted median of all parts (of two parts: of the smaller change, or of none
        where they differ in direction). Its unit means nothing; its changes in percent do. A
        visit in which tasks are missing has the composite of the others, and an `error` above
        1: by how much wider its error is. With fewer than two it is nan, and the reason names
        what is missing. A task without a baseline of its own is left out. Empty with fewer than
        two tasks.

    Raises
    ------
    ValueError
        If a task has no typical scatter, or a value that counts is not above 0.

    Notes
    -----
    One part, however wrong, moves the whole by at most ``2 / sum(w)`` beyond where the others
    put it: 6 % with four tasks. The least values and the bound are judgements, without source;
    `tests/unit/test_norms_composite.py` shows by simulation what they do.
    """
    tasks = [task for task in points if points[task]]
    unknown = [task for task in tasks if not scatter.get(task, 0.0) > 0]
    if unknown:
        msg = f"no typical scatter above 0 for {unknown}; known are {sorted(scatter)}"
        raise ValueError(msg)
    if len(tasks) < MIN_TASKS:
        return ()
    rule = rule or BaselineRule()
    signs = {task: -1.0 if task in higher_is_better else 1.0 for task in tasks}
    logs = {
        task: {
            p.visit: signs[task] * _log(task, p, min_compared.get(task, 0.0))
            for p in points[task]
            if p.counts
        }
        for task in tasks
    }
    weights = {task: 1 / scatter[task] for task in tasks}
    visits = sorted({p.visit for task in tasks for p in points[task]})
    centres = _centres(logs, _baseline(logs, visits, rule, restart_visit))
    if len(centres) < MIN_TASKS:
        centres = {}
    total = sum(weights[task] for task in centres)
    level = sum(weights[t] * c for t, c in centres.items()) / total if centres else 0.0
    said = {task: {p.visit: p for p in points[task]} for task in tasks}
    made = []
    for visit in visits:
        here = {t: logs[t][visit] - c for t, c in centres.items() if visit in logs[t]}
        if len(here) < MIN_TASKS:
            reason = _missing({task: said[task].get(visit) for task in tasks})
            made.append(Composite(visit, math.nan, comparable=False, reason=reason))
            continue
        moved = {task: weights[task] * d for task, d in _bounded(here, weights).items()}
        weight = sum(weights[task] for task in here)
        error = math.sqrt(len(here) / len(centres)) * total / weight
        leads, share = _leading(moved)
        value = math.exp(level + sum(moved.values()) / weight)
        made.append(Composite(visit, value, error=error, leads=leads, lead_share=share))
    return tuple(made)


def _baseline(
    logs: Mapping[str, Mapping[int, float]],
    visits: Sequence[int],
    rule: BaselineRule,
    restart_visit: int | None,
) -> frozenset[int]:
    """Visits against which parts are set; all that count while there is no baseline yet."""
    known = [
        Point(visit, 1.0)
        for visit in visits
        if sum(visit in own for own in logs.values()) >= MIN_TASKS
    ]
    parts = split(known, rule, restart_visit=restart_visit)
    return frozenset(point.visit for point in parts.baseline or known)


def _centres(
    logs: Mapping[str, Mapping[int, float]], baseline: frozenset[int]
) -> dict[str, float]:
    """Mean of each task's logarithms at baseline, of the tasks done at half of it or more."""
    found = {}
    for task, own in logs.items():
        values = [own[visit] for visit in baseline & own.keys()]
        if values and 2 * len(values) >= len(baseline):
            found[task] = math.fsum(values) / len(values)
    return found


def _bounded(changes: Mapping[str, float], weights: Mapping[str, float]) -> dict[str, float]:
    """Bring every change to within two typical scatters of the middle of all."""
    middle = _middle(changes, weights)
    return {
        task: middle
        + max(-MAX_APART / weights[task], min(MAX_APART / weights[task], d - middle))
        for task, d in changes.items()
    }


def _middle(changes: Mapping[str, float], weights: Mapping[str, float]) -> float:
    """Weighted median, half way between two where the weight is just shared."""
    if len(changes) == MIN_TASKS:
        low, high = sorted(changes.values())
        return min(max(0.0, low), high)
    half = sum(weights[task] for task in changes) / 2
    ordered = sorted(changes, key=lambda task: changes[task])
    so_far = 0.0
    for place, task in enumerate(ordered):
        so_far += weights[task]
        if math.isclose(so_far, half):
            return (changes[task] + changes[ordered[place + 1]]) / 2
        if so_far > half:
            return changes[task]
    return changes[ordered[-1]]


def _leading(moved: Mapping[str, float]) -> tuple[str, float]:
    """Name the part that makes up more than half of all the parts' changes, if one does."""
    whole = sum(abs(one) for one in moved.values())
    if whole == 0:
        return "", math.nan
    task = max(moved, key=lambda name: abs(moved[name]))
    share = abs(moved[task]) / whole
    return (task if share > LEADS else ""), share


def _missing(here: Mapping[str, Point | None]) -> str:
    said = []
    for task, point in here.items():
        if point is None:
            said.append(f"{task} not done")
        elif not point.counts:
            said.append(f"{task}: {point.reason}" if point.reason else f"{task} does not count")
    return ", ".join(said) or "no baseline of two tasks yet"


def _log(task: str, point: Point, least: float) -> float:
    value = max(point.value, least)
    if value <= 0:
        msg = f"{task} at visit {point.visit} is {point.value}; it must be above 0"
        raise ValueError(msg)
    return math.log(value)
