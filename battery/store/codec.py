"""Arrays to bytes and back: Parquet for what is kept, raw rows for what is still running."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from battery.errors import RecordError
from battery.recording import LATER_COLUMNS
from tasks.contract import Event

MAX_ROWS = 5_000_000  # more than an hour at 1,000 reports a second
PAYS = 512  # rows that are worth compressing
ZSTD_LEVEL = 9
Rows = np.ndarray[Any, np.dtype[np.void]]
_NUMBERS = (pa.IntegerArray, pa.FloatingPointArray)


def to_parquet(array: Rows) -> bytes:
    """Pack a structured array, one Parquet column a field; every bit comes back.

    Whole numbers, times above all, are stored as differences, and are then small as they are:
    to unpack a column takes longer than to read what it saves. Where rows are few, that holds
    of all columns.
    """
    columns = {name: _column(array[name]) for name in array.dtype.names or ()}
    whole = {name for name in columns if array.dtype[name].kind in "iu"}
    packed = columns.keys() - whole if len(array) >= PAYS else set()
    sink = pa.BufferOutputStream()
    # Nearly every real number differs from the last, so a dictionary only makes it larger.
    pq.write_table(
        pa.table(columns),
        sink,
        compression={name: "zstd" if name in packed else "none" for name in columns},
        compression_level=dict.fromkeys(packed, ZSTD_LEVEL) or None,
        use_dictionary=False,
        column_encoding=dict.fromkeys(whole, "DELTA_BINARY_PACKED") or None,
        write_statistics=False,
        write_page_checksum=True,
    )
    return bytes(sink.getvalue().to_pybytes())


def _column(values: np.ndarray[Any, Any]) -> Any:
    if values.dtype.kind == "U":
        return pa.array(values.tolist(), type=pa.string())
    return pa.array(np.ascontiguousarray(values))


def from_parquet(data: bytes, dtype: np.dtype[np.void], *, is_sealed: bool = False) -> Rows:
    """Unpack what `to_parquet` packed; a column that came later has its default.

    Parameters
    ----------
    data : bytes
    dtype : dtype
    is_sealed : bool
        Whether a seal over the bytes was found to hold; then its pages need not be summed up.

    Raises
    ------
    RecordError
        If the bytes are no Parquet table with these columns.
    """
    try:
        # No threads: the tables are small, and a pool of threads must be joined at exit.
        file = pq.ParquetFile(
            pa.BufferReader(data), pre_buffer=False, page_checksum_verification=not is_sealed
        )
        if file.metadata.num_rows > MAX_ROWS:
            msg = f"it claims {file.metadata.num_rows} rows, more than {MAX_ROWS}"
            raise ValueError(msg)  # noqa: TRY301  # one way out for whatever is wrong
        table = file.read(use_threads=False)
        array = np.empty(table.num_rows, dtype=dtype)
        for name in dtype.names or ():
            if name in LATER_COLUMNS and name not in table.column_names:
                array[name] = LATER_COLUMNS[name]
            else:
                array[name] = _values(table.column(name))
    except (pa.ArrowException, OSError, LookupError, ValueError, TypeError) as error:
        cause = (str(error).splitlines() or [type(error).__name__])[0]
        msg = f"a stored block cannot be read ({cause}); other blocks are not affected"
        raise RecordError(msg) from error
    return array


def _values(column: pa.ChunkedArray) -> Any:
    """Return a column's values, by the short ways where there is one.

    `to_numpy` loads pandas wherever that is installed: half a second and 45 MB.
    """
    if pa.types.is_string(column.type):
        return column.to_pylist()
    parts = column.chunks
    if column.null_count or not all(isinstance(part, _NUMBERS) for part in parts):
        return column.to_numpy()
    if len(parts) == 1:
        return np.from_dlpack(parts[0])
    return np.concatenate([np.from_dlpack(part) for part in parts]) if parts else []


def events_to_json(events: Sequence[Event]) -> str:
    """Write events as JSON rows; nan becomes null."""
    return json.dumps(
        [
            [e.t_ns, e.kind, e.trial, e.label, *(_null(v) for v in (e.x_mm, e.y_mm, e.r_mm))]
            for e in events
        ]
    )


def events_from_json(text: str) -> list[Event]:
    """Read what `events_to_json` wrote."""
    return [
        Event(t, kind, trial, label, *(float("nan") if v is None else v for v in place))
        for t, kind, trial, label, *place in json.loads(text)
    ]


def _null(value: float) -> float | None:
    return None if value != value else value


def give_back() -> None:
    """Give memory in which records were decoded back to the system, as who stays should."""
    pa.default_memory_pool().release_unused()
