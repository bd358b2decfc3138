"""An export read back, block by block, with little in memory whatever the files claim.

Only the files an export has are opened, by their own names; what a descriptor says about
paths is compared and never followed.
"""

from __future__ import annotations

import json
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from battery.errors import RecordError, UsageError
from battery.export.dictionary import TABLES
from battery.export.files import PACKAGE, PACKAGE_NAME
from battery.recording import (
    EVENT_DTYPE,
    FARTHEST_MM,
    FRAME_DTYPE,
    LONGEST_BLOCK_NS,
    SAMPLE_DTYPE,
    Block,
    BlockHeader,
    Screen,
    TimingAudit,
)
from tasks.contract import CONTACT_KINDS, NS_PER_S

ROWS_AT_ONCE = 65_536
MOST_ROWS_OF_BLOCK = 5_000_000  # more than an hour at 1,000 reports a second
MOST_ROWS_OF_TABLE = 2_000_000  # of a table that is held in memory
MOST_PACKAGE_BYTES = 4_000_000
MOST_TEXT = 1_000_000
MOST_PAGE_BYTES = 256_000_000
PLACES = {"samples": ("x_mm", "y_mm"), "events": ("x_mm", "y_mm", "r_mm")}
BROKEN = (pa.ArrowException, OSError, ValueError, KeyError, TypeError, OverflowError)


@dataclass(frozen=True, slots=True)
class ReadBlock:
    """A block of an export, with the screen of its visit and what the table says of it."""

    block: Block
    screen: Screen
    row: dict[str, Any]


def read_package(folder: Path) -> dict[str, Any]:
    """Read the descriptor of an export.

    Raises
    ------
    UsageError
        If the folder holds no export.
    """
    path = folder / PACKAGE
    refusal = f"'{folder}' holds no export of this program that can be read"
    try:
        if not is_plain(path) or path.stat().st_size > MOST_PACKAGE_BYTES:
            raise UsageError(refusal)
        told = dict(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError, RecursionError) as error:
        raise UsageError(refusal) from error
    if told.get("name") != PACKAGE_NAME or not isinstance(told.get("resources"), list):
        raise UsageError(refusal)
    return told


