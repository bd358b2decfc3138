"""Does every record still hold? Hashes, references, order of stamps, and replay.

Replaying a block through its task must give the recorded events. So this tells an altered
record, and also a task that no longer does what it did.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

import numpy as np

from battery.errors import BatteryError
from battery.recording import Block, events_from_array, short_hash
from battery.runner import replay
from battery.store import BlockRecord, Store, VisitRecord
from battery.store.base import UNREADABLE, ascii_only
from tasks.contract import unknown_settings
from tasks.registry import TASKS, task_of

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not hold: where, and what."""

    where: str
    what: str


@dataclass(frozen=True, slots=True)
class Verification:
    """What was looked at, what does not hold, and what could not be wholly looked at.

    A note is no finding: the record is as it was stored, and this program cannot replay it by
    the rules it was recorded by.
    """

    n_visits: int
    n_blocks: int
    n_samples: int
    n_running: int
    findings: tuple[Finding, ...]
    notes: tuple[Finding, ...] = ()

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
        else:
            lines = [f"{looked}: hashes, references, stamps and replays hold"]
        return "\n".join(
            [*lines, *(f"{f.where}: {f.what}" for f in (*self.findings, *self.notes))]
        )


def verify(store: Store, *, progress: Callable[[int, int], None] | None = None) -> Verification:
    """Check the whole store without changing anything.

    Parameters
    ----------
    store : Store
    progress : callable, optional
        Called with (visits done, visits in all).
    """
    findings = list(_guarded("store", lambda: _problems_of_file(store)))
    notes: list[Finding] = []
    n_blocks = n_samples = n_running = 0
    with store.at_one_moment():
        visits: list[VisitRecord] = []
        findings += _guarded("visits", lambda: _listed(visits, store.visits.all))
        findings += _guarded("received", lambda: _not_as_received(store))
        findings += _guarded("tables", lambda: _read_tables(store))
        for done, visit in enumerate(visits, start=1):
            records: list[BlockRecord] = []
            visit_id = visit.header.visit_id
            findings += _guarded(
                f"visit {visit_id}", partial(_listed, records, store.records.of_visit, visit_id)
            )
            for record in records:
                if record.ending is None:
                    n_running += 1
                    continue
                n_blocks += 1
                n_samples += record.n_samples
                where = f"{visit.header.person} visit {visit.header.sequence} "
                where += f"block {record.header.index} ({record.header.block_id})"
                findings += _guarded(where, partial(_of_block, store, where, record, notes))
            if progress is not None:
                progress(done, len(visits))
    findings += [Finding("store", line) for line in store.unreadable()]
    return Verification(
        len(visits), n_blocks, n_samples, n_running, tuple(findings), tuple(notes)
    )


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
        "home exercises": care.home_exercises,
        "screen checks": setup.screen_checks,
        "timing checks": setup.timing_checks,
        "loop checks": setup.loop_checks,
        "scores": store.scores.all,
    }
    for name, read in lists.items():
        yield from _guarded(name, partial(_listed, [], read))


def _of_block(
    store: Store, where: str, record: BlockRecord, notes: list[Finding]
) -> Iterator[Finding]:
    try:
        block = store.records.load(record.header.block_id, checked=False)
    except BatteryError as error:
        yield Finding(where, str(error))
        return
    told = list(_problems(block, record))
    if not told and (broken := store.records.damage(record.header.block_id)):
        told = [broken]
    for line in told:
        yield Finding(where, line)
    notes += [Finding(where, what) for what in block_notes(block)]


def _problems(block: Block, record: BlockRecord) -> Iterator[str]:
    if block.sha256 != record.sha256:
        yield f"its hash is {block.sha256[:12]}..., stored was {record.sha256[:12]}..."
    if len(block.samples) != record.n_samples:
        yield f"it has {len(block.samples)} samples, stored were {record.n_samples}"
    yield from block_problems(block)


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
