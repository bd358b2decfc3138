"""A block built of the rows of an export, held to what can have been played."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import lru_cache
from typing import Annotated, Any, TypeAlias

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pydantic import AfterValidator, Field

from battery import forms
from battery.errors import RecordError
from battery.recording import (
    EVENT_DTYPE,
    FRAME_DTYPE,
    MAX_BLOCK_NS,
    MAX_PLACE_MM,
    SAMPLE_DTYPE,
    Block,
    BlockHeader,
    Ending,
    Hand,
    Phase,
    TimingAudit,
)
from tasks.contract import CONTACT_KINDS, NS_PER_S

BROKEN = (pa.ArrowException, OSError, ValueError, KeyError, TypeError, OverflowError)
MAX_VALUES = 1_000_000  # of all structures that are held at once
_NAME = re.compile(r'"([a-z][a-z0-9_]*)":')  # of a setting, as canonical JSON has it
_value_at = json.JSONDecoder().raw_decode
MAX_EVENT_WORD = int(EVENT_DTYPE["kind"].itemsize / 4)


class _Row(forms.Form):
    """What a row of `blocks` says of what was recorded, in either form."""

    block_id: forms.Identifier
    visit_id: forms.Identifier
    number: Annotated[int, Field(ge=0, lt=forms.MAX_BLOCKS)]
    task: Annotated[str, AfterValidator(forms.known_task)]
    task_version: Annotated[int, Field(ge=1, le=10_000)] = 1
    hand_recorded: Hand
    phase: Phase
    ending: Ending
    duration_s: Annotated[float, Field(ge=0, le=forms.MAX_S, allow_inf_nan=False)]
    layout_seed: forms.Seed
    layout_hash: forms.ShortHash


# Packed where they are known to hold.
RawRows: TypeAlias = pa.Table | np.ndarray[Any, np.dtype[np.void]]


def block_of(row: dict[str, Any], settings: dict[str, Any], rows: dict[str, RawRows]) -> Block:
    """Build a block of its row, its settings, and its rows of each raw table.

    Parameters
    ----------
    row, settings : dict
    rows : dict of str to pyarrow.Table or ndarray
        Those that are packed hold already and are not looked at again.

    Raises
    ------
    RecordError
        If it does not hold together.
    """
    try:
        forms.hold(_Row, {name: row[name] for name in _Row.model_fields if name in row})
        header = BlockHeader(
            block_id=row["block_id"],
            visit_id=row["visit_id"],
            index=row["number"],
            task=row["task"],
            hand=row["hand_recorded"],
            phase=row["phase"],
            layout_seed=row["layout_seed"],
            layout_hash=row["layout_hash"],
            settings=settings,
            started_utc="",  # dates stay in the store
            versions=dict(_versions(row["versions"])),
            task_version=row.get("task_version", 1),
        )
        arrays = {
            name: held if isinstance(held, np.ndarray) else _held(name, held)
            for name, held in rows.items()
        }
        return Block(
            header=header,
            samples=arrays["samples"],
            frames=arrays["frames"],
            events=arrays["events"],
            ending=row["ending"],
            ended_ns=round(row["duration_s"] * NS_PER_S),
            audit=TimingAudit(**{name: row[name] for name in TimingAudit.__slots__}),
        )
    except (*BROKEN, RecursionError) as error:
        msg = f"block {row['block_id']} does not hold together: {first_line(error)}"
        raise RecordError(msg) from error


@lru_cache(maxsize=4)  # a hostile one may be a megabyte
def _versions(text: str) -> dict[str, Any]:
    return structure_of(text)


def chunks_of(column: pa.ChunkedArray) -> Iterator[tuple[Any, int]]:
    """Give each chunk of a column with the row it begins at."""
    start = 0
    for chunk in column.chunks:
        yield chunk, start
        start += len(chunk)


def dicts_of(rows: pa.Table) -> list[dict[str, Any]]:
    """Return rows as dicts, as `to_pylist` does, but column by column."""
    names = rows.schema.names
    columns = (values_of(column) for column in rows.columns)
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def values_of(column: pa.ChunkedArray) -> list[Any]:
    """Return the values of a column; a text that is numbered in it is made once."""
    found: list[Any] = []
    for chunk in column.chunks:
        if pa.types.is_dictionary(chunk.type):
            words = [*chunk.dictionary.to_pylist(), None]
            numbers = pc.fill_null(chunk.indices, len(chunk.dictionary))
            found += [words[number] for number in np.from_dlpack(numbers).tolist()]
        elif chunk.null_count or pa.types.is_boolean(chunk.type):
            found += chunk.to_pylist()
        else:
            found += np.from_dlpack(chunk).tolist()
    return found


def n_values(text: str) -> int:
    """Return how many values a JSON text can hold at most, without reading it."""
    return 1 + sum(text.count(mark) for mark in ",[{")


def structure_of(text: str) -> dict[str, Any]:
    """Read a structure that is an object and not too large.

    Raises
    ------
    ValueError, TypeError
        If it is another.
    """
    if n_values(text) > MAX_VALUES // 10:
        msg = "a structure holds too many values"
        raise ValueError(msg)
    told = json.loads(text)
    if not isinstance(told, dict):
        msg = "a structure is no object"
        raise TypeError(msg)
    return told


def pieces_of(text: str) -> dict[str, tuple[Any, str]] | None:
    """Read a structure with the text of each value, where it is written as canonical JSON is.

    Returns
    -------
    dict or None
        By name the value and its text as it stands; None where names are set otherwise, or it
        is none.
    """
    if n_values(text) > MAX_VALUES // 10 or not text.startswith("{"):
        return None
    found: dict[str, tuple[Any, str]] = {}
    at = 0
    try:
        while name := _NAME.match(text, at + 1):
            value, at = _value_at(text, name.end())
            found[name[1]] = value, text[name.end() : at]
            if text[at] != ",":
                return found if text[at:] == "}" else None
    except (ValueError, IndexError):
        pass
    return None


def parted_settings(text: str) -> tuple[dict[str, Any], dict[str, str] | None]:
    """Read what the plan fixes of settings; return it with the text of each value, see above.

    Raises
    ------
    ValueError, TypeError
        If it is no object, or too large.
    """
    pieces = pieces_of(text)
    if pieces is None:
        return structure_of(text), None
    return (
        {name: value for name, (value, _) in pieces.items()},
        {name: told for name, (_, told) in pieces.items()},
    )


def whole_settings(
    fixed: dict[str, Any], texts: dict[str, str] | None, layout: str
) -> tuple[dict[str, Any], str]:
    """Return all settings of a block, and their text as it is spelt, empty if not known.

    Parameters
    ----------
    fixed, texts : dict
        What the plan fixes, as `parted_settings` gives it.
    layout : str
        What was drawn for the block.

    Raises
    ------
    ValueError, TypeError
        If that is no object, or too large.

    Notes
    -----
    A hash covers the text that was stored: a number that another program spells otherwise is
    the same number, and a true record where the hash is over that spelling.
    """
    drawn = pieces_of(layout)
    if drawn is None or texts is None:
        return fixed | structure_of(layout), ""
    texts = texts | {name: text for name, (_, text) in drawn.items()}
    told = ",".join(f'"{name}":{texts[name]}' for name in sorted(texts))
    return fixed | {name: value for name, (value, _) in drawn.items()}, f"{{{told}}}"


def _held(name: str, table: pa.Table) -> np.ndarray[Any, np.dtype[np.void]]:
    """Pack rows of a block, if stamps and places can be."""
    array = packed_rows(name, table)
    t_ns = array["flip_ns" if name == "frames" else "t_ns"]
    if len(t_ns) and not 0 <= t_ns.max() <= MAX_BLOCK_NS:
        msg = f"its {name} go on for more than an hour"
        raise RecordError(msg)
    for column in [c for c in array.dtype.names or () if c.endswith("_mm")]:
        far_mm = np.abs(array[column])
        if (far_mm > MAX_PLACE_MM).any():
            msg = f"its {name} lie {np.nanmax(far_mm):g} mm away"
            raise RecordError(msg)
    return array


def packed_rows(name: str, table: pa.Table) -> np.ndarray[Any, np.dtype[np.void]]:
    """Pack rows of a raw table as they were recorded, whatever they say.

    Raises
    ------
    ValueError
        If a whole number is missing, or a word cannot be.
    """
    if name == "samples":
        return _samples(table)
    return _events(table) if name == "events" else _numbers(table, FRAME_DTYPE)


def _samples(table: pa.Table) -> np.ndarray[Any, np.dtype[np.void]]:
    array = np.zeros(table.num_rows, dtype=SAMPLE_DTYPE)
    known = {kind: code for code, kind in enumerate(CONTACT_KINDS)}
    for chunk, start in chunks_of(table.column("kind")):
        if chunk.null_count:
            msg = "a sample is of no kind"
            raise ValueError(msg)
        codes = np.array([known.get(kind, 255) for kind in chunk.dictionary.to_pylist()] or [0])
        array["kind"][start : start + len(chunk)] = codes[np.from_dlpack(chunk.indices)]
    if (array["kind"] == 255).any():
        msg = "a sample is of no known kind"
        raise ValueError(msg)
    for name in ("t_ns", "pointer", "x_mm", "y_mm", "pressure", "stamp_gap_ns"):
        array[name] = numbers_of(table.column(name))
    return array


def _events(table: pa.Table) -> np.ndarray[Any, np.dtype[np.void]]:
    array = np.zeros(table.num_rows, dtype=EVENT_DTYPE)
    for name in ("t_ns", "trial", "x_mm", "y_mm", "r_mm"):
        array[name] = numbers_of(table.column(name))
    for name in ("kind", "label"):
        for chunk, start in chunks_of(table.column(name)):
            array[name][start : start + len(chunk)] = _event_words(chunk, name)
    return array


def _event_words(chunk: Any, name: str) -> np.ndarray[Any, Any]:
    """Return the words of numbered texts; empty where there is none."""
    used = np.from_dlpack(pc.fill_null(chunk.indices, len(chunk.dictionary)))
    words = [word or "" for word in chunk.dictionary.to_pylist()] + [""]
    if max(map(len, words)) > MAX_EVENT_WORD:
        if any(len(words[number]) > MAX_EVENT_WORD for number in set(used.tolist())):
            msg = f"an event has more than {MAX_EVENT_WORD} letters as its {name}"
            raise ValueError(msg)
        words = [word[:MAX_EVENT_WORD] for word in words]  # of other blocks
    held: np.ndarray[Any, Any] = np.array(words)[used]
    return held


def _numbers(table: pa.Table, dtype: np.dtype[np.void]) -> np.ndarray[Any, np.dtype[np.void]]:
    array = np.zeros(table.num_rows, dtype=dtype)
    for name in dtype.names or ():
        array[name] = numbers_of(table.column(name))
    return array


def numbers_of(column: pa.ChunkedArray) -> np.ndarray[Any, Any]:
    """Return a column of numbers, nan where a real one is missing.

    `to_numpy` loads pandas wherever that is installed: half a second and 45 MB.

    Raises
    ------
    ValueError
        If a whole number is missing.
    """
    if column.null_count:
        if not pa.types.is_floating(column.type):
            msg = "a whole number is missing"
            raise ValueError(msg)
        column = pc.fill_null(column, np.nan)
    parts: list[np.ndarray[Any, Any]] = [np.from_dlpack(chunk) for chunk in column.chunks]
    if len(parts) == 1:
        return parts[0]
    return np.concatenate(parts) if parts else np.zeros(0, column.type.to_pandas_dtype())


def first_line(error: BaseException) -> str:
    """Return the first line of what an error says, cut short."""
    return (str(error).splitlines() or [type(error).__name__])[0][:200]
