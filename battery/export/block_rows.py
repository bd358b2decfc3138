"""Rows of samples, events and frames of an export, one block at a time."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa

from battery.errors import RecordError
from battery.export.dictionary import TABLES
from battery.export.rebuilding import chunks_of, numbers_of

if TYPE_CHECKING:
    from battery.export.reading import Export

MAX_ROWS_OF_BLOCK = 1_000_000  # a quarter of an hour at 1,000 reports a second


class BlockRows:
    """Rows of one table, a block at a time, in the order of the file."""

    def __init__(self, export: Export, name: str, part: int) -> None:
        self._name = name
        self._parts = self._runs(export, part)
        self._next: tuple[str, pa.Table] | None = next(self._parts, None)

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
            if sum(part.num_rows for part in parts) > MAX_ROWS_OF_BLOCK:
                msg = f"{self._name} of block {block_id}: more than {MAX_ROWS_OF_BLOCK} rows"
                raise RecordError(msg)
            self._next = next(self._parts, None)
        if not parts:
            return TABLES[self._name].arrow_schema.empty_table()
        rows = parts[0] if len(parts) == 1 else pa.concat_tables(parts)
        numbers = numbers_of(rows.column(1))
        if not np.array_equal(numbers, np.arange(len(numbers))):
            msg = f"{self._name} of block {block_id} are not numbered from 0 on"
            raise RecordError(msg)
        return rows

    @property
    def left_over(self) -> str | None:
        """The block of the next rows; None at the end."""
        return None if self._next is None else self._next[0]

    def _runs(self, export: Export, part: int) -> Iterator[tuple[str, pa.Table]]:
        for table in export.batches(self._name, part):
            for chunk, start in chunks_of(table.column(0)):
                if chunk.null_count:
                    msg = f"a row of {self._name} names no block"
                    raise RecordError(msg)
                indices = np.from_dlpack(chunk.indices)
                names = chunk.dictionary.to_pylist()
                ends = (np.flatnonzero(np.diff(indices)) + 1).tolist()
                for first, last in pairwise([0, *ends, len(indices)]):
                    if last > first:
                        yield names[indices[first]], table.slice(start + first, last - first)
