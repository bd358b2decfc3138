"""Reads the store's tables once, and turns blocks with their scores into readings."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from sys import intern
from typing import NamedTuple

from battery.effective import visits_of
from battery.errors import BatteryError
from battery.flagging import Flagging
from battery.recording import Hand, VisitHeader
from battery.report.page_rows import Reading
from battery.scoring import MEASURES, PRIMARY
from battery.scoring.flags import FLAGS, Value, comparable
from battery.store import (
    Amended,
    Amendment,
    BlockBrief,
    Person,
    ScoreRow,
    Store,
    VisitRecord,
)
from battery.store.base import UNREADABLE
from norms.series import SeriesKey

# Flags that keep a block out of a trend because it may be better or worse than the person is,
# while it still is what this hand did in this test. A worsening is told with such blocks.
DOUBTS = frozenset({"stopped_symptom", "hand_uncertain", "helped", "few_trials"})


@dataclass(frozen=True, slots=True)
class Everything:
    """The store's tables of everybody or of one person, and what was said later about them."""

    people: dict[str, Person]
    visits: dict[str, list[VisitRecord]]  # in order, by the person whose they are now
    blocks: dict[str, list[BlockBrief]]  # those of the test, by visit
    scores: dict[str, list[ScoreRow]]  # by block
    flagging: Flagging
    amendments: list[Amendment]
    note: Callable[[str, str], None]  # told what had to be left out, and why
    damaged: dict[str, str] = field(default_factory=dict)  # why, by block
    _said: dict[str, list[tuple[int, Amendment]]] = field(default_factory=dict)  # by target

    @property
    def amended(self) -> Amended:
        """What holds now."""
        return self.flagging.amended

    @classmethod
    def read(cls, store: Store, *, measures: Sequence[str] | None = None) -> Everything:
        """Read everybody's records, with all scores or those of some measures."""
        people = {p.code: p for p in store.people.all()}
        amendments = store.annotations.amendments()
        amended = Amended(amendments)
        visits = amended.by_person(store.visits.all())
        blocks = _by_visit(store.records.in_brief(phase="test"))
        return cls(
            people,
            {code: visits.get(code, []) for code in people},
            blocks,
            store.scores.by_block(measures=measures),
            Flagging.of(store, amended, visits, blocks),
            amendments,
            note=store.left_out,
        )

    @classmethod
    def read_some(
        cls,
        store: Store,
        people: Mapping[str, Person],
        visit_ids: Sequence[str],
        *,
        amendments: list[Amendment],
        measures: Mapping[str, Sequence[str]] | None = None,
    ) -> Everything:
        """Read the records of some people, with all scores or those of some measures.

        Parameters
        ----------
        visit_ids : sequence of str
            Of all visits that are these people's now, each person's in order.
        amendments : list of Amendment
            All of the store.
        measures : mapping of task to sequence of str, optional
        """
        amended = Amended(amendments)
        held = amended.by_person(store.visits.all(visit_ids=visit_ids))
        visits = {code: held.get(code, []) for code in people}
        brief = store.records.in_brief(visit_ids=visit_ids, phase="test")
        blocks = _by_visit(brief)
        return cls(
            dict(people),
            visits,
            blocks,
            _scores(store, brief, measures),
            Flagging.of(store, amended, visits, blocks, visit_ids=visit_ids),
            amendments,
            note=store.left_out,
        )

    @classmethod
    def read_person(cls, store: Store, person: Person) -> Everything:
        """Read one person's records, and nobody else's."""
        amendments = store.annotations.amendments()
        amended = Amended(amendments)
        visits = {person.code: visits_of(store, person.code, amended)}
        visit_ids = [v.header.visit_id for v in visits[person.code]]
        blocks = _by_visit(store.records.in_brief(visit_ids=visit_ids, phase="test"))
        return cls(
            {person.code: person},
            visits,
            blocks,
            store.scores.by_block([b.block_id for own in blocks.values() for b in own]),
            Flagging.of(store, amended, visits, blocks, visit_ids=visit_ids),
            amendments,
            note=store.left_out,
        )

    def amendments_of(self, targets: Iterable[str]) -> list[Amendment]:
        """List what was said of some visits and blocks, in order of time."""
        if not self._said and self.amendments:
            for place, amendment in enumerate(self.amendments):
                self._said.setdefault(amendment.target_id, []).append((place, amendment))
        found = [pair for target in targets for pair in self._said.get(target, ())]
        return [amendment for _, amendment in sorted(found, key=lambda pair: pair[0])]

    def look_for_damage(self, store: Store, visits: Sequence[VisitRecord]) -> None:
        """Compare what is stored of the visits' test blocks with what was sealed."""
        for block_id, why in store.records.damages([v.header.visit_id for v in visits]).items():
            self.damaged[block_id] = "damaged, not what was stored"
            self.note(f"block {block_id}", f"it is damaged, and was left out: {why}")


