"""All scores again from the raw records, on all cores, and what changed by it.

Blocks are read and scored by processes of their own, which open the store to read only; what
they found is written by the one that asked. A block's scores depend on its record and the
scoring version alone, so that it does not matter who computes them.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from statistics import median

from battery.errors import BatteryError
from battery.recording import Screen
from battery.scoring.definitions.news import news_of
from battery.scoring.measures import MEASURES
from battery.scoring.score import SCORING_VERSION, Score
from battery.store import ScoreRow, Store
from battery.store.base import UNREADABLE
from battery.workers import n_workers, pool, store_here

CHUNK = 4
NAMED = 6  # measures that a line names; the rest is counted

Job = tuple[str, Screen]
Outcome = tuple[str, list[Score], str]  # block, its scores, or why there are none


@dataclass(slots=True)
class Rescored:
    """What a rescoring did.

    Attributes
    ----------
    n_blocks, n_values : int
        Blocks scored, and values they have.
    changed : Counter of (why, measure)
        Values that differ from those stored before.
    steps : dict of (why, measure) to list of (before, now)
        The same, value by value, of what another version had scored.
    failed : dict of block to reason
        Blocks that could not be scored; the scores they had were left.
    """

    n_blocks: int = 0
    n_values: int = 0
    changed: Counter[tuple[str, str]] = field(default_factory=Counter)
    steps: dict[tuple[str, str], list[tuple[float, float]]] = field(default_factory=dict)
    failed: dict[str, str] = field(default_factory=dict)

    @property
    def summary(self) -> str:
        """What is told on the terminal: a line in all, then one for every reason.

        Of what another version had scored, a line for every measure: how far, and why.
        """
        lines = [
            f"{self.n_blocks} blocks scored with version {SCORING_VERSION}: {self.n_values} "
            f"values, {self.changed.total()} changed; raw records untouched"
        ]
        reasons: dict[str, Counter[str]] = {}
        for (why, measure), count in self.changed.items():
            reasons.setdefault(why, Counter())[measure] += count
        for why, measures in sorted(reasons.items()):
            told = [
                _measure_line(name, self.steps[why, name])
                for name in MEASURES
                if (why, name) in self.steps
            ]
            if told:
                lines += [f"  {why}: {measures.total()} values", *told]
                continue
            named = [f"{name} {count}" for name, count in measures.most_common(NAMED)]
            rest = len(measures) - len(named)
            more = [f"and {rest} more measures"] if rest else []
            lines.append(f"  {why}: {measures.total()} values ({', '.join([*named, *more])})")
        lines += [f"  not scored: block {block}: {why}" for block, why in self.failed.items()]
        return "\n".join(lines)


def rescore_all(
    store: Store, *, progress: Callable[[int, int], None], n_processes: int | None = None
) -> str:
    """Compute the scores of every test block again from its raw record.

    Parameters
    ----------
    progress : callable
        Called with blocks done and blocks in all.
    n_processes : int, optional
        Default: one a core, fewer for few blocks. The figures do not depend on it.

    Returns
    -------
    str
        How many blocks and values there are, how many values differ from the stored ones, and
        why; see `Rescored.summary`.
    """
    return rescore(store, progress=progress, n_processes=n_processes).summary


def rescore(
    store: Store, *, progress: Callable[[int, int], None], n_processes: int | None = None
) -> Rescored:
    """Do the work of `rescore_all`; a block that fails does not stop the others."""
    jobs = [
        (record.header.block_id, visit.header.device.screen)
        for visit in store.visits.all()
        for record in store.records.of_visit(visit.header.visit_id)
        if record.header.phase == "test" and record.ending is not None
    ]
    old: dict[str, dict[str, ScoreRow]] = {}
    for row in store.scores.all():
        old.setdefault(row.block_id, {})[row.measure] = row
    done = Rescored()
    with _outcomes(store, jobs, n_processes) as outcomes:
        for number, (block_id, fresh, failure) in enumerate(outcomes, start=1):
            if failure:
                done.failed[block_id] = failure
            else:
                done.n_blocks += 1
                done.n_values += len(fresh)
                if _compare(old.get(block_id, {}), fresh, done):
                    store.scores.put(block_id, fresh)
            progress(number, len(jobs))
    return done


@contextmanager
def _outcomes(
    store: Store, jobs: list[Job], n_processes: int | None
) -> Iterator[Iterable[Outcome]]:
    most = n_workers(len(jobs), asked=n_processes)
    if most <= 1:
        yield (_score(store, job) for job in jobs)
        return
    with pool(most, store) as executor:
        yield executor.map(_score_here, jobs, chunksize=CHUNK)


def _score_here(job: Job) -> Outcome:
    return _score(store_here(), job)


def _score(store: Store, job: Job) -> Outcome:
    from battery.scoring import score_block

    block_id, screen = job
    try:
        return block_id, score_block(store.records.load(block_id), screen=screen), ""
    except BatteryError as error:
        return block_id, [], str(error)
    except UNREADABLE as error:
        return block_id, [], f"it cannot be scored: {type(error).__name__} {error}"


def _compare(old: Mapping[str, ScoreRow], fresh: list[Score], done: Rescored) -> bool:
    """Count what differs by its reason; return whether anything has to be written."""
    changed = done.changed
    write = len(old) != len(fresh)
    for score in fresh:
        before = old.get(score.measure)
        if before is None:
            changed["never scored before" if not old else "new measure", score.measure] += 1
            write = True
            continue
        write = write or not _identical(before, score)
        if not _same(before.value, score.value):
            why = _why(before, score)
            changed[why, score.measure] += 1
            if before.scoring_version != score.scoring_version:
                steps = done.steps.setdefault((why, score.measure), [])
                steps.append((before.value, score.value))
    for name in old.keys() - {score.measure for score in fresh}:
        changed["no longer measured", name] += 1
    return write


def _measure_line(name: str, steps: list[tuple[float, float]]) -> str:
    """Say how far the values of a measure moved, and what changed in it."""
    both = [(a, b) for a, b in steps if not (math.isnan(a) or math.isnan(b))]
    gone = sum(math.isnan(b) for _, b in steps)
    come = sum(math.isnan(a) for a, _ in steps)
    told = [f"{gone} withheld now"] * bool(gone) + [f"{come} had none before"] * bool(come)
    if both:
        told.insert(0, f"{len(both)} moved by {_moved(both)}")
    why = news_of(name) if MEASURES[name].since == SCORING_VERSION else ""
    return f"    {name}: {', '.join(told)}{f'; {why}' if why else ''}"


def _moved(both: list[tuple[float, float]]) -> str:
    """Say the middle and the range of changes, in percent where all values are above 0."""
    if all(a > 0 and b > 0 for a, b in both):
        moved, unit = sorted(100 * (b / a - 1) for a, b in both), " %"
    else:
        moved, unit = sorted(b - a for a, b in both), ""
    middle = median(moved)
    ends = "" if len(moved) == 1 else f" ({moved[0]:+.2g} to {moved[-1]:+.2g}{unit})"
    return f"{middle:+.2g}{unit}{ends}"


def _why(before: ScoreRow, score: Score) -> str:
    if before.scoring_version == score.scoring_version:
        return "same version: other libraries or another machine"
    versions = f"version {before.scoring_version} to {score.scoring_version}"
    if MEASURES[score.measure].since > before.scoring_version:
        return f"{versions}, defined anew"
    return f"{versions}, computed anew"


def _identical(before: ScoreRow, score: Score) -> bool:
    return (
        (before.n, before.reason, before.scoring_version)
        == (score.n, score.reason, score.scoring_version)
        and _same(before.value, score.value)
        and _same(before.low, score.low)
        and _same(before.high, score.high)
    )


def _same(a: float, b: float) -> bool:
    return a == b or (math.isnan(a) and math.isnan(b))
