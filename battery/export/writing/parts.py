"""The raw rows of about a thousand blocks at a time: one part of each table that has parts.

A part is made from its visits alone, so that it does not matter which process makes it, and a
visit that comes later changes few parts.
"""

from __future__ import annotations

import hashlib
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pyarrow as pa

from battery.errors import BatteryError, StoreError
from battery.export.dictionary.all_tables import BLOCKS, EVENTS, FRAMES, SAMPLES, SCORES
from battery.export.dictionary.trials import TRIALS
from battery.export.on_disk.table_files import TableWriter, part_name
from battery.export.rows import raw
from battery.export.writing import tables
from battery.recording import Block
from battery.store import BlockRecord, PackedBlock, Store
from battery.store.trial_rows import TrialRow
from battery.workers import in_order, n_workers, pool, store_here, threads_here
from tasks.contract import NS_PER_S

MIN_BLOCKS = 500  # a part is closed no sooner
MAX_BLOCKS = 2_000  # and no later
VISITS_AT_ONCE = 8  # that are read from the store in one question
CLOSING = 32  # in between, at one visit in so many
PAYS = 750  # blocks that are written before another process has started

PARTED = (BLOCKS, TRIALS, SAMPLES, EVENTS, FRAMES, SCORES)  # the tables of a part

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class BlockJob:
    """A block to be written.

    Parameters
    ----------
    block_id : str
        In the store.
    row : dict
        Its row of `blocks`, without what only the whole record tells.
    scores : list of dict
        Its rows of `scores`.
    record : BlockRecord
        What the store says of it, without its samples.
    settings : str
        All its settings as canonical JSON.
    """

    block_id: str
    row: Row
    scores: list[Row]
    record: BlockRecord
    settings: str


@dataclass(frozen=True, slots=True)
class PartJob:
    """The visits of a part, each with its blocks."""

    number: int
    folder: Path
    visits: tuple[tuple[BlockJob, ...], ...]


@dataclass(slots=True)
class PartDone:
    """What became of a part: rows of each table, and blocks that could not be read."""

    number: int
    n_rows: dict[str, int] = field(default_factory=dict)
    failed: dict[str, str] = field(default_factory=dict)


def closes(visit_id: str, n_blocks: int) -> bool:
    """Whether a part of so many blocks ends with this visit.

    Told by the visit itself, so that one more visit somewhere moves no later boundary.
    """
    if n_blocks >= MAX_BLOCKS:
        return True
    mark = hashlib.sha256(visit_id.encode()).digest()[0]
    return n_blocks >= MIN_BLOCKS and mark % CLOSING == 0


def write_part(store: Store, job: PartJob, *, n_threads: int = 1) -> PartDone:
    """Write one part of each table; a block that cannot be read is left out and named.

    Parameters
    ----------
    n_threads : int
        That unpack visits while this one writes; what is written does not depend on it.
    """
    done = PartDone(job.number)
    path = {t.name: job.folder / part_name(t.name, job.number) for t in PARTED}
    with ExitStack() as stack:
        writers = {t.name: stack.enter_context(TableWriter(t, path[t.name])) for t in PARTED}
        visits = stack.enter_context(in_order(_made, _read(store, job.visits), n_threads))
        for visit in visits:
            done.failed |= visit.failed
            for name, rows in visit.rows.items():
                writers[name].write(rows)
    done.n_rows = {name: writer.n_rows for name, writer in writers.items()}
    return done


@dataclass(frozen=True, slots=True)
class _Packed:
    """A visit as it lies in the store."""

    jobs: tuple[BlockJob, ...]
    blocks: Mapping[str, PackedBlock]
    trials: Mapping[str, list[TrialRow]]
    failed: dict[str, str]


@dataclass(frozen=True, slots=True)
class _Made:
    """What of a visit is written into each table."""

    rows: dict[str, list[Row] | pa.Table]
    failed: dict[str, str]


