"""The files of an export: written beside the earlier one, put in its place when whole."""

from __future__ import annotations

import filecmp
import hashlib
import json
import os
import re
import shutil
from collections import deque
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import pyarrow as pa
import pyarrow.parquet as pq

from battery.errors import StoreError, UsageError
from battery.export.dictionary.all_tables import TABLES
from battery.export.dictionary.columns import Table
from battery.files import close_to_others, make_folder
from battery.workers import in_order

PACKAGE = "datapackage.json"
PACKAGE_NAME = "coordination-battery-export"
DICTIONARY = "dictionary.md"
PARTIAL = ".partial"
RESCORED = "rescored"  # a folder with scores that were computed again; no part of an export
ROWS_PER_PACK = 256
ROWS_PER_GROUP = 65_536
ZSTD_LEVEL = 3
AT_ONCE = 8  # files that a disk is asked to keep: one by one each waits for itself

SINGLE = frozenset(name for name, table in TABLES.items() if not table.in_parts)
EARLIER = frozenset(f"{name}.{kind}" for name in TABLES for kind in ("csv", "parquet"))
CSV = ".csv.gz"
PART = re.compile(r"part-[0-9]{4,}\.parquet")


def part_name(table: str, number: int) -> str:
    """Return the name of a part, from 1, with its folder."""
    return f"{table}/part-{number:04d}.parquet"


def names_of(table: str, n_parts: int) -> list[str]:
    """Return the names of a table's Parquet files, in order."""
    if TABLES[table].in_parts:
        return [part_name(table, number) for number in range(1, n_parts + 1)]
    return [f"{table}.parquet"]


def is_ours(name: str) -> bool:
    """Whether an export, this one or an earlier form, may have a file of this name."""
    folder, _, last = name.rpartition("/")
    if folder:
        return folder in TABLES and TABLES[folder].in_parts and bool(PART.fullmatch(last))
    known = {PACKAGE, DICTIONARY} | {f"{table}{CSV}" for table in TABLES}
    return name in known | EARLIER


class TableWriter:
    """Writes one table as Parquet, a part at a time, with little in memory.

    Packed rows become a row group of their own, single rows one for many.
    """

    def __init__(self, table: Table, path: Path) -> None:
        self.table = table
        self.n_rows = 0
        self._schema = table.arrow_schema
        self._single: list[dict[str, Any]] = []
        self._packed: list[pa.Table] = []
        path.parent.mkdir(exist_ok=True)
        with ExitStack() as stack:
            # A file of our own, since a writer that fails does not close the one it opened.
            file = stack.enter_context(pa.OSFile(str(path), "wb"))
            self._parquet = stack.enter_context(
                pq.ParquetWriter(
                    file,
                    self._schema,
                    compression="zstd",
                    compression_level=ZSTD_LEVEL,
                    write_page_checksum=True,
                    **table.encodings,
                )
            )
            self._open = stack.pop_all()

    def write(self, rows: pa.Table | list[dict[str, Any]]) -> None:
        """Add rows: packed ones at once, single ones when there are many."""
        if isinstance(rows, list):
            self._single.extend(rows)
            self.n_rows += len(rows)
            if len(self._single) >= ROWS_PER_PACK:
                self._pack()
        elif rows.num_rows:
            rows.validate(full=True)
            self.n_rows += rows.num_rows
            self._parquet.write_table(rows)

    def note(self, name: str, text: str) -> None:
        """Put a text into the footer of the file."""
        self._parquet.add_key_value_metadata({name: text})

    def _pack(self) -> None:
        if self._single:
            self._packed.append(self.table.arrow_table(self._single, self._schema))
            self._single = []
        if sum(part.num_rows for part in self._packed) >= ROWS_PER_GROUP:
            self._write_group()

    def _write_group(self) -> None:
        if self._packed:
            group = pa.concat_tables(self._packed).combine_chunks()
            group.validate(full=True)
            self._parquet.write_table(group)
            self._packed = []

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
        make_folder(partial)
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
    names = _files_in(folder)
    half = (folder / PARTIAL).is_dir()
    foreign = sorted(name for name in names if not is_ours(name))
    if foreign or (names and not half and not _is_export(folder / PACKAGE)):
        odd = f" (it holds '{foreign[0]}')" if foreign else ""
        msg = (
            f"'{folder}' is neither empty nor an earlier export{odd}; nothing was changed, "
            "name another folder"
        )
        raise UsageError(msg)


def _files_in(folder: Path) -> list[str]:
    """Return what is in a folder and its folders of parts, but for a half export."""
    found = []
    for path in sorted(folder.iterdir()):
        table = TABLES.get(path.name)
        if path.name == PARTIAL or (path.name == RESCORED and _is_folder(path)):
            continue
        if table and table.in_parts and _is_folder(path):
            found += [f"{path.name}/{part.name}" for part in sorted(path.iterdir())]
        else:
            found.append(path.name)
    return found


def _is_folder(path: Path) -> bool:
    return path.is_dir() and not path.is_symlink()


def _is_export(path: Path) -> bool:
    try:
        return bool(json.loads(path.read_text(encoding="utf-8"))["name"] == PACKAGE_NAME)
    except (OSError, ValueError, KeyError, TypeError):
        return False


def _put_on_disk(partial: Path) -> None:
    for path in partial.iterdir():
        close_to_others(path)
    with in_order(_settle, [partial / name for name in _files_in(partial)], AT_ONCE) as done:
        deque(done, 0)


def _settle(path: Path) -> None:
    close_to_others(path)
    with path.open("r+b") as file:
        os.fsync(file.fileno())


def _put_in_place(partial: Path, folder: Path) -> None:
    """Move the files; the descriptor was taken away and comes last, so that it never lies.

    A file that is there with the same bytes is left as it is.
    """
    made = _files_in(partial)
    if _is_folder(folder / RESCORED):  # of the earlier export
        shutil.rmtree(folder / RESCORED)
    for name in _files_in(folder):
        if name not in made:
            (folder / name).unlink()
    for name in sorted(set(made) - {PACKAGE}):
        make_folder((folder / name).parent)
        if not _same_file(partial / name, folder / name):
            (partial / name).replace(folder / name)
    for path in folder.iterdir():
        if path.is_dir() and path != partial and not any(path.iterdir()):
            path.rmdir()
    (partial / PACKAGE).replace(folder / PACKAGE)


def _same_file(path: Path, other: Path) -> bool:
    if other.is_symlink() or not other.is_file():
        return False
    return path.stat().st_size == other.stat().st_size and filecmp.cmp(
        path, other, shallow=False
    )


def size_and_hash(path: Path) -> dict[str, Any]:
    """Return bytes and hash as a resource descriptor states them."""
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return {"bytes": path.stat().st_size, "hash": f"sha256:{digest}"}
