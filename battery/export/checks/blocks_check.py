"""Whether the blocks of an export hold: hashes, stamps, replay, part by part on all cores."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from battery.errors import RecordError
from battery.export.reading.reader import Export
from battery.verify import Finding, block_notes, block_problems, stamp_problems
from battery.workers import n_workers, pool, threads_here

PAYS = 6  # parts that take as long to check as another process takes to start


@dataclass(frozen=True, slots=True)
class _Part:
    n_blocks: int
    n_samples: int
    findings: list[Finding]
    notes: list[Finding]


def verify_part(folder: Path, number: int, *, replay: bool, n_threads: int = 1) -> _Part:
    """Read every block of a part and hold it to its hash, its stamps and perhaps its replay."""
    n_blocks = n_samples = 0
    findings: list[Finding] = []
    notes: list[Finding] = []
    export = Export(folder)
    try:
        for read in export.blocks(number, n_threads=n_threads):
            block, row = read.block, read.row
            n_blocks += 1
            n_samples += len(block.samples)
            where = f"block {block.header.block_id}"
            for what, held in (
                ("samples", block.samples), ("events", block.events), ("frames", block.frames),
            ):  # fmt: skip
                stated = row.get(f"n_{what}", len(held))
                if stated != len(held):
                    findings.append(
                        Finding(where, f"it has {len(held)} {what}, stated are {stated}")
                    )
            if not read.holds:
                findings.append(Finding(where, "it does not have its hash: it was changed"))
            if replay:
                findings += [Finding(where, what) for what in block_problems(block)]
                notes += [Finding(where, what) for what in block_notes(block)]
            elif not read.holds:  # else what was read can have been played, stamps included
                findings += [Finding(where, what) for what in stamp_problems(block)]
    except RecordError as error:
        findings.append(Finding(f"part {number}", str(error)))
    findings += [Finding(f"block {name}", why) for name, why in export.unreadable.items()]
    return _Part(n_blocks, n_samples, findings, notes)


@contextmanager
def parts_checked(
    export: Export, replay: bool, n_processes: int | None
) -> Iterator[Iterator[_Part]]:
    """Check all parts, on several cores where it pays; the pool ends with the context."""
    numbers = range(1, export.n_parts + 1)
    most = n_workers(export.n_parts, pays=1 if replay else PAYS, asked=n_processes)
    if most <= 1:
        n = threads_here()
        yield (verify_part(export.folder, k, replay=replay, n_threads=n) for k in numbers)
        return
    jobs = [(export.folder, number, replay) for number in numbers]
    with pool(most) as executor:
        yield _named(executor.map(_part_here, jobs))


def _part_here(job: tuple[Path, int, bool]) -> _Part:
    folder, number, replay = job
    return verify_part(folder, number, replay=replay)


def _named(parts: Iterator[_Part]) -> Iterator[_Part]:
    try:
        yield from parts
    except BrokenProcessPool as error:
        msg = (
            "a process that read a part was ended from outside, as when memory ran out; close "
            "other programs, then verify again"
        )
        raise RecordError(msg) from error
