"""Does an export still hold? Hashes, keys, references, order of stamps, and replay."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.csv as pc

from battery.errors import BatteryError, RecordError, UsageError
from battery.export.columns import Table
from battery.export.dictionary import TABLES
from battery.export.files import size_and_hash
from battery.export.package import EXPORT_VERSION
from battery.export.reading import (
    BROKEN,
    ROWS_AT_ONCE,
    is_plain,
    open_table,
    read_blocks,
    read_package,
    read_table,
)
from battery.verify import Finding, Verification, block_problems

LONG = frozenset({"samples", "events", "frames"})  # read a block at a time


def verify_export(
    folder: Path, *, progress: Callable[[int, int], None] | None = None
) -> Verification:
    """Check an export without changing anything.

    A file whose hash does not hold is named and not read any further.

    Parameters
    ----------
    folder : Path
    progress : callable, optional
        Called with (blocks done, blocks in all).

    Raises
    ------
    UsageError
        If the folder holds no export, or one of a later program.
    """
    package = read_package(folder)
    version = str(package.get("version"))
    if version.split(".")[0] != EXPORT_VERSION.split(".")[0]:
        msg = f"'{folder}' is an export of form {version}; this program reads {EXPORT_VERSION}"
        raise UsageError(msg)
    findings = list(_files(folder, package))
    bad = {finding.where.split(".")[0] for finding in findings}
    tables: dict[str, list[dict[str, Any]]] = {}
    for name in sorted(TABLES.keys() - LONG - bad):
        try:
            tables[name] = read_table(folder, name)
        except RecordError as error:
            findings.append(Finding(name, str(error)))
            bad.add(name)
    findings += _keys(tables)
    findings += [f for name in sorted(TABLES.keys() - bad) for f in _same_rows(folder, name)]
    n_blocks = n_samples = 0
    if not bad & (LONG | {"blocks", "visits"}):
        total = len(tables["blocks"])
        try:
            for read in read_blocks(folder):
                n_blocks += 1
                n_samples += len(read.block.samples)
                where = f"block {read.block.header.block_id}"
                findings += [Finding(where, what) for what in block_problems(read.block)]
                if read.row["n_samples"] != len(read.block.samples):
                    findings.append(
                        Finding(where, f"it has {len(read.block.samples)} samples, stated are "
                                f"{read.row['n_samples']}")
                    )  # fmt: skip
                if progress is not None:
                    progress(n_blocks, total)
        except RecordError as error:
            findings.append(Finding("blocks", str(error)))
    n_visits = len(tables.get("visits", []))
    return Verification(n_visits, n_blocks, n_samples, 0, tuple(findings))


def _files(folder: Path, package: dict[str, Any]) -> Iterator[Finding]:
    """Hold every file to its stated name, size and hash."""
    told = {r.get("name"): r for r in package["resources"] if isinstance(r, dict)}
    for name in sorted(TABLES.keys() | told.keys(), key=str):
        if name not in TABLES or name not in told:
            lacks = "the dictionary of this program" if name not in TABLES else "the descriptor"
            yield Finding(str(name)[:40], f"{lacks} does not have this table")
            continue
        parquet = told[name].get("parquet")
        for about, ending in ((told[name], "csv"), (parquet, "parquet")):
            file = f"{name}.{ending}"
            if not isinstance(about, dict) or about.get("path") != file:
                yield Finding(file, "the descriptor names another file; it was not followed")
            elif not is_plain(folder / file):
                yield Finding(file, "it is not there as a plain file")
            else:
                yield from _holds(folder / file, about)


def _holds(path: Path, about: dict[str, Any]) -> Iterator[Finding]:
    try:
        if path.stat().st_size != about.get("bytes"):
            yield Finding(path.name, "it does not have the size the descriptor states")
        elif size_and_hash(path)["hash"] != about.get("hash"):
            yield Finding(path.name, "it does not have the hash the descriptor states")
    except OSError as error:
        yield Finding(path.name, f"it cannot be read: {error.strerror or error}")


def _keys(tables: dict[str, list[dict[str, Any]]]) -> Iterator[Finding]:
    """Primary keys that repeat, and references that lead nowhere."""
    for name, rows in tables.items():
        table = TABLES[name]
        keys = [tuple(row[column] for column in table.primary) for row in rows]
        if len(set(keys)) != len(keys):
            yield Finding(name, f"{len(keys) - len(set(keys))} keys are there more than once")
        for key in table.keys:
            if key.table not in tables:
                continue
            known = {row[key.target] for row in tables[key.table]}
            lost = [r[key.column] for r in rows if r[key.column] not in known | {None}]
            if lost:
                yield Finding(
                    name,
                    f"{len(lost)} rows refer to {key.table} that are not there, such as "
                    f"{str(lost[0])[:40]!r}",
                )


class _Digest:
    """A file that keeps only the hash of what is written to it."""

    closed = False

    def __init__(self) -> None:
        self.sha256 = hashlib.sha256()

    def write(self, data: Any) -> int:
        self.sha256.update(data)
        return len(data)

    def flush(self) -> None:
        pass

    def close(self) -> None:
        pass


def _same_rows(folder: Path, name: str) -> Iterator[Finding]:
    """Hold the CSV file to what the Parquet file's rows give when they are written."""
    table: Table = TABLES[name]
    digest = _Digest()
    try:
        with open_table(folder, name) as file:
            options = pc.WriteOptions(quoting_style="needed")
            sink = pa.PythonFile(digest, mode="w")
            with pc.CSVWriter(sink, table.arrow_schema, write_options=options) as writer:
                for batch in file.iter_batches(ROWS_AT_ONCE, use_threads=False):
                    part = pa.Table.from_batches([batch])
                    part.validate(full=True)
                    writer.write_table(part.cast(table.arrow_schema))
        written = size_and_hash(folder / f"{name}.csv")["hash"]
    except (BatteryError, *BROKEN) as error:
        yield Finding(name, f"it cannot be read: {str(error)[:200]}")
        return
    if written != f"sha256:{digest.sha256.hexdigest()}":
        yield Finding(f"{name}.csv", f"it does not hold the rows of {name}.parquet")