def _scores(
    store: Store, blocks: Sequence[BlockBrief], measures: Mapping[str, Sequence[str]] | None
) -> dict[str, list[ScoreRow]]:
    if measures is None:
        return store.scores.by_block([block.block_id for block in blocks])
    by_task: dict[str, list[str]] = {}
    for block in blocks:
        by_task.setdefault(block.task, []).append(block.block_id)
    return store.scores.by_task(by_task, measures)


def _by_visit(blocks: Iterable[BlockBrief]) -> dict[str, list[BlockBrief]]:
    found: dict[str, list[BlockBrief]] = {}
    for block in blocks:
        found.setdefault(block.visit_id, []).append(block)
    return found


class Judged(NamedTuple):
    """A test block that stands for its task and hand in a visit, and whether it counts.

    Parameters
    ----------
    number : int
        Of the visit.
    rows : sequence of ScoreRow
        Its scores that were read.
    aside : str
        Why it does not count; empty if it does.
    doubtful : bool
        Whether it does not count only because it may be too good or too bad.
    day : float
        When the visit was, in days since 1970.
    """

    number: int
    hand: Hand
    block: BlockBrief
    rows: Sequence[ScoreRow]
    key: SeriesKey
    flags: tuple[str, ...]
    aside: str
    doubtful: bool
    day: float


class Placed(NamedTuple):
    """A judged block in brief: where it stands, and whether it counts.

    Parameters
    ----------
    key : SeriesKey
        One object a series of the person.
    was_read : bool
        Whether any of its scores was read.
    day : float
        When the visit was, in days since 1970.
    """

    task: str
    hand: Hand
    block_id: str
    key: SeriesKey
    counts: bool
    was_read: bool
    day: float


def readings_and_places(
    everything: Everything, code: str, visits: Sequence[VisitRecord]
) -> tuple[list[Reading], tuple[Placed, ...]]:
    """Turn a person's blocks into readings, and say of each block in brief how it stands.

    Where that cannot be, it is noted, and there are none.
    """
    try:
        judged = list(judged_blocks(everything, visits))
        readings = _readings(judged)
    except (BatteryError, *UNREADABLE) as error:
        everything.note(f"person {code}", f"left out, the records cannot be read: {error}")
        return [], ()
    return readings, tuple(
        Placed(
            intern(j.block.task),
            j.hand,
            j.block.block_id,
            j.key,
            not j.aside,
            bool(j.rows),
            j.day,
        )
        for j in judged
    )


def readings_or_none(
    everything: Everything, code: str, visits: Sequence[VisitRecord]
) -> list[Reading]:
    """Turn a person's blocks into readings; where that cannot be, note it and return none."""
    try:
        return readings_of(everything, visits)
    except (BatteryError, *UNREADABLE) as error:
        everything.note(f"person {code}", f"left out, the records cannot be read: {error}")
        return []


def readings_of(everything: Everything, visits: Sequence[VisitRecord]) -> list[Reading]:
    """Turn a person's scored test blocks into readings, in order of visits."""
    return _readings(judged_blocks(everything, visits))


def _readings(blocks: Iterable[Judged]) -> list[Reading]:
    found: list[Reading] = []
    defined = frozenset(MEASURES)
    for judged in blocks:
        made = _block_readings(judged, defined)
        found += [r._replace(doubtful=True) for r in made] if judged.doubtful else made
    return found


