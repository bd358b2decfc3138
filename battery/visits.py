"""One visit from its first block to its last: plan → layouts → blocks → store → scores.

The command line and the demo go through the same calls; only the sources differ.
"""

from __future__ import annotations

import platform
import random
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from importlib.metadata import PackageNotFoundError, version

from battery.answers import STOP_RISE, Answer, Moment, latest, rises
from battery.moments import utc_text
from battery.plan import Plan, PlannedBlock, fresh_seed, plan_hash, planned_blocks
from battery.recording import Block, BlockHeader, Device, Hand, TimingAudit, VisitHeader
from battery.rescoring import rescore_all as rescore_all
from battery.runner import Source, run_block
from battery.store import BlockRecord, Person, Store, VisitRecord
from tasks.contract import settings_to_dict
from tasks.registry import TASKS

RESUME_WITHIN = timedelta(hours=12)
TRIES_PER_BLOCK = 2  # a broken-off block may be repeated once
PRACTICES = 3  # a practice that was not passed may be done so often in all

Wall = Callable[[], datetime]


def software_version() -> str:
    """Name and version of this program, as written into every visit."""
    try:
        return f"coordination-battery {version('coordination-battery')}"
    except PackageNotFoundError:
        return "coordination-battery (not installed)"


def library_versions() -> dict[str, str]:
    """Versions of what shapes a record, as written into every block."""
    names = ("numpy", "pygame-ce", "pyarrow", "scipy")
    return {"python": platform.python_version(), **{name: version(name) for name in names}}


