"""Rows of samples, events and frames of an export, one block at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from battery.errors import RecordError
from battery.export.reading.sound_rows import DTYPES, sound_rows
from battery.export.rows.rebuilding import RawRows, chunks_of, numbers_of

if TYPE_CHECKING:
    from battery.export.reading.reader import Export

MAX_ROWS_OF_BLOCK = 1_000_000  # a quarter of an hour at 1,000 reports a second


class BlockRows:
    """Rows of one table, a block at a time, in the order of the file."""

    def __init__(self, export: Export, name: str, part: int) -> None:
        self._name = name
        self._parts = self._runs(export, part)
        self._next: _Run | None = next(self._parts, None)

    def of(self, block_id: str) -> RawRows:
        """Return a block's rows; none if the next rows are of another block.

        They are packed if all that can be known of them without the block is known to hold.

        Raises
        ------
        RecordError
            If they cannot be read, are not numbered from 0, or are too many.
        """
        parts: list[_Run] = []
        while self._next is not None and self._next.block_id == block_id:
            parts.append(self._next)
            if sum(part.n for part in parts) > MAX_ROWS_OF_BLOCK:
                msg = f"{self._name} of block {block_id}: more than {MAX_ROWS_OF_BLOCK} rows"
                raise RecordError(msg)
            self._next = next(self._parts, None)
        if not parts:
            return np.zeros(0, DTYPES[self._name])
        if len(parts) == 1 and parts[0].packed is not None:
            return parts[0].packed
        rows = pa.concat_tables([part.table for part in parts])
        numbers = numbers_of(rows.column(1))
        if not np.array_equal(numbers, np.arange(len(numbers))):
            msg = f"{self._name} of block {block_id} are not numbered from 0 on"
            raise RecordError(msg)
        return rows

    @property
    def left_over(self) -> str | None:
        """The block of the next rows; None at the end."""
        return None if self._next is None else self._next.block_id

    def _runs(self, export: Export, part: int) -> Iterator[_Run]:
        for table in export.batches(self._name, part):
            found: list[tuple[str, int]] = []
            for chunk, start in chunks_of(table.column(0)):
                if chunk.null_count:
                    msg = f"a row of {self._name} names no block"
                    raise RecordError(msg)
                if not len(chunk):
                    continue
                indices = np.from_dlpack(chunk.indices)
                names = chunk.dictionary.to_pylist()
                firsts = [0, *(np.flatnonzero(indices[1:] != indices[:-1]) + 1).tolist()]
                found += [(names[indices[first]], start + first) for first in firsts]
            if not found:
                continue
            starts = np.array([first for _, first in found])
            packed = sound_rows(self._name, table, starts)
            for (name, first), last in zip(
                found, [*starts[1:].tolist(), table.num_rows], strict=True
            ):
                held = None if packed is None else packed[first:last]
                yield _Run(name, table, first, last - first, held)


@dataclass(frozen=True, slots=True)
class _Run:
    """Some rows of one block that follow each other."""

    block_id: str
    batch: pa.Table
    first: int
    n: int
    packed: np.ndarray[Any, np.dtype[np.void]] | None

    @property
    def table(self) -> pa.Table:
        return self.batch.slice(self.first, self.n)
