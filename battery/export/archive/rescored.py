"""An export, or an archive of many, scored again part by part and set beside what it holds.

A part is the unit: whoever scores it reads one part, scores its blocks with the function that a
tablet uses, writes the scores into a file of their own, and gives that its name when it is
whole. So it does not matter who does which part, nor when: what is finished is not done again.
"""

from __future__ import annotations

import csv
import json
import math
import tempfile
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq

from battery.comparing import Held, Rescored
from battery.errors import BatteryError, RecordError, StoreError
from battery.export.archive.engines import Engine, in_processes
from battery.export.archive.listing import exports_in
from battery.export.dictionary.all_tables import TABLES
from battery.export.on_disk.descriptor import is_plain
from battery.export.on_disk.table_files import RESCORED, TableWriter
from battery.export.reading.limits import hold_footer
from battery.export.reading.reader import MADE_OF, Export, ReadBlock
from battery.export.rows.rebuilding import BROKEN
from battery.files import make_folder
from battery.recording import canonical_json, short_hash
from battery.scoring import SCORING_VERSION, score_block
from battery.scoring.score import Score

NOTE = "rescored"  # in the footer of a file of scores: what changed, and what it was made of
PARTIAL = ".partial"
COMPUTED_BY = ("numpy", "scipy", "pyarrow")  # other versions may give other bits
ROWS_AT_ONCE = 65_536


@dataclass(frozen=True, slots=True)
class ScoreJob:
    """One part of an export, and the file its scores go into."""

    export: Path
    number: int
    scores: Path


