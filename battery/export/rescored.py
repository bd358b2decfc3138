"""Scores computed again from an export alone, beside those it holds."""

from __future__ import annotations

import csv
import math
import multiprocessing
import os
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from battery.errors import BatteryError, RecordError, StoreError
from battery.export.dictionary import TABLES
from battery.export.reading import Export, ReadBlock
from battery.scoring import SCORING_VERSION, score_block
from battery.scoring.score import Score


@dataclass
class RescoredExport:
    """What scoring an export again gave.

    Attributes
    ----------
    n_blocks, n_values : int
        Test blocks that were scored, and values they have.
    differ : list of str
        Values that are not the same bit for bit, one line each.
    n_new : int
        Values of blocks that had none, such as one that was cut off.
    n_other_version : int
        Values of the export that another scoring version gave.
    failed : dict of block, or part, to reason
    """

    n_blocks: int = 0
    n_values: int = 0
    n_new: int = 0
    n_other_version: int = 0
    differ: list[str] = field(default_factory=list)
    failed: dict[str, str] = field(default_factory=dict)

    def add(self, other: RescoredExport) -> None:
        """Put what a part gave to the rest."""
        self.n_blocks += other.n_blocks
        self.n_values += other.n_values
        self.n_new += other.n_new
        self.n_other_version += other.n_other_version
        self.differ += other.differ
        self.failed |= other.failed

    def summary(self) -> str:
        """Say it: a line in all, then one for every difference."""
        same = "all the same bit for bit" if not self.differ else f"{len(self.differ)} differ"
        lines = [f"{self.n_blocks} blocks, {self.n_values} values scored again: {same}"]
        if self.n_other_version:
            lines.append(
                f"{self.n_other_version} values of the export are not of scoring version "
                f"{SCORING_VERSION}, which is this program's"
            )
        if self.n_new:
            lines.append(f"{self.n_new} values are of blocks that had none in the export")
        lines += self.differ[:20]
        if len(self.differ) > 20:
            lines.append(f"and {len(self.differ) - 20} more")
        return "\n".join(lines + [f"{what}: {why}" for what, why in self.failed.items()])


def rescore_export(
    folder: Path,
    *,
    out: Path | None = None,
    progress: Callable[[int, int], None] | None = None,
    n_processes: int | None = None,
) -> RescoredExport:
    """Score every finished test block of an export again and compare.

    A block that does not have its hash is not scored and is named.

    Parameters
    ----------
    folder : Path
        A tidy export.
    out : Path, optional
        Write the scores there too, as CSV with the columns of `scores`.
    progress : callable, optional
        Called with (parts done, parts in all).
    n_processes : int, optional
        Default: one a core, one for a single part. The figures do not depend on it.

    Raises
    ------
    UsageError
        If the folder holds no export.
    RecordError
        If its descriptor does not say how many parts there are.
    StoreError
        If `out` cannot be written.
    """
    export = Export(folder)
    done = RescoredExport()
    with (
        _parts(export, n_processes) as parts,
        _scores_file(out) if out is not None else nullcontext() as write,
    ):
        for number, part in enumerate(parts, start=1):
            done.add(part.done)
            if write is not None:
                write(part.rows)
            if progress is not None:
                progress(number, export.n_parts)
    return done


@dataclass(frozen=True, slots=True)
class ScoredPart:
    """What scoring a part again gave, and the scores as rows of `scores`."""

    done: RescoredExport
    rows: list[dict[str, Any]]


def rescore_part(folder: Path, number: int) -> ScoredPart:
    """Score the blocks of one part again and compare them with those it holds.

    What cannot be read or scored is named and does not stop the rest.
    """
    export = Export(folder)
    done = RescoredExport()
    rows: list[dict[str, Any]] = []
    try:
        held = _held_scores(export, number)
        for read in export.blocks(number):
            rows += _scored(read, held, done)
    except RecordError as error:
        done.failed[f"part {number}"] = str(error)
    done.failed |= {f"block {name}": why for name, why in export.unreadable.items()}
    return ScoredPart(done, rows)


def _held_scores(export: Export, number: int) -> dict[str, dict[str, dict[str, Any]]]:
    """Return the scores of a part by block and measure."""
    held: dict[str, dict[str, dict[str, Any]]] = {}
    for row in export.rows("scores", number):
        held.setdefault(row["block_id"], {})[row["measure"]] = row
    return held


def _scored(
    read: ReadBlock, held: dict[str, dict[str, dict[str, Any]]], done: RescoredExport
) -> list[dict[str, Any]]:
    """Score a block, compare it with what is held of it, and return the scores as rows."""
    block_id = read.block.header.block_id
    if not read.holds:
        done.failed[f"block {block_id}"] = "it does not have its hash: it was changed"
        return []
    if read.block.header.phase != "test":
        return []
    try:
        fresh = score_block(read.block, screen=read.screen)
    except (BatteryError, ValueError, ArithmeticError, LookupError, TypeError) as error:
        done.failed[f"block {block_id}"] = f"cannot be scored: {str(error)[:200]}"
        return []
    done.n_blocks += 1
    done.n_values += len(fresh)
    if block_id in held:
        _compare(block_id, held[block_id], fresh, done)
    else:
        done.n_new += len(fresh)
    return [_row(block_id, score) for score in fresh]


@contextmanager
def _parts(export: Export, n_processes: int | None) -> Iterator[Iterator[ScoredPart]]:
    numbers = range(1, export.n_parts + 1)
    most = n_processes or min(os.cpu_count() or 1, export.n_parts)
    if most <= 1:
        yield (rescore_part(export.folder, number) for number in numbers)
        return
    pool = ProcessPoolExecutor(most, mp_context=multiprocessing.get_context("spawn"))
    try:
        yield pool.map(_part_here, [(export.folder, number) for number in numbers])
    finally:
        pool.shutdown(cancel_futures=True)


def _part_here(job: tuple[Path, int]) -> ScoredPart:
    return rescore_part(*job)


def _compare(
    block_id: str, held: dict[str, dict[str, Any]], fresh: list[Score], done: RescoredExport
) -> None:
    for score in fresh:
        row, again = held.get(score.measure), _row(block_id, score)
        if row is not None and row["scoring_version"] != score.scoring_version:
            done.n_other_version += 1
            again["scoring_version"] = row["scoring_version"]
        if row != again:
            was = "nothing" if row is None else f"{row['value']!r}"
            done.differ.append(f"block {block_id} {score.measure}: {score.value!r}, was {was}")
    for name in sorted(held.keys() - {score.measure for score in fresh}):
        done.differ.append(
            f"block {block_id} {name}: not measured, was {held[name]['value']!r}"
        )


def _row(block_id: str, score: Score) -> dict[str, Any]:
    return {
        "block_id": block_id,
        "measure": score.measure,
        "value": _none(score.value),
        "n": score.n,
        "low": _none(score.low),
        "high": _none(score.high),
        "reason": score.reason or None,
        "scoring_version": score.scoring_version,
    }


def _none(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


@contextmanager
def _scores_file(out: Path) -> Iterator[Callable[[list[dict[str, Any]]], None]]:
    """Give what writes rows of `scores` as CSV; the file gets its name when it is whole."""
    names = [column.name for column in TABLES["scores"].columns]
    part = out.with_name(out.name + ".part")
    try:
        with part.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, names, lineterminator="\n")
            writer.writeheader()
            yield writer.writerows
        part.replace(out)
    except OSError as error:
        msg = f"cannot write '{out}': {error.strerror or error}; the export is unchanged"
        raise StoreError(msg) from error
    finally:
        part.unlink(missing_ok=True)
