"""Does every record still hold? Hashes, references, order of stamps, and replay.

Replaying a block through its task must give the recorded events. So this tells an altered
record whose hashes were made anew, and also a task that no longer does what it did; it costs
many times the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from itertools import chain
from typing import Any, TypeVar

import numpy as np

from battery.errors import BatteryError, StoreError
from battery.recording import Block, events_from_array, short_hash
from battery.runner import replay
from battery.store import BlockRecord, PackedBlock, Store, VisitRecord
from battery.store.base import UNREADABLE, ascii_only
from battery.workers import in_order, n_workers, pool, store_here, threads_here
from tasks.contract import unknown_settings
from tasks.registry import TASKS, task_of

T = TypeVar("T")
PAYS = 1_000  # blocks that take as long to look at as another process takes to start
PAYS_REPLAYED = 40
CHUNK = 8


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not hold: where, and what."""

    where: str
    what: str


@dataclass(frozen=True, slots=True)
class Verification:
    """What was looked at, what does not hold, and what could not be wholly looked at.

    A note is no finding: the record is as it was stored, and this program cannot replay it by
    the rules it was recorded by. `replayed` says whether every block was replayed.
    """

    n_visits: int
    n_blocks: int
    n_samples: int
    n_running: int
    findings: tuple[Finding, ...]
    notes: tuple[Finding, ...] = ()
    replayed: bool = True

    def summary(self) -> str:
        """Say it in one line, or one more for every finding."""
        looked = f"{self.n_visits} visits, {self.n_blocks} blocks, {self.n_samples} samples"
        if self.n_running:
            looked += f"; {self.n_running} still running, not looked at"
        if self.findings:
            lines = [f"{looked}: {len(self.findings)} findings; nothing was changed"]
        elif self.notes:
            lines = [
                f"{looked}: hashes, references and stamps hold; {len(self.notes)} blocks were "
                "recorded by other rules than this program has"
            ]
        elif self.replayed:
            lines = [f"{looked}: hashes, references, stamps and replays hold"]
        else:
            lines = [f"{looked}: hashes, references and stamps hold; not replayed"]
        return "\n".join(
            [*lines, *(f"{f.where}: {f.what}" for f in (*self.findings, *self.notes))]
        )


def verify(
    store: Store,
    *,
    replay: bool = True,
    progress: Callable[[int, int], None] | None = None,
    n_processes: int | None = None,
) -> Verification:
    """Check the whole store without changing anything.

    Parameters
    ----------
    store : Store
    replay : bool
        Whether every block is also replayed through its task, which costs many times the rest.
    progress : callable, optional
        Called with (blocks done, blocks in all).
    n_processes : int, optional
        Default: one a core, fewer for few blocks. What is found does not depend on it.

    Raises
    ------
    StoreError
        If a process that looked at blocks was ended from outside.
    """
    findings = list(_guarded("store", lambda: _problems_of_file(store)))
    notes: list[Finding] = []
    n_samples = n_running = 0
    jobs: list[_Job] = []
    with store.at_one_moment():
        visits: list[VisitRecord] = []
        findings += _guarded("visits", lambda: _listed(visits, store.visits.all))
        findings += _guarded("received", lambda: _not_as_received(store))
        findings += _guarded("tables", lambda: _read_tables(store))
        for visit in visits:
            records: list[BlockRecord] = []
            visit_id = visit.header.visit_id
            findings += _guarded(
                f"visit {visit_id}", partial(_listed, records, store.records.of_visit, visit_id)
            )
            for record in records:
                if record.ending is None:
                    n_running += 1
                    continue
                n_samples += record.n_samples
                where = f"{visit.header.person} visit {visit.header.sequence} "
                where += f"block {record.header.index} ({record.header.block_id})"
                jobs.append(
                    _Job(where, record.header.block_id, record.sha256, record.n_samples, replay)
                )
        pays = PAYS_REPLAYED if replay else PAYS
        with _looking(
            store, jobs, n_workers(len(jobs), pays=pays, asked=n_processes)
        ) as looked:
            for done, (found, noted) in enumerate(looked, start=1):
                findings += found
                notes += noted
                if progress is not None:
                    progress(done, len(jobs))
    findings += [Finding("store", line) for line in store.unreadable()]
    return Verification(
        len(visits), len(jobs), n_samples, n_running, tuple(findings), tuple(notes), replay
    )


@dataclass(frozen=True, slots=True)
class _Job:
    """A finished block to be looked at, with what its row states."""

    where: str
    block_id: str
    sha256: str
    n_samples: int
    replay: bool