@dataclass
class VisitRun:
    """A visit in progress.

    Attributes
    ----------
    todo : list of PlannedBlock
        What is still to be done, in order.
    resumed : bool
        Whether blocks of this visit were already there.
    practised : dict of PlannedBlock to int
        How often each practice was done to its end.
    answers : list of Answer
        What was answered in this visit, in order.
    last_block : str or None
        The block that was begun last.
    planned : tuple of PlannedBlock
        Everything that the plan asks for.
    """

    store: Store
    header: VisitHeader
    todo: list[PlannedBlock]
    resumed: bool
    wall: Wall
    random_source: random.Random
    versions: dict[str, str]
    used_layouts: set[str]
    next_index: int
    tries: dict[PlannedBlock, int] = field(default_factory=dict)
    practised: dict[PlannedBlock, int] = field(default_factory=dict)
    answers: list[Answer] = field(default_factory=list)
    last_block: str | None = None
    planned: tuple[PlannedBlock, ...] = ()

    @property
    def n_planned(self) -> int:
        """How many tests the plan asks for."""
        return sum(block.phase == "test" for block in self.planned)

    @property
    def n_done(self) -> int:
        """How many tests were done to their end, each task and hand counted once."""
        return len(
            {
                (record.header.task, record.header.hand)
                for record in self.store.records.of_visit(self.header.visit_id)
                if record.header.phase == "test" and record.ending == "finished"
            }
        )

    def run(
        self, planned: PlannedBlock, source: Source, audit: TimingAudit | None = None
    ) -> Block:
        """Do one block, store it and the rows of its trials; of a test block its scores too."""
        seed, settings, layout_hash = fresh_seed(planned, self.used_layouts, self.random_source)
        header = BlockHeader(
            block_id=self._new_id(),
            visit_id=self.header.visit_id,
            index=self.next_index,
            task=planned.task,
            hand=planned.hand,
            phase=planned.phase,
            layout_seed=seed,
            layout_hash=layout_hash,
            settings=settings_to_dict(settings),
            started_utc=utc_text(self.wall()),
            versions=self.versions,
            task_version=TASKS[planned.task].version,
        )
        self.used_layouts.add(layout_hash)
        self.next_index += 1
        self.tries[planned] = self.tries.get(planned, 0) + 1
        self.last_block = header.block_id
        block = run_block(header, source, self.store.records.begin(header), audit)
        from battery.scoring import score_block
        from battery.scoring.trials import rows_to_keep

        test, screen = planned.phase == "test", self.header.device.screen
        scores = score_block(block, screen=screen) if test else []
        self.store.scores.put(header.block_id, scores, rows_to_keep(block))
        if block.ending == "finished" and planned in self.todo:
            self.todo.remove(planned)
            if planned.phase == "practice":
                self.practised[planned] = self.practised.get(planned, 0) + 1
        return block

    def practise_again(self, planned: PlannedBlock) -> bool:
        """After a practice that was not passed: put it back, or leave out task and hand.

        Returns
        -------
        bool
            Whether it may be done again; after the third time it may not, and nothing of the
            task with this hand is scored.
        """
        if self.practised.get(planned, 0) < PRACTICES:
            self.todo.insert(0, planned)
            return True
        self.leave_out(planned)
        return False

    def leave_out(self, planned: PlannedBlock) -> None:
        """Leave out a task with a hand, practice and test."""
        same = (planned.task, planned.hand)
        self.todo = [block for block in self.todo if (block.task, block.hand) != same]

    def answer(
        self, moment: Moment, question: str, value: str, block_id: str | None = None
    ) -> None:
        """Keep an answer."""
        self.answers.append(
            self.store.visits.put_answer(
                self.header.visit_id,
                moment,
                question,
                value,
                at_utc=utc_text(self.wall()),
                block_id=block_id,
            )
        )

    def answered(
        self, moment: Moment, question: str, block_id: str | None = None
    ) -> str | None:
        """Return the answer that counts; None if there is none."""
        return latest(self.answers, moment, question, block_id)

    def unanswered_block(self) -> Hand | None:
        """Return the hand of the last block if it was a finished test and nobody was asked.

        None if there is nothing to ask.
        """
        records = [
            record
            for record in self.store.records.of_visit(self.header.visit_id)
            if record.header.block_id == self.last_block
        ]
        for record in records:
            asked = self.answered("block", "hand_used", record.header.block_id)
            if (record.header.phase, record.ending, asked) == ("test", "finished", None):
                return record.header.hand
        return None

    def may_repeat(self, planned: PlannedBlock) -> bool:
        """Whether a block that was broken off may be tried once more."""
        return self.tries.get(planned, 0) < TRIES_PER_BLOCK

    def end(self, ending: str = "finished") -> None:
        """Close the visit. One in which no test was done to its end is not finished."""
        if ending == "finished" and self.n_planned and not self.n_done:
            ending = "stopped"
        self.store.visits.end(self.header.visit_id, ending)

    def reopen(self) -> None:
        """Go on with a visit that was ended early."""
        self.store.visits.end(self.header.visit_id, None)

    def _new_id(self) -> str:
        return str(uuid.UUID(int=self.random_source.getrandbits(128), version=4))


