"""A block made of exported rows, whatever read them: the way back into scoring.

>>> from battery.export import block_from_rows, screen_from_row
>>> from battery.scoring import score_block
>>> # score_block(block_from_rows(row, settings, samples=..., events=..., frames=...),
>>> #             screen=screen_from_row(visit))
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pyarrow as pa

from battery import forms
from battery.errors import RecordError
from battery.export.dictionary.all_tables import TABLES
from battery.export.rows import raw
from battery.export.rows.rebuilding import (
    BROKEN,
    block_of,
    first_line,
    parted_settings,
    whole_settings,
)
from battery.playable import hold_block
from battery.recording import Block, Screen, canonical_json


def block_from_rows(
    row: Mapping[str, Any],
    settings: Mapping[str, Any] | str,
    *,
    samples: Any,
    events: Any,
    frames: Any,
) -> Block:
    """Make a block of its exported rows.

    Parameters
    ----------
    row : mapping
        Its row of `blocks`.
    settings : mapping or str
        `content` of the row of `settings` that it names; what was drawn for it stands in its
        own `layout`. As a text it is held to the hash as it is spelt.
    samples, events, frames : pyarrow.Table, or what `pyarrow.table` takes
        Its rows of these tables, in any order; other columns are passed over.

    Raises
    ------
    RecordError
        If a row lacks, the block does not have its hash, or cannot have been played.

    Notes
    -----
    Of the first form of an export, whose blocks have no hash, take `battery.export.Export`.
    """
    try:
        told = dict(row)
        fixed = settings if isinstance(settings, str) else canonical_json(dict(settings))
        whole, text = whole_settings(*parted_settings(fixed), told["layout"])
        rows = {
            name: _of_table(name, given)
            for name, given in (("samples", samples), ("events", events), ("frames", frames))
        }
        block = block_of(told, whole, rows)
        for spelt in (text or canonical_json(whole), canonical_json(whole)):
            if raw.block_sha256(told, whole, block, text=spelt) == told["sha256"]:
                hold_block(block, f"block {told['block_id']}", text=spelt)
                return block
        why = "rows are missing or were changed"
        msg = f"block {told['block_id']} does not have its hash: {why}"
        raise RecordError(msg)
    except (*BROKEN, RecursionError) as error:
        msg = f"these rows make no block: {first_line(error)}"
        raise RecordError(msg) from error


def _of_table(name: str, given: Any) -> pa.Table:
    """Give rows the columns and types of their table, in order of their numbers."""
    schema = TABLES[name].arrow_schema
    table = given if isinstance(given, pa.Table) else pa.table(given)
    columns = []
    for column in schema:
        held = table.column(column.name)
        if pa.types.is_dictionary(column.type):
            # Other readers number texts otherwise, or not at all.
            held = held.cast(pa.string()).dictionary_encode()
        columns.append(held.cast(column.type))
    made = pa.Table.from_arrays(columns, schema=schema).sort_by(schema.names[1])
    numbers = made.column(1).to_pylist()
    if numbers != list(range(len(numbers))):
        msg = f"{name} are not numbered from 0 on: rows are missing, or are of several blocks"
        raise ValueError(msg)
    return made


def screen_from_row(visit: Mapping[str, Any]) -> Screen:
    """Return the screen of a visit from its row of `visits`.

    Raises
    ------
    RecordError
        If there can be no such screen.
    """
    try:
        told = {name: visit[name] for name in Screen.__slots__}
        forms.hold(forms.ScreenForm, told)
    except (KeyError, ValueError) as error:
        msg = f"this row has no screen: {first_line(error)}"
        raise RecordError(msg) from error
    return Screen(**told)