def is_plain(path: Path) -> bool:
    """Whether it is a file itself, not a link to one and not a device."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except OSError:
        return False


def open_table(folder: Path, name: str) -> pq.ParquetFile:
    """Open a table's Parquet file and hold it to the dictionary.

    Raises
    ------
    RecordError
        If it cannot be read or has other columns.
    """
    path = folder / f"{name}.parquet"
    if not is_plain(path):
        msg = f"{path.name} is no plain file"
        raise RecordError(msg)
    try:
        file = pq.ParquetFile(path, pre_buffer=False)
        schema = file.schema_arrow
        _limit_pages(file, path.name)
    except BROKEN as error:
        msg = f"{path.name} cannot be read: {_first_line(error)}"
        raise RecordError(msg) from error
    expected = TABLES[name].arrow_schema
    if schema.names != expected.names or schema.types != expected.types:
        msg = f"{path.name} has other columns than the dictionary of this program"
        raise RecordError(msg)
    return file


def _limit_pages(file: pq.ParquetFile, name: str) -> None:
    about = file.metadata
    for group in range(about.num_row_groups):
        row_group = about.row_group(group)
        for column in range(row_group.num_columns):
            if row_group.column(column).total_uncompressed_size > MOST_PAGE_BYTES:
                msg = f"a column of {name} claims more than {MOST_PAGE_BYTES} bytes; not read"
                raise RecordError(msg)


def read_table(folder: Path, name: str) -> list[dict[str, Any]]:
    """Read a small table whole.

    Raises
    ------
    RecordError
        If it cannot be read, has other columns, or is too large.
    """
    with open_table(folder, name) as file:
        if file.metadata.num_rows > MOST_ROWS_OF_TABLE:
            msg = f"{name} claims {file.metadata.num_rows} rows; it was not read"
            raise RecordError(msg)
        try:
            rows: list[dict[str, Any]] = file.read(use_threads=False).to_pylist()
        except BROKEN as error:
            msg = f"{name}.parquet cannot be read: {_first_line(error)}"
            raise RecordError(msg) from error
    return rows


class BlockRows:
    """Rows of one table, a block at a time, in the order of the file."""

    def __init__(self, folder: Path, name: str) -> None:
        self._name = name
        self._file = open_table(folder, name)
        self._parts = self._runs()
        self._next: tuple[str, pa.Table] | None = next(self._parts, None)
        self.n_rows = 0

    def of(self, block_id: str) -> pa.Table:
        """Return a block's rows; none if the next rows are of another block.

        Raises
        ------
        RecordError
            If they cannot be read, are not numbered from 0, or are too many.
        """
        parts: list[pa.Table] = []
        while self._next is not None and self._next[0] == block_id:
            parts.append(self._next[1])
            self.n_rows += parts[-1].num_rows
            if sum(part.num_rows for part in parts) > MOST_ROWS_OF_BLOCK:
                msg = f"{self._name} of block {block_id}: more than {MOST_ROWS_OF_BLOCK} rows"
                raise RecordError(msg)
            self._next = next(self._parts, None)
        if not parts:
            return TABLES[self._name].arrow_schema.empty_table()
        rows = pa.concat_tables(parts).combine_chunks()
        numbers = rows.column(1).to_numpy()
        if not np.array_equal(numbers, np.arange(len(numbers))):
            msg = f"{self._name} of block {block_id} are not numbered from 0 on"
            raise RecordError(msg)
        return rows

    @property
    def left_over(self) -> str | None:
        """The block of the next rows; None at the end."""
        return None if self._next is None else self._next[0]

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()

    def _runs(self) -> Iterator[tuple[str, pa.Table]]:
        try:
            for batch in self._file.iter_batches(ROWS_AT_ONCE, use_threads=False):
                if batch.num_rows == 0:
                    continue
                table = pa.Table.from_batches([batch])
                table.validate(full=True)
                codes = pc.dictionary_encode(batch.column(0))
                if codes.null_count:
                    msg = "a row names no block"
                    raise ValueError(msg)
                indices = codes.indices.to_numpy()
                names = codes.dictionary.to_pylist()
                starts = [0, *(np.flatnonzero(np.diff(indices)) + 1).tolist(), len(indices)]
                for start, end in pairwise(starts):
                    yield names[indices[start]], table.slice(start, end - start)
        except BROKEN as error:
            msg = f"{self._name}.parquet cannot be read: {_first_line(error)}"
            raise RecordError(msg) from error


def read_blocks(folder: Path) -> Iterator[ReadBlock]:
    """Read every block of an export, one after another.

    Raises
    ------
    RecordError
        If a table cannot be read or the rows do not fit together.
    """
    screens = {row["visit_id"]: _screen(row) for row in read_table(folder, "visits")}
    streams: dict[str, BlockRows] = {}
    try:
        for name in ("samples", "events", "frames"):
            streams[name] = BlockRows(folder, name)
        for row in read_table(folder, "blocks"):
            screen = screens.get(row["visit_id"])
            if screen is None:
                msg = f"block {row['block_id']} is of a visit that is not there"
                raise RecordError(msg)
            rows = {name: stream.of(row["block_id"]) for name, stream in streams.items()}
            yield ReadBlock(_block(row, rows), screen, row)
        for name, stream in streams.items():
            if stream.left_over is not None:
                msg = f"{name} of block {stream.left_over!r} are out of place"
                raise RecordError(msg)
    finally:
        for stream in streams.values():
            stream.close()


def _screen(row: dict[str, Any]) -> Screen:
    return Screen(**{name: row[name] for name in Screen.__slots__})


def _block(row: dict[str, Any], rows: dict[str, pa.Table]) -> Block:
    try:
        header = BlockHeader(
            block_id=row["block_id"],
            visit_id=row["visit_id"],
            index=row["number"],
            task=row["task"],
            hand=row["hand_recorded"],
            phase=row["phase"],
            layout_seed=row["layout_seed"],
            layout_hash=row["layout_hash"],
            settings=_object(row["settings"]),
            started_utc="",  # dates stay in the store
            versions=_object(row["versions"]),
        )
        for name, column in (("samples", "t_ns"), ("events", "t_ns"), ("frames", "flip_ns")):
            latest_ns = pc.max(rows[name].column(column)).as_py() or 0
            if not 0 <= latest_ns <= LONGEST_BLOCK_NS:
                msg = f"its {name} go on for more than an hour"
                raise RecordError(msg)
        for name, columns in (
            ("samples", ("x_mm", "y_mm")),
            ("events", ("x_mm", "y_mm", "r_mm")),
        ):
            for column in columns:
                far_mm = pc.max(pc.abs(rows[name].column(column))).as_py() or 0.0
                if far_mm > FARTHEST_MM:
                    msg = f"its {name} lie {far_mm:g} mm away"
                    raise RecordError(msg)
        return Block(
            header=header,
            samples=_samples(rows["samples"]),
            frames=_numbers(rows["frames"], FRAME_DTYPE),
            events=_events(rows["events"]),
            ending=row["ending"],
            ended_ns=round(row["duration_s"] * NS_PER_S),
            audit=TimingAudit(**{name: row[name] for name in TimingAudit.__slots__}),
        )
    except (*BROKEN, RecursionError) as error:
        msg = f"block {row['block_id']} does not hold together: {_first_line(error)}"
        raise RecordError(msg) from error


def _object(text: str) -> dict[str, Any]:
    if len(text) > MOST_TEXT:
        msg = f"a structure has {len(text)} letters, more than {MOST_TEXT}"
        raise ValueError(msg)
    told = json.loads(text)
    if not isinstance(told, dict):
        msg = "a structure is no object"
        raise TypeError(msg)
    return told


def _samples(table: pa.Table) -> np.ndarray[Any, np.dtype[np.void]]:
    kinds = pc.index_in(table.column("kind"), value_set=pa.array(CONTACT_KINDS, pa.string()))
    if kinds.null_count:
        msg = "a sample is of no known kind"
        raise ValueError(msg)
    array = np.zeros(table.num_rows, dtype=SAMPLE_DTYPE)
    array["kind"] = kinds.to_numpy()
    for name in ("t_ns", "pointer", "x_mm", "y_mm", "pressure", "stamp_gap_ns"):
        array[name] = table.column(name).to_numpy()
    return array


def _events(table: pa.Table) -> np.ndarray[Any, np.dtype[np.void]]:
    array = np.zeros(table.num_rows, dtype=EVENT_DTYPE)
    for name in ("t_ns", "trial", "x_mm", "y_mm", "r_mm"):
        array[name] = table.column(name).to_numpy()
    array["kind"] = table.column("kind").to_pylist()
    array["label"] = [label or "" for label in table.column("label").to_pylist()]
    return array


def _numbers(table: pa.Table, dtype: np.dtype[np.void]) -> np.ndarray[Any, np.dtype[np.void]]:
    array = np.zeros(table.num_rows, dtype=dtype)
    for name in dtype.names or ():
        array[name] = table.column(name).to_numpy()
    return array


def _first_line(error: BaseException) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:200]