def judged_blocks(everything: Everything, visits: Sequence[VisitRecord]) -> Iterator[Judged]:
    """Give the test blocks that stand for a person's visits, in order of visits."""
    keys: dict[tuple[object, ...], SeriesKey] = {}  # one object a key, told apart at a glance
    raised: dict[tuple[str, ...], tuple[str, ...]] = {}  # likewise, as few differ
    pointer = ""
    for number, visit in enumerate(visits, start=1):
        alike = _alike(visit.header)
        day = datetime.fromisoformat(visit.header.started_utc).timestamp() / 86_400
        for hand, block in _one_of_each(everything, visit):
            rows = everything.scores.get(block.block_id, [])
            flags, aside, doubtful = _judged(everything, visit, block, rows)
            flags = raised.setdefault(flags, flags)
            if not aside:
                pointer = block.input_type
            # A block that does not count begins no series of its own.
            version = max((row.scoring_version for row in rows), default=None)
            own = (block.task, hand, pointer if aside else block.input_type, version)
            weight = "on" if "weight_on" in flags else ""
            if (key := keys.get((alike, own, weight))) is None:
                key = keys[alike, own, weight] = _key(alike, own, weight)
            yield Judged(number, hand, block, rows, key, flags, aside, doubtful, day)


def _one_of_each(
    everything: Everything, visit: VisitRecord
) -> Iterable[tuple[Hand, BlockBrief]]:
    """Of blocks repeated within a visit take the last finished one, else the last."""
    best: dict[tuple[str, Hand], BlockBrief] = {}
    for block in everything.blocks.get(visit.header.visit_id, []):
        held = everything.amended.hand(block.block_id, block.hand)
        hand: Hand = "left" if held == "left" else "right"
        known = best.get((block.task, hand))
        left_out = everything.amended.excluded(block.block_id)
        if known is None or (block.ending == "finished" and not left_out) or (
            known.ending != "finished"
        ):  # fmt: skip
            best[block.task, hand] = block
    return [(hand, block) for (_, hand), block in best.items()]


def _judged(
    everything: Everything, visit: VisitRecord, block: BlockBrief, rows: Sequence[ScoreRow]
) -> tuple[tuple[str, ...], str, bool]:
    """Return the flags of a block, why it does not count, and whether that is but a doubt."""
    primary = PRIMARY[block.task].name
    raised = everything.flagging.flags(
        visit.header,
        block_id=block.block_id,
        task=block.task,
        hand=block.hand,
        ending=block.ending,
        input_type=block.input_type,
        audit=block.audit,
        n_primary=next((r.n for r in rows if r.measure == primary), None),
        scores={r.measure: Value(r.value, r.n, r.reason, r.scoring_version) for r in rows},
    )
    left_out = [
        _why(everything, target)
        for target in (visit.header.visit_id, block.block_id)
        if everything.amended.excluded(target)
    ]
    left_out += [why] if (why := everything.damaged.get(block.block_id)) else []
    against = [name for name in raised if not comparable([name])]
    aside = left_out or [FLAGS[name].says for name in against]
    doubtful = bool(aside) and not left_out and DOUBTS.issuperset(against)
    return tuple(raised), "; ".join(aside), doubtful


def _why(everything: Everything, target: str) -> str:
    said = [a for a in everything.amendments_of([target]) if a.field == "excluded"]
    return f"left out by {said[-1].author}: {said[-1].reason}"


def _alike(header: VisitHeader) -> tuple[str, str, str, str]:
    """Return what all blocks of a visit share of the key of their series."""
    screen = header.device.screen
    scale = f"{screen.mm_per_px_x:.5f} x {screen.mm_per_px_y:.5f} mm"
    return header.plan_hash, header.device.alias, scale, str(header.protocol_version)


def _key(
    alike: tuple[str, str, str, str], own: tuple[str, Hand, str, int | None], weight: str
) -> SeriesKey:
    plan, device, scale, protocol = alike
    task, hand, pointer, version = own
    return SeriesKey(
        task=task,
        hand=hand,
        plan=plan,
        device=device,
        scale=scale,
        input_type=pointer,
        weight=weight,
        protocol=protocol,
        scoring="" if version is None else str(version),
    )


def _block_readings(judged: Judged, defined: Collection[str]) -> list[Reading]:
    """One reading a measure; a block without scores still shows as its primary measure."""
    block, hand, number, key = judged.block, judged.hand, judged.number, judged.key
    if not judged.rows:
        aside = judged.aside or "not scored"
        return [
            Reading(
                PRIMARY[block.task].name,
                hand,
                number,
                block.block_id,
                math.nan,
                key,
                reason=aside,
                flags=judged.flags,
                aside=aside,
                day=judged.day,
            )
        ]
    return [
        Reading(
            row.measure,
            hand,
            number,
            block.block_id,
            row.value,
            key,
            row.n,
            row.low,
            row.high,
            row.reason,
            judged.flags,
            judged.aside,
            day=judged.day,
        )
        for row in judged.rows
        if row.measure in defined
    ]
