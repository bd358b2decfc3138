"""Readings in doubt: what a verdict would be with them, and in which words that is said."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from battery.recording import Hand
from battery.report.page_rows import Reading
from battery.report.points import current_points
from norms.baseline import BaselineRule, Split, split
from norms.verdict import Verdict


def freed(
    readings: Iterable[Reading], rule: BaselineRule, restart_visit: int | None = None
) -> tuple[Reading, ...]:
    """Return a person's readings with doubtful ones after the baseline counting."""
    own: dict[tuple[str, Hand], list[Reading]] = {}
    for reading in readings:
        own.setdefault((reading.measure, reading.hand), []).append(reading)
    told: list[Reading] = []
    for theirs in own.values():
        if not any(r.doubtful for r in theirs):
            told += theirs
            continue
        points, _, _ = current_points(sorted(theirs, key=lambda r: r.visit))
        baseline = split(points, rule, restart_visit=restart_visit).baseline
        end = baseline[-1].visit if len(baseline) == rule.baseline else math.inf
        told += [r._replace(aside="") if r.doubtful and r.visit > end else r for r in theirs]
    return tuple(told)


def doubtful_readings(
    readings: Sequence[Reading],
    with_doubts: Sequence[Reading],
    parts: Split,
    rule: BaselineRule,
) -> dict[int, Reading]:
    """Return the doubtful readings after a complete baseline, by visit, as if they counted."""
    if len(parts.baseline) < rule.baseline:
        return {}
    end = parts.baseline[-1].visit
    key = next(r.key for r in readings if r.visit == end)
    before = {r.visit: (r.counts, r.value) for r in readings}
    return {
        r.visit: r
        for r in with_doubts
        if r.visit > end and r.counts and r.key == key and before[r.visit] != (True, r.value)
    }


def badness(verdict: Verdict) -> int:
    """Order verdicts from good news to bad; what tells no side stands in the middle."""
    sure = verdict.word == "beyond error"
    if verdict.better is None:
        return 0
    return (-2 if sure else -1) if verdict.better else (2 if sure else 1)


def doubt_words(readings: Sequence[Reading], doubtful: Mapping[int, Reading]) -> str:
    """Say which visits were doubtful and why; a reason that they share is said once."""
    reasons: dict[str, list[int]] = {}
    for reading in readings:
        if reading.visit in doubtful:
            why = reading.aside or reading.reason or "in part"
            reasons.setdefault(why, []).append(reading.visit)
    return "; ".join(
        f"visit{'s' if len(visits) > 1 else ''} {_runs_of(visits)} ({why})"
        for why, visits in reasons.items()
    )


def _runs_of(numbers: Sequence[int]) -> str:
    """List numbers in order, three and more in a row by their ends: "4, 8 to 14"."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    told = [
        f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs
    ]
    return ", ".join(told)
