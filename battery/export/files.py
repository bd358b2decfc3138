"""The files of an export: written beside the earlier one, put in its place when whole."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq

from battery.errors import StoreError, UsageError
from battery.export.columns import Table
from battery.export.dictionary import TABLES

PACKAGE = "datapackage.json"
PACKAGE_NAME = "coordination-battery-export"
DICTIONARY = "dictionary.md"
PARTIAL = ".partial"
ROWS_PER_PART = 256
ROWS_PER_GROUP = 131_072
BYTES_PER_GROUP = 16_000_000

FILES = frozenset(
    {PACKAGE, DICTIONARY} | {f"{name}.{kind}" for name in TABLES for kind in ("csv", "parquet")}
)


class TableWriter:
    """Writes one table as CSV and Parquet, a part at a time, with little in memory."""

    def __init__(self, table: Table, folder: Path) -> None:
        self.table = table
        self.n_rows = 0
        schema = table.arrow_schema
        self._single: list[dict[str, Any]] = []
        self._waiting: list[pa.Table] = []
        self._waiting_rows = self._waiting_bytes = 0
        with ExitStack() as stack:
            # Files of our own, since a writer that fails does not close the one it opened.
            csv = stack.enter_context(pa.OSFile(str(folder / f"{table.name}.csv"), "wb"))
            parquet = stack.enter_context(
                pa.OSFile(str(folder / f"{table.name}.parquet"), "wb")
            )
            options = pc.WriteOptions(quoting_style="needed")
            self._csv = stack.enter_context(pc.CSVWriter(csv, schema, write_options=options))
            self._parquet = stack.enter_context(
                pq.ParquetWriter(parquet, schema, compression="zstd")
            )
            self._open = stack.pop_all()

    def write(self, rows: pa.Table | list[dict[str, Any]]) -> None:
        """Add rows: packed ones at once, single ones when there are enough to pack."""
        if isinstance(rows, list):
            self._single.extend(rows)
            self.n_rows += len(rows)
            if len(self._single) >= ROWS_PER_PART:
                self._pack()
        elif rows.num_rows:
            self.n_rows += rows.num_rows
            self._write_part(rows)

    def _pack(self) -> None:
        if self._single:
            self._write_part(self.table.arrow_table(self._single))
            self._single = []

    def _write_part(self, part: pa.Table) -> None:
        part.validate(full=True)
        self._csv.write_table(part)
        self._waiting.append(part)
        self._waiting_rows += part.num_rows
        self._waiting_bytes += part.nbytes
        if self._waiting_rows >= ROWS_PER_GROUP or self._waiting_bytes >= BYTES_PER_GROUP:
            self._write_group()

    def _write_group(self) -> None:
        if self._waiting:
            self._parquet.write_table(pa.concat_tables(self._waiting).combine_chunks())
            self._waiting = []
            self._waiting_rows = self._waiting_bytes = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        with self._open:
            if kind is None:
                self._pack()
                self._write_group()


@contextmanager
def replacing(folder: Path) -> Iterator[Path]:
    """Give a folder to write into; put what is there in place of the earlier export.

    The earlier export stays as it was until all is written; only then are the files moved.

    Raises
    ------
    UsageError
        If the folder holds something that is no export.
    StoreError
        If it cannot be written, or the disk is full.
    """
    _check_is_ours(folder)
    partial = folder / PARTIAL
    made = not folder.exists()
    placing = False
    try:
        shutil.rmtree(partial, ignore_errors=True)
        partial.mkdir(parents=True)
        yield partial
        _put_on_disk(partial)
        (folder / PACKAGE).unlink(missing_ok=True)
        placing = True
        _put_in_place(partial, folder)
        placing = False
    except StoreError:
        raise
    except OSError as error:
        earlier = "what is there is no whole export" if placing else "an earlier export too"
        msg = (
            f"cannot export to '{folder}': {error.strerror or error}. The store is unchanged, "
            f"{earlier}; free some space or name another folder, then export again"
        )
        raise StoreError(msg) from error
    finally:
        if not placing:  # else it shows that what is there is half an export
            shutil.rmtree(partial, ignore_errors=True)
        if made and folder.exists() and not any(folder.iterdir()):
            folder.rmdir()


def _check_is_ours(folder: Path) -> None:
    if not folder.exists():
        return
    if not folder.is_dir():
        msg = f"'{folder}' is a file; name a folder that is new, empty or an earlier export"
        raise UsageError(msg)
    names = {entry.name for entry in folder.iterdir()}
    foreign = sorted(names - FILES - {PARTIAL})
    if foreign or (names and PARTIAL not in names and not _is_export(folder / PACKAGE)):
        odd = f" (it holds '{foreign[0]}')" if foreign else ""
        msg = (
            f"'{folder}' is neither empty nor an earlier export{odd}; nothing was changed, "
            "name another folder"
        )
        raise UsageError(msg)


def _is_export(path: Path) -> bool:
    try:
        return bool(json.loads(path.read_text(encoding="utf-8"))["name"] == PACKAGE_NAME)
    except (OSError, ValueError, KeyError, TypeError):
        return False


def _put_on_disk(partial: Path) -> None:
    for path in partial.iterdir():
        with path.open("r+b") as file:
            os.fsync(file.fileno())


def _put_in_place(partial: Path, folder: Path) -> None:
    """Move the files; the descriptor was taken away and comes last, so that it never lies."""
    for name in sorted(FILES - {PACKAGE}):
        (partial / name).replace(folder / name)
    (partial / PACKAGE).replace(folder / PACKAGE)


def size_and_hash(path: Path) -> dict[str, Any]:
    """Return bytes and hash as a resource descriptor states them."""
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return {"bytes": path.stat().st_size, "hash": f"sha256:{digest}"}
