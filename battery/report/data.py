"""Gathers one person's page from the store: series, bands, verdicts, paths, flags."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from battery.recording import HANDS, Block, Hand, VisitHeader
from battery.scoring import MEASURES, PARTNER, PRIMARY, Measure, measures_of
from battery.scoring.flags import comparable, flags_of
from battery.scoring.path import Floats, contact_path
from battery.scoring.tapping import taps
from battery.store import BlockRecord, Person, ScoreRow, Store, VisitRecord
from norms.band import Prior, pool
from norms.baseline import BaselineRule, Point, split
from norms.verdict import Verdict, judge
from tasks.registry import TASKS

RULE = BaselineRule()


@dataclass(frozen=True, slots=True)
class Value:
    """A measure at one visit, with everything a reader needs to trace it."""

    visit: int
    when: datetime
    score: ScoreRow
    flags: tuple[str, ...]
    same_series: bool

    @property
    def point(self) -> Point:
        """As the norms take it."""
        usable = self.same_series and comparable(list(self.flags))
        return Point(self.visit, self.score.value, usable)


@dataclass(frozen=True, slots=True)
class Line:
    """One measure of one hand over the visits, and what may be said of it."""

    measure: Measure
    hand: Hand
    values: tuple[Value, ...]
    verdict: Verdict
    n_familiarisation: int
    baseline_visits: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Trace:
    """What the hand did in one block, to be drawn: paths or end points, mm."""

    task: str
    hand: Hand
    visit: int
    block_id: str
    paths_mm: tuple[Floats, ...] = ()
    ends_mm: Floats = field(default_factory=lambda: np.empty((0, 2)))
    target_r_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class PageData:
    """Everything on the page, in plain values."""

    person: Person
    visits: tuple[VisitRecord, ...]
    lines: dict[tuple[str, Hand], Line]  # by measure and hand
    traces: dict[tuple[str, Hand], tuple[Trace | None, Trace | None]]  # baseline, latest
    priors: dict[tuple[str, Hand], Prior | None]
    breaks: tuple[tuple[int, str], ...]  # visit, why
    made: datetime

    def line(self, measure: str, hand: Hand) -> Line | None:
        """Return a measure's line, or None if that hand was never tested in it."""
        return self.lines.get((measure, hand))


def series_key(visit: VisitHeader, block: BlockRecord | None) -> tuple[object, ...]:
    """Return what has to be the same for two visits to be compared."""
    screen = visit.device.screen
    return (
        visit.plan_hash,
        visit.device.alias,
        round(screen.mm_per_px_x, 5),
        round(screen.mm_per_px_y, 5),
        visit.protocol_version,
        block.input_type if block is not None else "",
    )


def gather(store: Store, code: str, *, now: datetime) -> PageData:
    """Read a person's page from the store.

    Raises
    ------
    UsageError
        If nobody has the code.
    """
    person = store.person(code)
    visits = tuple(store.visits(code))
    lines: dict[tuple[str, Hand], Line] = {}
    priors: dict[tuple[str, Hand], Prior | None] = {}
    everybody = _Everybody(store)
    own = everybody.values(code)
    for measure in MEASURES.values():
        for hand in HANDS:
            values = own.get((measure.name, hand), ())
            if not values:
                continue
            prior = everybody.prior(measure, hand, person)
            priors[measure.name, hand] = prior
            lines[measure.name, hand] = _line(measure, hand, values, prior)
    return PageData(
        person=person,
        visits=visits,
        lines=lines,
        traces={
            (task, hand): _traces(store, lines.get((PRIMARY[task].name, hand)))
            for task in TASKS
            for hand in HANDS
        },
        priors=priors,
        breaks=_breaks(visits),
        made=now,
    )


def _line(measure: Measure, hand: Hand, values: tuple[Value, ...], prior: Prior | None) -> Line:
    points = [v.point for v in values]
    parts = split(points, RULE)
    verdict = judge(
        points, prior, log_scale=measure.log_scale, direction=measure.direction, rule=RULE
    )
    baseline = tuple(p.visit for p in parts.baseline)
    return Line(measure, hand, values, verdict, len(parts.familiarisation), baseline)


def role(hand: Hand, person: Person) -> str:
    """Return the role of a hand: scatter is pooled over hands of the same role."""
    if person.affected_side in ("both", "unknown"):
        return person.affected_side
    return "affected" if hand == person.affected_side else "other"


