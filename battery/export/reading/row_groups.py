"""Rows of a Parquet file some at a time: whole, and no text longer than allowed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from battery.export.dictionary.all_tables import TABLES
from battery.export.dictionary.columns import WORDS
from battery.export.reading.limits import MAX_HELD_BYTES

ROWS_AT_ONCE = 65_536  # of a long row group
ROWS_TOGETHER = 131_072  # of short ones
MAX_TEXT = 1_000_000  # letters of a structure
MAX_LABEL = 20_000  # and of any other text
MAX_TEXT_BYTES = 16_000_000  # of all texts that are held at once
STRUCTURES = frozenset(
    {"settings"} | {c.name for t in TABLES.values() for c in t.columns if c.kind == "object"}
)


def held_rows(file: pq.ParquetFile, held: list[int]) -> Iterator[pa.Table]:
    """Give the rows of a file, held to be whole, their texts limited and numbered.

    Parameters
    ----------
    file : pyarrow.parquet.ParquetFile
    held : list of int
        Bytes that each row group takes at once, so that small ones may be read together;
        without it each is read by itself.

    Raises
    ------
    ValueError, pyarrow.ArrowException, OSError
        If rows cannot be read, or hold a text that is too long.
    """
    for groups in _together(file, held):
        for some in _some_at_a_time(file, groups):
            some.validate(full=True)
            rows = some if len(groups) == 1 else some.unify_dictionaries().combine_chunks()
            _limit_texts(rows)
            yield rows


def _together(file: pq.ParquetFile, held: list[int]) -> Iterator[list[int]]:
    """Give row groups, small ones that follow each other together.

    Parameters
    ----------
    file : pyarrow.parquet.ParquetFile
    held : list of int
        What each takes at once; without it each is given by itself.
    """
    some: list[int] = []
    n_rows = n_bytes = 0
    for group in range(file.num_row_groups):
        n_own = file.metadata.row_group(group).num_rows
        own_bytes = held[group] if held else MAX_HELD_BYTES
        if some and (n_rows + n_own > ROWS_TOGETHER or n_bytes + own_bytes > MAX_HELD_BYTES):
            yield some
            some, n_rows, n_bytes = [], 0, 0
        some.append(group)
        n_rows += n_own
        n_bytes += own_bytes
    if some:
        yield some


def _some_at_a_time(file: pq.ParquetFile, groups: list[int]) -> Iterator[pa.Table]:
    """Give row groups, as visits are, or a long one cut in pieces."""
    if len(groups) > 1 or file.metadata.row_group(groups[0]).num_rows <= ROWS_AT_ONCE:
        yield file.read_row_groups(groups, use_threads=False)
        return
    for batch in file.iter_batches(ROWS_AT_ONCE, row_groups=groups, use_threads=False):
        yield pa.Table.from_batches([batch])


def _limit_texts(rows: pa.Table) -> None:
    """Refuse texts that are too long before any row is made of them."""
    texts = [column.name for column in rows.schema if column.type == WORDS]
    n_at_most = 0
    for name in texts:
        most = MAX_TEXT if name in STRUCTURES else MAX_LABEL
        for chunk in rows.column(name).chunks:
            longest = int(_lengths_of(chunk.dictionary).max(initial=0))
            if longest > most:
                msg = f"a text of {name} has more than {most} bytes"
                raise ValueError(msg)
            n_at_most += longest * len(chunk)
    if n_at_most <= MAX_TEXT_BYTES:
        return
    n_bytes = 0
    for name in texts:
        for chunk in rows.column(name).chunks:
            used = np.from_dlpack(chunk.indices.drop_null())
            n_bytes += int(_lengths_of(chunk.dictionary)[used].sum())
            if n_bytes > MAX_TEXT_BYTES:
                msg = f"the texts up to {name} have more than {MAX_TEXT_BYTES} bytes"
                raise ValueError(msg)


def _lengths_of(texts: pa.StringArray) -> np.ndarray[Any, np.dtype[np.int64]]:
    """Return the bytes of each text, without making any."""
    begins = texts.buffers()[1]
    if not len(texts) or begins is None:
        return np.zeros(0, np.int64)
    at = texts.offset
    begins = np.frombuffer(begins, np.int32)[at : at + len(texts) + 1]
    return np.diff(begins).astype(np.int64)
