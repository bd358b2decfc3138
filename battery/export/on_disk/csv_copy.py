"""A table as compressed CSV beside Parquet: the same rows, harmless in a spreadsheet."""

from __future__ import annotations

import gzip
from collections import deque
from collections.abc import Iterable, Iterator
from functools import partial
from pathlib import Path
from typing import Any, cast

import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq

from battery.cells import harmless
from battery.export.dictionary.all_tables import TABLES
from battery.export.on_disk.table_files import CSV, names_of
from battery.workers import in_order, threads_here

ROWS_AT_ONCE = 65_536
LEVEL = 6


def write_csv(folder: Path, names: Iterable[str], n_parts: int) -> None:
    """Write tables of an export as CSV too, from their Parquet files.

    In threads: nearly all of it is packing, which waits for nobody.
    """
    write = partial(_write, folder, n_parts)
    with in_order(write, names, threads_here()) as written:
        deque(written, 0)


def _write(folder: Path, n_parts: int, name: str) -> None:
    with (
        (folder / f"{name}{CSV}").open("wb") as file,
        # No name and no time in it, so that the same rows give the same bytes.
        gzip.GzipFile("", "wb", LEVEL, cast("Any", file), mtime=0) as packed,
    ):
        write_rows(packed, TABLES[name].arrow_schema, _batches(folder, name, n_parts))


def _batches(folder: Path, name: str, n_parts: int) -> Iterator[pa.Table]:
    for path in names_of(name, n_parts):
        with pq.ParquetFile(folder / path, pre_buffer=False) as file:
            for batch in file.iter_batches(ROWS_AT_ONCE, use_threads=False):
                yield pa.Table.from_batches([batch])


def write_rows(
    sink: Any, schema: pa.Schema, rows: Iterable[pa.Table], *, as_is: bool = False
) -> None:
    """Write rows as CSV: UTF-8, comma, line feed, empty is missing.

    Parameters
    ----------
    sink : binary file
    schema : Schema
        Of the rows; numbered texts are written as texts.
    as_is : bool
        Leave texts as they are, as the first form of an export did.
    """
    plain = pa.schema(
        [
            pa.field(f.name, pa.string() if pa.types.is_dictionary(f.type) else f.type)
            for f in schema
        ]
    )
    options = pc.WriteOptions(quoting_style="needed")
    with pc.CSVWriter(pa.PythonFile(sink, mode="w"), plain, write_options=options) as writer:
        for part in rows:
            writer.write_table(_texts(part, as_is=as_is).cast(plain))


def _texts(part: pa.Table, *, as_is: bool) -> pa.Table:
    for place, field in enumerate(part.schema):
        words = pa.types.is_dictionary(field.type)
        if not words and not pa.types.is_string(field.type):
            continue
        chunks = []
        for chunk in part.column(place).chunks:
            coded = chunk if words else chunk.dictionary_encode()
            told = coded.dictionary.to_pylist()
            if not as_is:
                told = [None if word is None else harmless(word) for word in told]
            chunks.append(pa.array(told, pa.string()).take(coded.indices))
        part = part.set_column(place, field.name, pa.chunked_array(chunks, pa.string()))
    return part