_Looked = tuple[list[Finding], list[Finding]]  # what does not hold, and what is noted


@contextmanager
def _looking(
    store: Store, jobs: Sequence[_Job], n_processes: int
) -> Iterator[Iterable[_Looked]]:
    """Look at blocks here, in threads, or in other processes, in their order."""
    some = [jobs[start : start + CHUNK] for start in range(0, len(jobs), CHUNK)]
    if n_processes <= 1:
        read = (_read(store, part) for part in some)
        with in_order(_look_at_all, read, threads_here()) as looked:
            yield chain.from_iterable(looked)
        return
    with pool(n_processes, store) as executor:
        yield _named(executor.map(_look_here, some))


def _look_here(jobs: Sequence[_Job]) -> list[_Looked]:
    return _look_at_all(_read(store_here(), jobs))


def _named(looked: Iterable[list[_Looked]]) -> Iterator[_Looked]:
    try:
        yield from chain.from_iterable(looked)
    except BrokenProcessPool as error:
        msg = (
            "a process that looked at blocks was ended from outside, as when memory ran out; "
            "nothing was changed. Close other programs, then verify again"
        )
        raise StoreError(msg) from error


_Read = list[tuple[_Job, PackedBlock | str]]  # the block, or why there is none


def _read(store: Store, jobs: Sequence[_Job]) -> _Read:
    """Read some blocks at once, and those that do not come so one by one."""
    packed: dict[str, PackedBlock] = {}
    with suppress(BatteryError, *UNREADABLE):
        packed = store.records.packed([job.block_id for job in jobs])
    return [(job, packed.get(job.block_id) or _read_one(store, job)) for job in jobs]


def _read_one(store: Store, job: _Job) -> PackedBlock | str:
    try:
        return store.records.packed_one(job.block_id)
    except (BatteryError, *UNREADABLE) as error:
        return str(error)


def _look_at_all(read: _Read) -> list[_Looked]:
    return [_look(job, packed) for job, packed in read]


def _look(job: _Job, packed: PackedBlock | str) -> _Looked:
    notes: list[Finding] = []
    if isinstance(packed, str):
        return [Finding(job.where, packed)], notes
    return _guarded(job.where, partial(_of_block, packed, job, notes)), notes


def _not_as_received(store: Store) -> Iterator[Finding]:
    """Name visits that are no longer what a tablet signed."""
    signed: dict[str, set[str | None]] = {}
    for received in store.transfer.received():
        if received.visit_id is not None:
            signed.setdefault(received.visit_id, set()).add(received.content_sha256)
    for visit_id, hashes in sorted(signed.items()):
        held = store.transfer.visit_sha256(visit_id)
        if held is not None and held not in hashes and None not in hashes:
            yield Finding(f"visit {visit_id}", "it is not what its tablet signed")


def _guarded(where: str, look: Callable[[], Iterable[Finding]]) -> list[Finding]:
    """Look; what cannot be looked at is a finding itself, and the rest is still looked at."""
    found: list[Finding] = []
    try:
        found.extend(look())
    except (BatteryError, *UNREADABLE) as error:
        found.append(Finding(where, f"it cannot be looked at: {_line(error)}"))
    return found


def _line(error: Exception) -> str:
    return ascii_only((str(error).splitlines() or [type(error).__name__])[0])[:300]


def _problems_of_file(store: Store) -> Iterator[Finding]:
    for problem in store.problems():
        yield Finding("store", ascii_only(problem))


def _listed(
    into: list[T], read: Callable[..., Iterable[T]], *arguments: str
) -> Iterator[Finding]:
    into.extend(read(*arguments))
    return iter(())


def _read_tables(store: Store) -> Iterator[Finding]:
    """Read every list once, so that a row that cannot be read is named."""
    said, care, setup = store.annotations, store.care, store.setup
    lists: dict[str, Callable[[], Any]] = {
        "people": store.people.all,
        "consents": store.people.consents,
        "settings": store.setup.all_settings,
        "tablets": store.transfer.tablets,
        "received bundles": store.transfer.received,
        "what waits": store.transfer.quarantine,
        "bundles": store.bundles.all,
        "devices": setup.devices,
        "plans": setup.plans,
        "answers": store.visits.answers,
        "amendments": said.amendments,
        "markers": said.markers,
        "restarts": said.restarts,
        "outside errors": said.outside_errors,
        "prescriptions": care.prescriptions,
        "goals": care.goals,
        "goal levels": care.goal_levels,
        "plans of people": care.plans,
        "home plans": care.home_plans,
        "home exercises": care.home_exercises,
        "screen checks": setup.screen_checks,
        "timing checks": setup.timing_checks,
        "loop checks": setup.loop_checks,
        "scores": store.scores.all,
        "trials": store.scores.trials,
    }
    for name, read in lists.items():
        yield from _guarded(name, partial(_listed, [], read))


