"""Raw rows of blocks as columns, the hash that covers them, and both the way back."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from battery.export.dictionary.all_tables import EVENTS, FRAMES, SAMPLES
from battery.export.dictionary.columns import Table
from battery.recording import EVENT_DTYPE, Block, EventArray, canonical_json
from tasks.contract import CONTACT_KINDS

# The columns of `blocks` that the hash covers: what was recorded, as this form exports it. What
# was said of a block later is not among them, so that an amendment changes no hash.
RECORDED = (
    "block_id", "visit_id", "number", "task", "task_version", "hand_recorded",
    "phase", "ending", "start_s", "duration_s", "n_samples", "n_events", "n_frames",
    "input_type", "layout_seed",
    "layout_hash", "versions", "flip_p99_ms", "stamp_gap_p99_ms", "report_rate_hz",
    "frame_rate_hz", "slow_frames",
)  # fmt: skip

_NEVER_NAN = frozenset(n for n in EVENT_DTYPE.names or () if EVENT_DTYPE[n].kind != "f")
_SCHEMAS = {table.name: table.arrow_schema for table in (SAMPLES, EVENTS, FRAMES)}

# The bits of the quiet nan as a whole number, by bytes.
QUIET = {4: np.float32(np.nan).view(np.int32), 8: np.float64(np.nan).view(np.int64)}


# Where the settings come in canonical JSON, by their name; within a text it has a backslash.
_SETTINGS = '"settings":null'


def block_sha256(
    row: Mapping[str, Any],
    settings: Mapping[str, Any],
    block: Block,
    *,
    text: str | None = None,
    is_quiet: bool = False,
) -> str:
    """Hash a block as it stands in an export, and nothing else.

    Canonical JSON of the recorded columns of its row and of all its settings, a line feed,
    its samples and frames as packed rows in order of their columns, little-endian, a missing
    number being the quiet nan; then canonical JSON of its events, column by column.

    Parameters
    ----------
    row : mapping
        Its row of `blocks`.
    settings : mapping
        Of the plan and its own together.
    block : Block
    text : str, optional
        Canonical JSON of the settings, where it was made before.
    is_quiet : bool
        Whether every missing number of its samples is known to be the quiet nan.
    """
    text = canonical_json(dict(settings)) if text is None else text
    told = {name: row[name] for name in RECORDED} | {"settings": None}
    told["versions"] = json.loads(row["versions"])  # comes after the settings
    whole = canonical_json(told).replace(_SETTINGS, f'"settings":{text}', 1)
    digest = hashlib.sha256(f"{whole}\n".encode())
    digest.update(_row_bytes(block.samples, is_quiet=is_quiet))
    digest.update(_row_bytes(block.frames))
    digest.update(canonical_json(_columns_of(block.events)).encode())
    return digest.hexdigest()


def _columns_of(events: EventArray) -> dict[str, Any]:
    """Return the values of events column by column, None for a missing number."""
    columns = {name: events[name].tolist() for name in events.dtype.names or ()}
    return {
        name: column if name in _NEVER_NAN else [v if v == v else None for v in column]
        for name, column in columns.items()
    }


def _row_bytes(array: np.ndarray[Any, np.dtype[np.void]], *, is_quiet: bool = False) -> Any:
    """Return the packed rows, every nan the quiet one, as they come back from nulls."""
    plain = np.ascontiguousarray(array)
    for name in () if is_quiet else array.dtype.names or ():
        if array.dtype[name].kind != "f":
            continue
        values = array[name]
        missing = np.isnan(values)
        if not missing.any():
            continue
        # Most are the quiet one already, as where a device tells no pressure.
        odd = missing & (values.view(f"i{values.itemsize}") != QUIET[values.itemsize])
        if odd.any():
            plain = array.copy() if plain is array else plain
            plain[name][odd] = np.nan
    return plain.view(np.uint8)


def samples_of(blocks: Sequence[tuple[str, Block]]) -> pa.Table:
    """Rows of `samples` of some blocks, each under the name it has in the export."""
    arrays = [block.samples for _, block in blocks]
    return _raw(
        SAMPLES,
        [(name, len(block.samples)) for name, block in blocks],
        {
            "t_ns": _whole(_column(arrays, "t_ns")),
            "kind": _words(_column(arrays, "kind").astype(np.int32), CONTACT_KINDS),
            "pointer": _whole(_column(arrays, "pointer")),
            "x_mm": _number(_column(arrays, "x_mm")),
            "y_mm": _number(_column(arrays, "y_mm")),
            "pressure": _number(_column(arrays, "pressure")),
            "stamp_gap_ns": _whole(_column(arrays, "stamp_gap_ns")),
        },
    )


def events_of(blocks: Sequence[tuple[str, Block]]) -> pa.Table:
    """Rows of `events` of some blocks."""
    arrays = [block.events for _, block in blocks]
    labels = _column(arrays, "label").tolist()
    return _raw(
        EVENTS,
        [(name, len(block.events)) for name, block in blocks],
        {
            "t_ns": _whole(_column(arrays, "t_ns")),
            "kind": _texts(_column(arrays, "kind").tolist()),
            "trial": _whole(_column(arrays, "trial").astype(np.int64)),
            "label": _texts([label or None for label in labels]),
            "x_mm": _number(_column(arrays, "x_mm")),
            "y_mm": _number(_column(arrays, "y_mm")),
            "r_mm": _number(_column(arrays, "r_mm")),
        },
    )


def frames_of(blocks: Sequence[tuple[str, Block]]) -> pa.Table:
    """Rows of `frames` of some blocks."""
    arrays = [block.frames for _, block in blocks]
    columns = {name: _whole(_column(arrays, name)) for name in ("drawn_ns", "flip_ns")}
    return _raw(FRAMES, [(name, len(block.frames)) for name, block in blocks], columns)


def _column(arrays: Sequence[np.ndarray[Any, Any]], name: str) -> np.ndarray[Any, Any]:
    """Return one column of some blocks, its values side by side."""
    return np.concatenate([array[name] for array in arrays])


def _raw(table: Table, counts: Sequence[tuple[str, int]], columns: dict[str, Any]) -> pa.Table:
    schema = _SCHEMAS[table.name]
    lengths = [n for _, n in counts]
    codes = np.repeat(np.arange(len(counts), dtype=np.int32), lengths)
    numbers = np.concatenate([np.arange(n, dtype=np.int64) for n in lengths])
    numbered = {
        "block_id": _words(codes, [name for name, _ in counts]),
        schema.names[1]: _whole(numbers),
        **columns,
    }
    return pa.Table.from_arrays([numbered[name] for name in schema.names], schema=schema)


def _words(codes: np.ndarray[Any, Any], words: Sequence[str]) -> Any:
    return pa.DictionaryArray.from_arrays(_whole(codes), pa.array(list(words), pa.string()))


def _texts(values: list[str | None]) -> Any:
    return pa.array(values, pa.string()).dictionary_encode()


def _whole(values: np.ndarray[Any, Any]) -> Any:
    """Take an array over as it lies: `pyarrow.array` loads pandas where that is installed."""
    kind = pa.from_numpy_dtype(values.dtype)
    return pa.Array.from_buffers(kind, len(values), [None, pa.py_buffer(values)])


def _number(values: np.ndarray[Any, Any]) -> Any:
    """Take an array over, missing where it is nan."""
    missing = np.isnan(values)
    if not missing.any():
        return _whole(values)
    kind = pa.from_numpy_dtype(values.dtype)
    held = np.packbits(~missing, bitorder="little")
    buffers = [pa.py_buffer(held), pa.py_buffer(values)]
    return pa.Array.from_buffers(kind, len(values), buffers)
