"""Every value of an export held to what the dictionary says its column can be."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from battery.export.dictionary.columns import Column, Table

SHOWN = 40  # letters of a value that is named


def breaches(table: Table, rows: pa.Table) -> Iterator[str]:
    """Say of each column that holds what it cannot hold how often, and one such value.

    Parameters
    ----------
    table : Table
    rows : pyarrow.Table
        Some of its rows; columns that are not in the dictionary are passed over.
    """
    for column in table.columns:
        if column.name not in rows.schema.names:
            continue
        held = rows.column(column.name)
        if held.null_count and not column.missing:
            yield f"{column.name} is empty in {held.null_count} rows"
        if pa.types.is_dictionary(held.type):
            yield from _odd_words(column, held)
        elif not pa.types.is_boolean(held.type):
            yield from _beyond(column, held)


def _odd_words(column: Column, held: pa.ChunkedArray) -> Iterator[str]:
    if not (column.words or column.pattern):
        return
    told: set[Any] = set()
    for chunk in held.chunks:
        used = pc.unique(chunk.indices.drop_null())
        told |= set(chunk.dictionary.take(used).to_pylist())
    words = sorted(told - {None})
    odd = [w for w in words if column.words and w not in column.words]
    if column.pattern:
        odd += [w for w in words if not re.fullmatch(column.pattern, w, re.ASCII)]
    if odd:
        yield f"{column.name} is {ascii(odd[0])[:SHOWN]}, which it cannot be"


def _beyond(column: Column, held: pa.ChunkedArray) -> Iterator[str]:
    parts = [np.from_dlpack(chunk.drop_null()) for chunk in held.chunks]
    parts = [part for part in parts if len(part)]
    if not parts:
        return
    if pa.types.is_floating(held.type):
        n_odd = sum(int(np.count_nonzero(~np.isfinite(part))) for part in parts)
        if n_odd:
            yield f"{column.name} is no finite number in {n_odd} rows"
            return
    least, most = min(part.min() for part in parts), max(part.max() for part in parts)
    if column.minimum is not None and least < column.minimum:
        yield f"{column.name} is {least:g}, below {column.minimum:g}"
    if column.maximum is not None and most > column.maximum:
        yield f"{column.name} is {most:g}, above {column.maximum:g}"