def rescore_export(
    folder: Path,
    *,
    out: Path | None = None,
    keep: bool = False,
    engine: Engine | None = None,
    n_processes: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Rescored:
    """Score every finished test block of an export or an archive again and compare.

    A block that does not have its hash is not scored and is named.

    Parameters
    ----------
    folder : Path
        A tidy export, or an archive of them.
    out : Path, optional
        Write the scores there too, as CSV with the columns of `scores`.
    keep : bool
        Keep the scores beside each export, so that a run that was ended goes on where it was.
        Else nothing is written there.
    engine : callable, optional
        Who scores the parts; default: processes on this machine.
    n_processes : int, optional
        Of the default engine; one a core, one for a single part. The figures do not depend on
        it.
    progress : callable, optional
        Called with (parts done, parts in all).

    Raises
    ------
    UsageError
        If the folder holds neither.
    RecordError
        If a descriptor does not say how many parts there are.
    StoreError
        If something cannot be written.
    """
    run = engine or in_processes(n_processes)
    step = progress or (lambda _done, _total: None)
    with _beside(keep=keep) as place:
        jobs = [
            ScoreJob(export.folder.resolve(), number, place(export, at) / _file(number))
            for at, export in enumerate(map(Export, exports_in(folder)))
            for number in range(1, export.n_parts + 1)
        ]
        todo = [job for job in jobs if not is_finished(job)]
        step(len(jobs) - len(todo), len(jobs))
        for done, _ in enumerate(run(score_part, todo), start=len(jobs) - len(todo) + 1):
            step(done, len(jobs))
        if out is not None:
            _write_csv(out, jobs)
        found = Rescored(n_kept=len(jobs) - len(todo))
        for job in jobs:
            found.add(_found(job))
    return found


@contextmanager
def _beside(*, keep: bool) -> Iterator[Callable[[Export, int], Path]]:
    """Give the folder for an export's scores: beside it, or one that goes away."""
    if keep:
        yield (
            lambda export, _: export.folder.resolve() / RESCORED / f"version-{SCORING_VERSION}"
        )
        return
    with tempfile.TemporaryDirectory(prefix="battery-scores-") as away:
        yield lambda _, number: Path(away) / str(number)


def _file(number: int) -> str:
    return f"part-{number:04d}.parquet"


# One part


def score_part(job: ScoreJob) -> str:
    """Score the blocks of a part again, compare them with those it holds, write both.

    What cannot be read or scored is named in what is written, and does not stop the rest.

    Returns
    -------
    str
        The name of the file with the scores.

    Raises
    ------
    StoreError
        If it cannot be written.
    """
    export = Export(job.export)
    part = job.scores.with_name(f".{job.scores.name}.{uuid.uuid4().hex}{PARTIAL}")
    found = Rescored()
    try:
        make_folder(job.scores.parent)
        with TableWriter(TABLES["scores"], part) as writer:
            try:
                held = _held_scores(export, job.number)
                for read in export.blocks(job.number):
                    writer.write(_scored(read, held, found))
            except RecordError as error:
                found.fail(f"part {job.number}", str(error))
            for name, why in export.unreadable.items():
                found.fail(f"block {name}", why)
            writer.note(
                NOTE,
                canonical_json({"of": _made_of(export, job.number), "found": found.to_plain()}),
            )
        part.replace(job.scores)
    except OSError as error:
        msg = (
            f"cannot write '{job.scores}': {error.strerror or error}. The export is unchanged, "
            "finished parts are kept; free some space, then score again"
        )
        raise StoreError(msg) from error
    finally:
        part.unlink(missing_ok=True)
    return job.scores.name


def _held_scores(export: Export, number: int) -> dict[str, dict[str, Held]]:
    """Return the scores of a part by block and measure."""
    held: dict[str, dict[str, Held]] = {}
    for row in export.rows("scores", number):
        held.setdefault(row["block_id"], {})[row["measure"]] = Held(
            _nan(row["value"]),
            row["n"],
            _nan(row["low"]),
            _nan(row["high"]),
            row["reason"] or "",
            row["scoring_version"],
        )
    return held


def _scored(
    read: ReadBlock, held: Mapping[str, Mapping[str, Held]], found: Rescored
) -> list[dict[str, Any]]:
    """Score a block, compare it with what is held of it, and return the scores as rows."""
    block_id = read.block.header.block_id
    if not read.holds:
        found.fail(f"block {block_id}", "it does not have its hash: it was changed")
        return []
    if read.block.header.phase != "test":
        return []
    try:
        fresh = score_block(read.block, screen=read.screen)
    except (BatteryError, ValueError, ArithmeticError, LookupError, TypeError) as error:
        found.fail(f"block {block_id}", f"cannot be scored: {str(error)[:200]}")
        return []
    found.compare(read.block, read.screen, held.get(block_id, {}), fresh)
    return [_row(block_id, score) for score in fresh]


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


def _nan(value: float | None) -> float:
    return math.nan if value is None else value


# What is finished


def _made_of(export: Export, number: int) -> str:
    """Return a mark of what a part's scores follow from: its files, and what computes them."""
    files = {}
    for name in sorted(MADE_OF | {"scores"}):
        about = (export.resources(name) or [{}])[0]
        if export.is_first_form:
            files[name] = about.get("parquet")
            continue
        parts = about.get("parts")
        if not isinstance(parts, list) or not parts:
            parts = [None]
        files[name] = parts[number - 1] if len(parts) >= number > 1 else parts[0]
    by = {name: version(name) for name in COMPUTED_BY}
    return short_hash([files, by, SCORING_VERSION, version("coordination-battery")])


def is_finished(job: ScoreJob) -> bool:
    """Whether the scores of a part are there, whole, and of what the part is now."""
    note = _note(job.scores)
    return note is not None and note["of"] == _made_of(Export(job.export), job.number)


def _note(path: Path) -> dict[str, Any] | None:
    if not is_plain(path):
        return None
    try:
        hold_footer(path, path.name)
        told = json.loads((pq.read_metadata(path).metadata or {})[NOTE.encode()])
        return {"of": str(told["of"]), "found": Rescored.from_plain(told["found"])}
    except (BatteryError, LookupError, AttributeError, RecursionError, *BROKEN):
        return None


def _found(job: ScoreJob) -> Rescored:
    note = _note(job.scores)
    if note is None:
        msg = f"'{job.scores}' is not there or not whole any more; score again"
        raise StoreError(msg)
    found: Rescored = note["found"]
    return found


def _write_csv(out: Path, jobs: Sequence[ScoreJob]) -> None:
    """Write the scores of all parts as one CSV; it gets its name when it is whole."""
    names = [column.name for column in TABLES["scores"].columns]
    part = out.with_name(out.name + ".part")
    try:
        with part.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, names, lineterminator="\n")
            writer.writeheader()
            for job in jobs:
                with pq.ParquetFile(job.scores, pre_buffer=False) as scores:
                    for batch in scores.iter_batches(ROWS_AT_ONCE, use_threads=False):
                        writer.writerows(batch.to_pylist())
        part.replace(out)
    except OSError as error:
        msg = f"cannot write '{out}': {error.strerror or error}; the export is unchanged"
        raise StoreError(msg) from error
    finally:
        part.unlink(missing_ok=True)