class _Everybody:
    """Values of everybody in the store, read once, for the pooled scatter."""

    def __init__(self, store: Store) -> None:
        self._people = {p.code: p for p in store.list_people()}
        scores: dict[str, list[ScoreRow]] = {}
        for row in store.scores():
            scores.setdefault(row.block_id, []).append(row)
        self._values: dict[str, dict[tuple[str, Hand], tuple[Value, ...]]] = {
            code: _values_of(store, code, scores) for code in self._people
        }
        self._plans = {
            code: visits[-1].header.plan_hash
            for code in self._people
            if (visits := store.visits(code))
        }

    def values(self, code: str) -> dict[tuple[str, Hand], tuple[Value, ...]]:
        """Return one person's values by measure and hand."""
        return self._values[code]

    def prior(self, measure: Measure, hand: Hand, person: Person) -> Prior | None:
        """Pool the baseline scatter of everybody with the same plan and role of hand."""
        plan = self._plans.get(person.code)
        groups = []
        for code, other in self._people.items():
            if self._plans.get(code) != plan:
                continue
            for their_hand in HANDS:
                if role(their_hand, other) != role(hand, person):
                    continue
                values = self._values[code].get((measure.name, their_hand), ())
                chosen = [p.value for p in split([v.point for v in values], RULE).baseline]
                if len(chosen) == RULE.baseline and not (
                    measure.log_scale and min(chosen) <= 0
                ):
                    groups.append(chosen)
        return pool(groups, log_scale=measure.log_scale)


def _values_of(
    store: Store, code: str, scores: dict[str, list[ScoreRow]]
) -> dict[tuple[str, Hand], tuple[Value, ...]]:
    visits = store.visits(code)
    found: dict[tuple[str, Hand], list[tuple[Value, tuple[object, ...]]]] = {}
    for visit in visits:
        records = [r for r in store.blocks(visit.header.visit_id) if r.header.phase == "test"]
        for record in _last_of_each(records):
            key = series_key(visit.header, record)
            rows = scores.get(record.header.block_id, [])
            primary = PRIMARY[record.header.task].name
            n_primary = next((r.n for r in rows if r.measure == primary), None)
            raised = flags_of(
                ending=record.ending,
                input_type=record.input_type,
                scale_source=visit.header.device.screen.scale_source,
                audit=record.audit,
                task=record.header.task,
                n_primary=n_primary,
            )
            for row in rows:
                value = Value(
                    visit.header.sequence,
                    datetime.fromisoformat(visit.header.started_utc),
                    row,
                    tuple(raised),
                    same_series=True,
                )
                found.setdefault((row.measure, record.header.hand), []).append((value, key))
    return {
        name: tuple(
            Value(v.visit, v.when, v.score, v.flags, same_series=key == pairs[-1][1])
            for v, key in pairs
        )
        for name, pairs in found.items()
    }


def _last_of_each(records: Sequence[BlockRecord]) -> list[BlockRecord]:
    """Of a block that was repeated within a visit keep the finished one, else the last."""
    best: dict[tuple[str, str], BlockRecord] = {}
    for record in records:
        key = (record.header.task, record.header.hand)
        if key not in best or best[key].ending != "finished":
            best[key] = record
    return list(best.values())


def _breaks(visits: Sequence[VisitRecord]) -> tuple[tuple[int, str], ...]:
    """List where a new series begins, and why."""
    names = (
        "another plan",
        "another device",
        "another scale",
        "another scale",
        "another protocol",
    )
    breaks = []
    for before, after in itertools.pairwise(visits):
        a, b = series_key(before.header, None), series_key(after.header, None)
        why = [name for name, x, y in zip(names, a, b, strict=False) if x != y]
        if why:
            breaks.append((after.header.sequence, why[0]))
    return tuple(breaks)


def _traces(store: Store, line: Line | None) -> tuple[Trace | None, Trace | None]:
    if line is None:
        return None, None
    usable = [v for v in line.values if v.point.counts]
    if not usable:
        return None, None
    first = next((v for v in usable if v.visit in line.baseline_visits[-1:]), usable[0])
    return tuple(  # type: ignore[return-value]
        trace_of(store.load_block(v.score.block_id), v.visit) for v in (first, usable[-1])
    )


def trace_of(block: Block, visit: int) -> Trace:
    """Return what is drawn of a block."""
    header = block.header
    if header.task == "tapping":
        ends = [
            (t.x_mm - t.target_x_mm, t.y_mm - t.target_y_mm)
            for t in taps(block)
            if not math.isnan(t.x_mm)
        ]
        return Trace(
            header.task,
            header.hand,
            visit,
            header.block_id,
            ends_mm=np.array(ends).reshape(-1, 2),
            target_r_mm=header.settings["target_r_mm"],
        )
    paths = tuple(path[::2] for _, path in contact_path(block.samples) if len(path) > 10)
    if header.task == "trail":
        paths = paths[:1]
    return Trace(header.task, header.hand, visit, header.block_id, paths_mm=paths)


__all__ = ["PARTNER", "Line", "PageData", "Trace", "Value", "gather", "measures_of", "role"]