def _read(store: Store, visits: Sequence[tuple[BlockJob, ...]]) -> Iterator[_Packed]:
    for start in range(0, len(visits), VISITS_AT_ONCE):
        some = visits[start : start + VISITS_AT_ONCE]
        ids = [job.block_id for jobs in some for job in jobs]
        trials = store.scores.trials(ids)
        failed: dict[str, str] = {}
        try:
            blocks = store.records.packed(ids)
        except StoreError:  # a page of the file is gone: one by one, then
            blocks = {}
        for block_id in ids:
            if block_id not in blocks:
                try:
                    blocks[block_id] = store.records.packed_one(block_id)
                except BatteryError as error:
                    failed[block_id] = str(error)
        for jobs in some:
            own = {job.block_id for job in jobs}
            yield _Packed(
                jobs,
                {block_id: blocks.pop(block_id) for block_id in own & blocks.keys()},
                trials,
                {block_id: why for block_id, why in failed.items() if block_id in own},
            )


def _made(visit: _Packed) -> _Made:
    whole: list[tuple[str, Block]] = []
    failed = dict(visit.failed)
    blocks: list[Row] = []
    trials: list[Row] = []
    scores: list[Row] = []
    for job in visit.jobs:
        if job.block_id in failed:
            continue
        try:
            block = visit.blocks[job.block_id].unpacked(known=job.record)
            found = visit.trials.get(job.block_id)
            trials += tables.trials_of(block, job.row["block_id"], found)
        except BatteryError as error:
            failed[job.block_id] = str(error)
            continue
        row = job.row | {
            "duration_s": block.ended_ns / NS_PER_S,
            "n_samples": len(block.samples),
            "n_events": len(block.events),
            "n_frames": len(block.frames),
        }
        row["sha256"] = raw.block_sha256(row, block.header.settings, block, text=job.settings)
        blocks.append(row)
        scores += job.scores
        whole.append((job.row["block_id"], block))
    rows: dict[str, list[Row] | pa.Table] = {}
    rows |= {"blocks": blocks, "trials": trials, "scores": scores}
    if whole:
        rows["samples"] = raw.samples_of(whole)
        rows["events"] = raw.events_of(whole)
        rows["frames"] = raw.frames_of(whole)
    return _Made(rows, failed)


class PartWriting:
    """Writes parts here or in other processes, few at a time, and says what became of each."""

    def __init__(
        self, store: Store, pool: ProcessPoolExecutor | None, most: int,
        tell: Callable[[PartJob, PartDone], None], kept: Callable[[PartJob], PartDone | None],
    ) -> None:  # fmt: skip
        self._kept = kept
        self._store = store
        self._pool = pool
        self._most = most
        self._tell = tell
        self._waiting: deque[tuple[PartJob, Future[PartDone]]] = deque()

    def submit(self, job: PartJob) -> None:
        """Have a part written, unless it is there already."""
        done = self._kept(job)
        if self._pool is None:
            done = done or write_part(self._store, job, n_threads=threads_here())
            self._tell(job, done)
            return
        while len(self._waiting) > self._most:
            self._take_first()
        if done is None:
            self._waiting.append((job, self._pool.submit(_write_here, job)))
        else:
            ready: Future[PartDone] = Future()
            ready.set_result(done)
            self._waiting.append((job, ready))

    def finish(self) -> None:
        """Wait for all that is being written."""
        while self._waiting:
            self._take_first()

    def _take_first(self) -> None:
        job, future = self._waiting.popleft()
        try:
            done = future.result()
        except BrokenProcessPool as error:
            msg = (
                "a process that wrote a part was ended from outside, as when memory ran out; "
                "the store is unchanged, an earlier export too. Close other programs, then "
                "export again"
            )
            raise StoreError(msg) from error
        self._tell(job, done)


@contextmanager
def writing(
    store: Store,
    n_blocks: int,
    tell: Callable[[PartJob, PartDone], None],
    *,
    kept: Callable[[PartJob], PartDone | None],
    n_processes: int | None = None,
) -> Iterator[PartWriting]:
    """Give what writes parts: this process, or others on all cores where that pays.

    Parameters
    ----------
    n_blocks : int
        In all.
    tell : callable
        Called with each part and what became of it, in order.
    kept : callable
        Puts a part that need not be written into its place.
    """
    most = n_workers(n_blocks, pays=PAYS, asked=n_processes)
    if most <= 1:
        yield PartWriting(store, None, 0, tell, kept)
        return
    with pool(most, store) as executor:
        yield PartWriting(store, executor, most, tell, kept)


def _write_here(job: PartJob) -> PartDone:
    return write_part(store_here(), job)