def begin_visit(
    store: Store,
    person: Person,
    plan: Plan,
    device: Device,
    *,
    wall: Wall,
    random_source: random.Random | None = None,
    origin: str = "stage",
) -> VisitRun:
    """Begin a visit, or go on with one of today that was cut off or ended early.

    One that was handed over already, or ended because of how the person felt, stays ended.

    Parameters
    ----------
    wall : callable
        Returns the time with its zone; injected so that a demo can live in other weeks.
    random_source : random.Random, optional
        For layouts and identifiers; by default the operating system's.
    origin : {"stage", "simulated"}
    """
    source = random_source or random.SystemRandom()
    hash_of_plan = plan_hash(plan)
    store.setup.put_plan(hash_of_plan, plan.model_dump(mode="json"))
    store.setup.put_device(device)
    blocks = planned_blocks(plan, person.first_hand)
    earlier = store.visits.all(person.code)
    cut = _cut_off(store, earlier, hash_of_plan, device, wall())
    used = store.visits.used_layouts(person.code)
    if cut is not None:
        records = store.records.of_visit(cut.header.visit_id)
        gated = cut.header.origin == "stage"
        practised = _practised(store, records) if gated else {}
        todo = _remaining(blocks, records, practised)
        if cut.ending is not None:
            store.visits.end(cut.header.visit_id, None)
        return VisitRun(
            store=store,
            header=cut.header,
            todo=todo,
            resumed=True,
            wall=wall,
            random_source=source,
            versions=library_versions(),
            used_layouts=used,
            next_index=len(records),
            practised={b: len(practised.get((b.task, b.hand), ())) for b in todo},
            answers=store.visits.answers(cut.header.visit_id),
            last_block=records[-1].header.block_id if records else None,
            planned=tuple(blocks),
        )
    now = wall()
    offset = now.utcoffset() or timedelta()
    header = VisitHeader(
        visit_id=str(uuid.UUID(int=source.getrandbits(128), version=4)),
        person=person.code,
        sequence=1 + max((v.header.sequence for v in earlier), default=0),
        plan_name=plan.name,
        plan_hash=hash_of_plan,
        device=device,
        started_utc=utc_text(now),
        utc_offset_min=int(offset.total_seconds() // 60),
        software=software_version(),
        origin="simulated" if origin == "simulated" else "stage",
    )
    store.visits.begin(header)
    return VisitRun(
        store=store,
        header=header,
        todo=list(blocks),
        resumed=False,
        wall=wall,
        random_source=source,
        versions=library_versions(),
        used_layouts=used,
        next_index=0,
        planned=tuple(blocks),
    )


def _cut_off(
    store: Store,
    visits: Sequence[VisitRecord],
    hash_of_plan: str,
    device: Device,
    now: datetime,
) -> VisitRecord | None:
    """Return the person's last visit if it may be continued."""
    if not visits:
        return None
    last = max(visits, key=lambda v: v.header.sequence)
    age = now - datetime.fromisoformat(last.header.started_utc)
    begun = last.header.device
    same = (last.header.plan_hash, begun.alias) == (hash_of_plan, device.alias)
    same = same and begun.screen.has_scale_of(device.screen)
    if not same or age >= RESUME_WITHIN or last.ending not in (None, "stopped"):
        return None
    if last.ending == "stopped" and _is_over(store, last):
        return None
    return last


def _is_over(store: Store, visit: VisitRecord) -> bool:
    """Whether a visit that was ended early stays so: it went out, or somebody was unwell."""
    visit_id = visit.header.visit_id
    if any(bundle.visit_id == visit_id for bundle in store.bundles.all()):
        return True
    answers = store.visits.answers(visit_id)
    urgent = latest(answers, "before", "red_flags") == "yes"
    return urgent or max(rises(answers).values(), default=0) >= STOP_RISE


def _practised(
    store: Store, records: Sequence[BlockRecord]
) -> dict[tuple[str, str], list[bool]]:
    """Say of each practice that was done to its end whether it was passed."""
    from battery.scoring.gate import practice_passed

    found: dict[tuple[str, str], list[bool]] = {}
    for record in records:
        header = record.header
        if header.phase == "practice" and record.ending == "finished":
            passed = practice_passed(store.records.load(header.block_id))
            found.setdefault((header.task, header.hand), []).append(passed)
    return found


def _remaining(
    blocks: Sequence[PlannedBlock],
    records: Sequence[BlockRecord],
    practised: Mapping[tuple[str, str], Sequence[bool]],
) -> list[PlannedBlock]:
    """List the planned blocks that are neither done nor tried as often as allowed.

    Parameters
    ----------
    practised : mapping of task and hand to bools
        Whether each practice was passed; empty where practices are not judged.
    """
    tries: dict[tuple[str, str, str], int] = {}
    done: set[tuple[str, str, str]] = set()
    for record in records:
        key = (record.header.task, record.header.hand, record.header.phase)
        tries[key] = tries.get(key, 0) + 1
        if record.ending == "finished":
            done.add(key)
    tested = {key for key in done if key[2] == "test"}

    def open_still(block: PlannedBlock) -> bool:
        key = (block.task, block.hand, block.phase)
        if block.phase == "practice" and (block.task, block.hand, "test") in tested:
            return False
        passes = practised.get((block.task, block.hand), ())
        if passes and not any(passes):
            return len(passes) < PRACTICES
        return key not in done and tries.get(key, 0) < TRIES_PER_BLOCK

    return [block for block in blocks if open_still(block)]
