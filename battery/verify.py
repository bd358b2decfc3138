"""Does every record still hold? Hashes, references, order of stamps, and replay.

Replaying a block through its task must give the recorded events. So this tells an altered
record, and also a task that no longer does what it did.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from battery.errors import BatteryError
from battery.recording import Block, events_from_array, short_hash
from battery.runner import replay
from battery.store import BlockRecord, Store
from tasks.registry import TASKS


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not hold: where, and what."""

    where: str
    what: str


@dataclass(frozen=True, slots=True)
class Verification:
    """What was looked at and what was found."""

    n_visits: int
    n_blocks: int
    n_samples: int
    n_running: int
    findings: tuple[Finding, ...]

    def summary(self) -> str:
        """Say it in one line, or one more for every finding."""
        looked = f"{self.n_visits} visits, {self.n_blocks} blocks, {self.n_samples} samples"
        if self.n_running:
            looked += f"; {self.n_running} still running, not looked at"
        if not self.findings:
            return f"{looked}: hashes, references, stamps and replays hold"
        lines = [f"{looked}: {len(self.findings)} findings; nothing was changed"]
        return "\n".join([*lines, *(f"{f.where}: {f.what}" for f in self.findings)])


def verify(store: Store, *, progress: Callable[[int, int], None] | None = None) -> Verification:
    """Check the whole store without changing anything.

    Parameters
    ----------
    store : Store
    progress : callable, optional
        Called with (visits done, visits in all).
    """
    findings = [Finding("store", problem) for problem in store.problems()]
    n_blocks = n_samples = n_running = 0
    with store.at_one_moment():
        visits = store.visits()
        findings += _not_as_received(store)
        for done, visit in enumerate(visits, start=1):
            for record in store.blocks(visit.header.visit_id):
                if record.ending is None:
                    n_running += 1
                    continue
                n_blocks += 1
                n_samples += record.n_samples
                where = f"{visit.header.person} visit {visit.header.sequence} "
                where += f"block {record.header.index} ({record.header.block_id})"
                findings += [Finding(where, what) for what in _problems(store, record)]
            if progress is not None:
                progress(done, len(visits))
    return Verification(len(visits), n_blocks, n_samples, n_running, tuple(findings))


def _not_as_received(store: Store) -> Iterator[Finding]:
    """Name visits that are no longer what a tablet signed."""
    signed: dict[str, set[str | None]] = {}
    for received in store.received():
        if received.visit_id is not None:
            signed.setdefault(received.visit_id, set()).add(received.content_sha256)
    for visit_id, hashes in sorted(signed.items()):
        held = store.visit_sha256(visit_id)
        if held is not None and held not in hashes and None not in hashes:
            yield Finding(f"visit {visit_id}", "it is not what its tablet signed")


def _problems(store: Store, record: BlockRecord) -> Iterator[str]:
    try:
        block = store.load_block(record.header.block_id)
    except BatteryError as error:
        yield str(error)
        return
    if block.sha256 != record.sha256:
        yield f"its hash is {block.sha256[:12]}..., stored was {record.sha256[:12]}..."
    if len(block.samples) != record.n_samples:
        yield f"it has {len(block.samples)} samples, stored were {record.n_samples}"
    yield from block_problems(block)


def block_problems(block: Block) -> Iterator[str]:
    """Say what does not hold within a block: settings, order of stamps, replay."""
    holds = short_hash(block.header.settings) == block.header.layout_hash
    if not holds:
        yield "its settings do not have the hash of its layout"
    yield from _stamps(block)
    if holds:  # altered settings say nothing about the record, and may have no end
        yield from _replay(block)


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
    if block.header.task not in TASKS:
        yield f"its task {block.header.task!r} is not known to this program"
        return
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
