"""Raw rows of many blocks at once, packed as they were recorded, where all of them hold.

What must hold of numbers, stamps, places and kinds is asked of the columns of a whole batch, as
a visit is. Where anything may not hold, nothing is given: then each block is looked at by
itself, so that what is wrong is said of the block it is in.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
import pyarrow as pa

from battery.export.rows.rebuilding import BROKEN, MAX_EVENT_WORD, chunks_of, numbers_of
from battery.playable import MAX_TRIALS
from battery.recording import (
    EVENT_DTYPE,
    FRAME_DTYPE,
    KIND_CODES,
    MAX_BLOCK_NS,
    MAX_PLACE_MM,
    SAMPLE_DTYPE,
)

Rows = np.ndarray[Any, np.dtype[np.void]]
DTYPES: Mapping[str, np.dtype[np.void]] = {
    "samples": SAMPLE_DTYPE, "events": EVENT_DTYPE, "frames": FRAME_DTYPE,
}  # fmt: skip
UNKNOWN = 255


def sound_rows(name: str, rows: pa.Table, starts: np.ndarray[Any, Any]) -> Rows | None:
    """Pack the rows of whole blocks; None where not all of them are sure to hold.

    Parameters
    ----------
    name : {"samples", "events", "frames"}
    rows : pyarrow.Table
    starts : ndarray of int
        Row at which each block begins, the first of them 0.

    Returns
    -------
    ndarray or None
        Of the dtype of the record. Numbered from 0 in each block, in order of time, within an
        hour and `MAX_PLACE_MM`; every missing number is the quiet nan.
    """
    try:
        _hold_numbers(rows, starts)
        return _PACKED[name](rows, starts)
    except BROKEN:
        return None


def _samples(rows: pa.Table, starts: np.ndarray[Any, Any]) -> Rows:
    array = np.empty(rows.num_rows, dtype=SAMPLE_DTYPE)
    array["t_ns"] = _stamps(rows, "t_ns", starts)
    array["kind"] = _kinds(rows.column("kind"))
    array["pointer"] = _within(rows, "pointer", 0, np.iinfo(np.int16).max)
    for name in ("x_mm", "y_mm"):
        array[name] = _reals(rows, name, -MAX_PLACE_MM, MAX_PLACE_MM)
    most = float(np.finfo(np.float32).max)
    array["pressure"] = _reals(rows, "pressure", -most, most)
    array["stamp_gap_ns"] = _within(rows, "stamp_gap_ns", 0, MAX_BLOCK_NS)
    return array


def _events(rows: pa.Table, starts: np.ndarray[Any, Any]) -> Rows:
    array = np.empty(rows.num_rows, dtype=EVENT_DTYPE)
    array["t_ns"] = _stamps(rows, "t_ns", starts)
    array["trial"] = _within(rows, "trial", -1, MAX_TRIALS)
    for name, least in (("x_mm", -MAX_PLACE_MM), ("y_mm", -MAX_PLACE_MM), ("r_mm", 0.0)):
        array[name] = _reals(rows, name, least, MAX_PLACE_MM)
    for name in ("kind", "label"):
        for chunk, start in chunks_of(rows.column(name)):
            words = [*chunk.dictionary.to_pylist(), ""]
            if None in words or max(map(len, words)) > MAX_EVENT_WORD:
                raise ValueError(name)
            numbers = np.from_dlpack(chunk.indices.fill_null(len(words) - 1))
            array[name][start : start + len(chunk)] = np.array(words)[numbers]
    return array


def _frames(rows: pa.Table, starts: np.ndarray[Any, Any]) -> Rows:
    array = np.empty(rows.num_rows, dtype=FRAME_DTYPE)
    for name in FRAME_DTYPE.names or ():
        array[name] = _stamps(rows, name, starts)
    return array


_PACKED: Mapping[str, Callable[[pa.Table, np.ndarray[Any, Any]], Rows]] = {
    "samples": _samples, "events": _events, "frames": _frames,
}  # fmt: skip


def _hold_numbers(rows: pa.Table, starts: np.ndarray[Any, Any]) -> None:
    numbers = numbers_of(rows.column(1))
    steps = numbers[1:] - numbers[:-1]
    steps[starts[1:] - 1] = 1
    if numbers[starts].any() or (steps != 1).any():
        raise ValueError(rows.schema.names[1])


def _stamps(rows: pa.Table, name: str, starts: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    t_ns = _within(rows, name, 0, MAX_BLOCK_NS)
    is_back = t_ns[1:] < t_ns[:-1]
    is_back[starts[1:] - 1] = False
    if is_back.any():
        raise ValueError(name)
    return t_ns


def _within(rows: pa.Table, name: str, least: int, most: int) -> np.ndarray[Any, Any]:
    values = numbers_of(rows.column(name))
    if int(values.min()) < least or int(values.max()) > most:
        raise ValueError(name)
    return values


def _reals(
    rows: pa.Table, name: str, least: float, most: float
) -> np.ndarray[Any, Any] | float:
    """Return a column of real numbers, those that are missing as the quiet nan."""
    column = rows.column(name)
    if column.null_count == len(column):
        return float("nan")
    values = numbers_of(column)
    n_inside = np.count_nonzero((values >= least) & (values <= most))
    if n_inside + column.null_count != len(column):  # nor is a nan of its own inside
        raise ValueError(name)
    return values


def _kinds(column: pa.ChunkedArray) -> np.ndarray[Any, Any]:
    if column.null_count:
        raise ValueError(column.type)
    found = []
    for chunk, _ in chunks_of(column):
        words = chunk.dictionary.to_pylist()
        codes = np.array([KIND_CODES.get(word, UNKNOWN) for word in words], dtype=np.uint8)
        found.append(codes[np.from_dlpack(chunk.indices)])
    kinds = found[0] if len(found) == 1 else np.concatenate(found)
    if int(kinds.max()) == UNKNOWN:
        raise ValueError(column.type)
    return kinds