def _of_block(packed: PackedBlock, job: _Job, notes: list[Finding]) -> Iterator[Finding]:
    try:
        block = packed.unpacked(checked=False)
    except BatteryError as error:
        yield Finding(job.where, str(error))
        return
    told = list(_problems(block, job))
    if not told and (broken := packed.broken_seal):
        told = [broken]
    for line in told:
        yield Finding(job.where, line)
    if job.replay:
        notes += [Finding(job.where, what) for what in block_notes(block)]


def _problems(block: Block, job: _Job) -> Iterator[str]:
    if block.sha256 != job.sha256:
        yield f"its hash is {block.sha256[:12]}..., stored was {job.sha256[:12]}..."
    if len(block.samples) != job.n_samples:
        yield f"it has {len(block.samples)} samples, stored were {job.n_samples}"
    yield from block_problems(block) if job.replay else stamp_problems(block)


def block_problems(block: Block) -> Iterator[str]:
    """Say what does not hold within a block: settings, order of stamps, replay."""
    yield from stamp_problems(block)
    if _has_its_settings(block) and not _other_rules(block):  # altered ones may have no end
        yield from _replay(block)


def stamp_problems(block: Block) -> Iterator[str]:
    """Say what does not hold without replaying: settings and order of stamps."""
    if not _has_its_settings(block):
        yield "its settings do not have the hash of its layout"
    yield from _stamps(block)


def _has_its_settings(block: Block) -> bool:
    return short_hash(block.header.settings) == block.header.layout_hash


def block_notes(block: Block) -> Iterator[str]:
    """Say by which other rules a block was recorded, and how far today's agree with it."""
    other = _other_rules(block)
    if not other:
        return
    task = TASKS.get(block.header.task)
    if task is None:
        yield other
        return
    recorded = [repr(event) for event in events_from_array(block.events)]
    try:
        again = [repr(event) for event in replay(block, task)]
    except (BatteryError, ValueError, ArithmeticError, LookupError, TypeError) as error:
        yield f"{other}; not replayed: {error}"
        return
    pairs = enumerate(zip(again, recorded, strict=False))
    same = next((i for i, (a, b) in pairs if a != b), min(len(again), len(recorded)))
    far = f"as far as event {same} of {len(recorded)}"
    yield f"{other}; replayed by {task.name} {task.version} {far}"


def _other_rules(block: Block) -> str:
    """Say by which rules a block was recorded, if this program does not have them."""
    header = block.header
    task = task_of(header.task, header.task_version)
    if task is None:
        return f"recorded by {header.task} {header.task_version}, whose rules are not here"
    unknown = unknown_settings(task, header.settings)
    if unknown:
        return f"recorded by a later {header.task} with the setting {unknown[0][:40]!r}"
    return ""


def _stamps(block: Block) -> Iterator[str]:
    stamps = {
        "samples": block.samples["t_ns"],
        "frames": block.frames["flip_ns"],
        "events": block.events["t_ns"],
    }
    for name, t_ns in stamps.items():
        backwards = np.flatnonzero(np.diff(t_ns) < 0)
        if len(backwards):
            row = int(backwards[0]) + 1
            yield f"{name} {row} comes before the one it follows, at {int(t_ns[row])} ns"
    last_ns = max((int(t[-1]) for t in (stamps["events"],) if len(t)), default=0)
    if last_ns > block.ended_ns:
        yield f"it ended at {block.ended_ns} ns but has an event at {last_ns} ns"


def _replay(block: Block) -> Iterator[str]:
    recorded = events_from_array(block.events)
    try:
        again = replay(block)
    except (BatteryError, ValueError, ArithmeticError, LookupError, TypeError) as error:
        yield f"it cannot be replayed: {error}"
        return
    if repr(again) != repr(recorded):
        pairs = zip(map(repr, again), map(repr, recorded), strict=False)
        same = next((i for i, (a, b) in enumerate(pairs) if a != b), None)
        first = min(len(again), len(recorded)) if same is None else same
        yield (
            f"its replay gives {len(again)} events, recorded are {len(recorded)}; "
            f"they differ from event {first} on"
        )
