"""Raw rows of blocks as columns, the hash that covers them, and both the way back."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa

from battery.export.columns import Table
from battery.export.dictionary import EVENTS, FRAMES, SAMPLES
from battery.recording import Block, canonical_json
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


def block_sha256(row: Mapping[str, Any], settings: Mapping[str, Any], block: Block) -> str:
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
    """
    told = {name: row[name] for name in RECORDED} | {"settings": dict(settings)}
    told["versions"] = json.loads(told["versions"])
    digest = hashlib.sha256(canonical_json(told).encode() + b"\n")
    for array in (block.samples, block.frames):
        digest.update(_plain_nan(array).tobytes())
    events = block.events
    columns = {
        name: [None if isinstance(v, float) and math.isnan(v) else v for v in values]
        for name in events.dtype.names or ()
        for values in [events[name].tolist()]
    }
    digest.update(canonical_json(columns).encode())
    return digest.hexdigest()


def _plain_nan(array: np.ndarray[Any, np.dtype[np.void]]) -> np.ndarray[Any, np.dtype[np.void]]:
    """Return the rows with every nan the quiet one, as they come back from nulls."""
    plain = array
    for name in array.dtype.names or ():
        if array.dtype[name].kind == "f":
            missing = np.isnan(array[name])
            if missing.any():
                plain = array.copy() if plain is array else plain
                plain[name][missing] = np.nan
    return plain


def samples_of(blocks: Sequence[tuple[str, Block]]) -> pa.Table:
    """Rows of `samples` of some blocks, each under the name it has in the export."""
    rows = _joined([block.samples for _, block in blocks])
    return _raw(
        SAMPLES,
        [(name, len(block.samples)) for name, block in blocks],
        {
            "t_ns": _whole(rows["t_ns"]),
            "kind": _words(rows["kind"].astype(np.int32), CONTACT_KINDS),
            "pointer": _whole(rows["pointer"]),
            "x_mm": _number(rows["x_mm"]),
            "y_mm": _number(rows["y_mm"]),
            "pressure": _number(rows["pressure"]),
            "stamp_gap_ns": _whole(rows["stamp_gap_ns"]),
        },
    )


def events_of(blocks: Sequence[tuple[str, Block]]) -> pa.Table:
    """Rows of `events` of some blocks."""
    rows = _joined([block.events for _, block in blocks])
    return _raw(
        EVENTS,
        [(name, len(block.events)) for name, block in blocks],
        {
            "t_ns": _whole(rows["t_ns"]),
            "kind": _texts(rows["kind"].tolist()),
            "trial": _whole(rows["trial"].astype(np.int64)),
            "label": _texts([label or None for label in rows["label"].tolist()]),
            "x_mm": _number(rows["x_mm"]),
            "y_mm": _number(rows["y_mm"]),
            "r_mm": _number(rows["r_mm"]),
        },
    )


def frames_of(blocks: Sequence[tuple[str, Block]]) -> pa.Table:
    """Rows of `frames` of some blocks."""
    rows = _joined([block.frames for _, block in blocks])
    columns = {name: _whole(rows[name]) for name in ("drawn_ns", "flip_ns")}
    return _raw(FRAMES, [(name, len(block.frames)) for name, block in blocks], columns)


def _joined(arrays: list[Any]) -> Any:
    return arrays[0] if len(arrays) == 1 else np.concatenate(arrays)


def _raw(table: Table, counts: Sequence[tuple[str, int]], columns: dict[str, Any]) -> pa.Table:
    schema = table.arrow_schema
    lengths = [n for _, n in counts]
    codes = np.repeat(np.arange(len(counts), dtype=np.int32), lengths)
    numbers = [np.arange(n, dtype=np.int64) for n in lengths]
    numbered = {
        "block_id": _words(codes, [name for name, _ in counts]),
        schema.names[1]: pa.array(_joined(numbers)),
        **columns,
    }
    return pa.Table.from_arrays([numbered[name] for name in schema.names], schema=schema)


def _words(codes: np.ndarray[Any, Any], words: Sequence[str]) -> Any:
    return pa.DictionaryArray.from_arrays(pa.array(codes), pa.array(list(words), pa.string()))


def _texts(values: list[str | None]) -> Any:
    return pa.array(values, pa.string()).dictionary_encode()


def _whole(values: np.ndarray[Any, Any]) -> Any:
    return pa.array(np.ascontiguousarray(values))


def _number(values: np.ndarray[Any, Any]) -> Any:
    values = np.ascontiguousarray(values)
    return pa.array(values, mask=np.isnan(values))
