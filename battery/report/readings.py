"""Reads the store's tables once, and turns blocks with their scores into readings."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

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
    """The store's tables, read once, and what was said later about them."""

    people: dict[str, Person]
    visits: list[VisitRecord]
    blocks: dict[str, list[BlockBrief]]  # by visit
    scores: dict[str, list[ScoreRow]]  # by block
    flagging: Flagging
    amendments: list[Amendment]
    note: Callable[[str, str], None]  # told what had to be left out, and why
    damaged: dict[str, str] = field(default_factory=dict)  # why, by block

    @property
    def amended(self) -> Amended:
        """What holds now."""
        return self.flagging.amended

    @classmethod
    def read(cls, store: Store, *, measures: Sequence[str] | None = None) -> Everything:
        """Read everybody's records, with all scores or those of some measures."""
        blocks: dict[str, list[BlockBrief]] = {}
        for block in store.records.in_brief():
            if block.phase == "test":
                blocks.setdefault(block.visit_id, []).append(block)
        scores: dict[str, list[ScoreRow]] = {}
        for row in store.scores.all(measures=measures):
            scores.setdefault(row.block_id, []).append(row)
        people = {p.code: p for p in store.people.all()}
        flagging = Flagging.read(store)
        return cls(
            people,
            store.visits.all(),
            blocks,
            scores,
            flagging,
            store.annotations.amendments(),
            note=store.left_out,
        )

    def look_for_damage(self, store: Store, visits: Sequence[VisitRecord]) -> None:
        """Compare what is stored of the visits' test blocks with what was sealed."""
        for block_id, why in store.records.damages([v.header.visit_id for v in visits]).items():
            self.damaged[block_id] = "damaged, not what was stored"
            self.note(f"block {block_id}", f"it is damaged, and was left out: {why}")

    def visits_of(self) -> dict[str, list[VisitRecord]]:
        """Everybody's visits in order, each with whom it belongs to now."""
        own = self.amended.by_person(self.visits)
        return {code: own.get(code, []) for code in self.people}


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
    found: list[Reading] = []
    pointer = ""
    for number, visit in enumerate(visits, start=1):
        for hand, block in _one_of_each(everything, visit):
            rows = everything.scores.get(block.block_id, [])
            flags, aside, doubtful = _judged(everything, visit, block, rows)
            if not aside:
                pointer = block.input_type
            # A block that does not count begins no series of its own.
            key = _key(visit.header, block, hand, rows, pointer if aside else block.input_type)
            if "weight_on" in flags:
                key = replace(key, weight="on")
            made = _block_readings(block, hand, number, rows, key, flags, aside)
            found += [replace(r, doubtful=True) for r in made] if doubtful else made
    return found


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
    told = [FLAGS[name].says for name in raised if not comparable([name])]
    aside = left_out or ([] if comparable(raised) else told)
    against = {name for name in raised if not comparable([name])}
    return tuple(raised), "; ".join(aside), bool(aside) and not left_out and against <= DOUBTS


def _why(everything: Everything, target: str) -> str:
    said = [a for a in everything.amendments if a.target_id == target and a.field == "excluded"]
    return f"left out by {said[-1].author}: {said[-1].reason}"


def _key(
    header: VisitHeader, block: BlockBrief, hand: Hand, rows: Sequence[ScoreRow], pointer: str
) -> SeriesKey:
    screen = header.device.screen
    versions = sorted({row.scoring_version for row in rows})
    return SeriesKey(
        task=block.task,
        hand=hand,
        plan=header.plan_hash,
        device=header.device.alias,
        scale=f"{screen.mm_per_px_x:.5f} x {screen.mm_per_px_y:.5f} mm",
        input_type=pointer,
        protocol=str(header.protocol_version),
        scoring=str(versions[-1]) if versions else "",
    )


def _block_readings(
    block: BlockBrief,
    hand: Hand,
    number: int,
    rows: Sequence[ScoreRow],
    key: SeriesKey,
    flags: tuple[str, ...],
    aside: str,
) -> list[Reading]:
    """One reading a measure; a block without scores still shows as its primary measure."""
    common = {"hand": hand, "visit": number, "block_id": block.block_id}
    if not rows:
        return [
            Reading(
                PRIMARY[block.task].name,
                value=math.nan,
                key=key,
                reason=aside or "not scored",
                flags=flags,
                aside=aside or "not scored",
                **common,  # type: ignore[arg-type]
            )
        ]
    return [
        Reading(
            row.measure,
            value=row.value,
            key=key,
            n=row.n,
            low=row.low,
            high=row.high,
            reason=row.reason,
            flags=flags,
            aside=aside,
            **common,  # type: ignore[arg-type]
        )
        for row in rows
        if row.measure in MEASURES
    ]
