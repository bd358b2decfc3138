"""Scores computed again from an export alone, beside those it holds."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from battery.errors import BatteryError, StoreError
from battery.export.dictionary import TABLES
from battery.export.reading import read_blocks, read_package, read_table
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
    failed : dict of block to reason
    """

    n_blocks: int = 0
    n_values: int = 0
    n_new: int = 0
    n_other_version: int = 0
    differ: list[str] = field(default_factory=list)
    failed: dict[str, str] = field(default_factory=dict)

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
        return "\n".join(lines + [f"block {b}: {why}" for b, why in self.failed.items()])


def rescore_export(
    folder: Path,
    *,
    out: Path | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> RescoredExport:
    """Score every finished test block of an export again and compare.

    Parameters
    ----------
    folder : Path
        A tidy export.
    out : Path, optional
        Write the scores there too, as CSV with the columns of `scores`.
    progress : callable, optional
        Called with (blocks done, blocks in all).

    Raises
    ------
    UsageError
        If the folder holds no export.
    RecordError
        If a table cannot be read or does not hold together.
    StoreError
        If `out` cannot be written.
    """
    read_package(folder)
    held: dict[str, dict[str, dict[str, Any]]] = {}
    for row in read_table(folder, "scores"):
        held.setdefault(row["block_id"], {})[row["measure"]] = row
    done = RescoredExport()
    rows: list[dict[str, Any]] = []
    n_all = len(read_table(folder, "blocks"))
    for number, read in enumerate(read_blocks(folder), start=1):
        block_id = read.block.header.block_id
        if read.block.header.phase == "test":
            try:
                fresh = score_block(read.block, screen=read.screen)
            except (BatteryError, ValueError, ArithmeticError, LookupError, TypeError) as error:
                done.failed[block_id] = f"cannot be scored: {str(error)[:200]}"
                continue
            done.n_blocks += 1
            done.n_values += len(fresh)
            if block_id in held:
                _compare(block_id, held[block_id], fresh, done)
            else:
                done.n_new += len(fresh)
            rows += [_row(block_id, score) for score in fresh]
        if progress is not None:
            progress(number, n_all)
    if out is not None:
        _write(out, rows)
    return done


def _compare(
    block_id: str, held: dict[str, dict[str, Any]], fresh: list[Score], done: RescoredExport
) -> None:
    for score in fresh:
        row = held.get(score.measure)
        if row is not None and row["scoring_version"] != score.scoring_version:
            done.n_other_version += 1
        if row != _row(block_id, score):
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


def _write(out: Path, rows: list[dict[str, Any]]) -> None:
    names = [column.name for column in TABLES["scores"].columns]
    part = out.with_name(out.name + ".part")
    try:
        with part.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, names, lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
        part.replace(out)
    except OSError as error:
        part.unlink(missing_ok=True)
        msg = f"cannot write '{out}': {error.strerror or error}; the export is unchanged"
        raise StoreError(msg) from error
