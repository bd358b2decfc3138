"""One number a hand and visit: the tasks' primary measures together, fixed in advance.

Errors of different tasks only partly go together, a change of the hand mostly does. The
composite therefore finds far smaller changes than any single measure (`norms/verdict-rule.md`),
at the same share of false verdicts. It is judged like one more measure, on the log scale, lower
being better.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from norms.baseline import Point

# Usual within-person standard deviation of the logarithm of each task's primary measure from
# week to week. Starting values by judgement, no source: they only set the weights, so a wrong
# one costs power and makes no verdict false more often.
TYPICAL_SCATTER: Mapping[str, float] = MappingProxyType(
    {"tapping": 0.12, "pursuit": 0.10, "slide": 0.18, "trail": 0.10}
)
LEAST_TASKS = 2


def composite(
    points: Mapping[str, Sequence[Point]],
    *,
    scatter: Mapping[str, float] = TYPICAL_SCATTER,
    higher_is_better: frozenset[str] = frozenset(),
) -> tuple[Point, ...]:
    """Combine one hand's primary measures, visit by visit.

    Parameters
    ----------
    points : mapping of str to sequence of Point
        By task, that hand's primary measure, in order of visits; values above 0. Only tasks of
        the plan: one that a plan leaves out is left out of the mapping.
    scatter : mapping of str to float
        Typical standard deviation of the logarithms. Each task weighs by its inverse.
    higher_is_better : frozenset of str
        Tasks whose primary measure is better when higher; they enter upside down.

    Returns
    -------
    tuple of Point
        ``exp(sum(w ln x) / sum(w))``: the weighted geometric mean. Its unit means nothing; its
        changes in percent do. A visit counts only if every task counts there, so that the
        composite is the same mixture at every visit; else its value is nan and the reason names
        what is missing. Empty with fewer than two tasks.

    Raises
    ------
    ValueError
        If a task has no typical scatter, or a value that counts is not above 0.
    """
    tasks = [task for task in points if points[task]]
    unknown = [task for task in tasks if not scatter.get(task, 0.0) > 0]
    if unknown:
        msg = f"no typical scatter above 0 for {unknown}; known are {sorted(scatter)}"
        raise ValueError(msg)
    if len(tasks) < LEAST_TASKS:
        return ()
    signs = {task: -1.0 if task in higher_is_better else 1.0 for task in tasks}
    weights = {task: 1 / scatter[task] for task in tasks}
    by_visit = {task: {point.visit: point for point in points[task]} for task in tasks}
    visits = sorted({visit for own in by_visit.values() for visit in own})
    total = sum(weights.values())
    combined = []
    for visit in visits:
        here = {task: by_visit[task].get(visit) for task in tasks}
        missing = _missing(here)
        if missing:
            combined.append(Point(visit, math.nan, comparable=False, reason=missing))
            continue
        logs = [
            signs[task] * weights[task] * _log(task, point)
            for task, point in here.items()
            if point is not None
        ]
        combined.append(Point(visit, math.exp(sum(logs) / total)))
    return tuple(combined)


def _missing(here: Mapping[str, Point | None]) -> str:
    said = []
    for task, point in here.items():
        if point is None:
            said.append(f"{task} not done")
        elif not point.counts:
            said.append(f"{task}: {point.reason}" if point.reason else f"{task} does not count")
    return ", ".join(said)


def _log(task: str, point: Point) -> float:
    if point.value <= 0:
        msg = f"{task} at visit {point.visit} is {point.value}; it must be above 0"
        raise ValueError(msg)
    return math.log(point.value)
