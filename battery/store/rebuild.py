"""Rows of the database back into records."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Any, get_args

from battery import forms
from battery.errors import RecordError
from battery.recording import (
    HANDS,
    RECORD_VERSION,
    BlockHeader,
    Device,
    Ending,
    InputType,
    Phase,
    TimingAudit,
    VisitHeader,
    block_header_from_dict,
    device_from_dict,
    visit_header_from_dict,
)
from battery.scoring.score import Score
from battery.store.rows.recorded import BlockBrief, BlockRecord, ScoreRow, VisitRecord


def device(text: str) -> Device:
    """Rebuild a device from its JSON.

    Raises
    ------
    ValueError
        If a field is not of its form.
    """
    values = json.loads(text)
    forms.hold(forms.DeviceForm, values)
    return device_from_dict(values)


@lru_cache(maxsize=65_536)  # a page and a list read each visit several times
def visit_header(text: str) -> VisitHeader:
    """Rebuild a visit's header from its JSON.

    Raises
    ------
    RecordError
        If a later program recorded it.
    ValueError
        If a field is not of its form.
    """
    values = json.loads(text)
    if values["record_version"] > RECORD_VERSION:
        msg = (
            f"visit {values['visit_id']} has record version {values['record_version']}; this "
            f"program reads up to {RECORD_VERSION}. Update it; the store was not changed."
        )
        raise RecordError(msg)
    forms.hold(forms.VisitForm, values)
    return visit_header_from_dict(values)


def visit_record(row: Mapping[Any, Any]) -> VisitRecord:
    """Rebuild a visit; its columns must say what its header says.

    Raises
    ------
    ValueError
        If they do not, or a field is not of its form.
    """
    header = visit_header(row["header_json"])
    _same(row, visit_id=header.visit_id, person=header.person)
    if row["ending"] is not None:
        forms.words(row["ending"])
    return VisitRecord(header, row["ending"])


def _same(row: Mapping[Any, Any], **told: Any) -> None:
    for name, value in told.items():
        if row[name] != value:
            msg = f"its {name} is {row[name]!r}, its header says {value!r}"
            raise ValueError(msg)


def block_header(text: str) -> BlockHeader:
    """Rebuild a block's header from its JSON.

    Raises
    ------
    ValueError
        If a field is not of its form.
    """
    values = json.loads(text)
    forms.hold(forms.BlockForm, values)
    return block_header_from_dict(values)


def block_record(row: Mapping[Any, Any]) -> BlockRecord:
    """Rebuild a block's record; what is not known while it runs is empty.

    Raises
    ------
    ValueError
        If its columns do not say what its header says, or a field is not of its form.
    """
    header = block_header(row["header_json"])
    _same(
        row, block_id=header.block_id, visit_id=header.visit_id, number=header.index,
        task=header.task, hand=header.hand, phase=header.phase, layout_hash=header.layout_hash,
    )  # fmt: skip
    _known(row)
    return BlockRecord(
        header=header,
        ending=row["ending"],
        reason=row["reason"] or "",
        n_samples=row["n_samples"] or 0,
        input_type=row["input_type"] or "none",
        sha256=row["sha256"] or "",
        audit=_audit(row["audit_json"] or "{}"),
    )


ENDINGS = (None, *get_args(Ending))
INPUT_TYPES = (None, *get_args(InputType))
_WORDS: tuple[tuple[str, tuple[Any, ...]], ...] = (
    ("hand", HANDS), ("phase", get_args(Phase)), ("ending", ENDINGS),
    ("input_type", INPUT_TYPES),
)  # fmt: skip


def _known(row: Mapping[Any, Any]) -> None:
    """Hold the columns of a block that a table of many needs to what they can be."""
    forms.known_task(row["task"])
    for name, words in _WORDS:
        if row[name] not in words:
            msg = f"its {name} is {row[name]!r}"
            raise ValueError(msg)
    if row["reason"] is not None:
        _text(row, "reason")


def _text(row: Mapping[Any, Any], name: str) -> None:
    """Hold a column to a text that can be shown and written."""
    text = row[name]
    if not isinstance(text, str):
        msg = f"its {name} is {text!r}"
        raise ValueError(msg)  # noqa: TRY004  # a stored value, not an argument
    if text.isascii() and text.isprintable():  # as nearly all are
        return
    try:
        _sound(text)
    except ValueError as error:
        msg = f"its {name} is {ascii(row[name])[:40]}: {error}"
        raise ValueError(msg) from error


_sound = lru_cache(maxsize=4096)(forms.words)  # few texts stand in very many rows


@lru_cache(maxsize=4096)
def _audit(text: str) -> TimingAudit:
    values = json.loads(text)
    forms.hold(forms.AuditForm, values)
    return TimingAudit(**values)


def block_brief(row: Mapping[Any, Any]) -> BlockBrief:
    """Rebuild what a table of many blocks needs of one.

    Raises
    ------
    ValueError
        If a field is not of its form.
    """
    _known(row)
    for name in ("block_id", "visit_id", "layout_hash"):
        _text(row, name)
    return BlockBrief(
        row["block_id"],
        row["visit_id"],
        row["number"],
        row["task"],
        row["hand"],
        row["phase"],
        row["layout_hash"],
        row["ending"],
        row["reason"] or "",
        row["input_type"] or "none",
        _audit(row["audit_json"] or "{}"),
    )


def score_row(row: Mapping[Any, Any]) -> ScoreRow:
    """Rebuild a score; null is nan.

    Raises
    ------
    ValueError
        If a number is none, or a text cannot be shown.
    """
    _text(row, "measure")
    _text(row, "reason")
    for name in ("n", "scoring_version"):
        if type(row[name]) is not int:
            msg = f"its {name} is {row[name]!r}"
            raise ValueError(msg)
    return ScoreRow(
        row["block_id"],
        row["measure"],
        _nan(row["value"]),
        row["n"],
        _nan(row["low"]),
        _nan(row["high"]),
        row["reason"],
        row["scoring_version"],
    )


def score_values(block_id: str, score: Score) -> dict[str, Any]:
    """Return the row of a score; nan is null."""
    return {
        "block_id": block_id,
        "measure": score.measure,
        "value": null(score.value),
        "n": score.n,
        "low": null(score.low),
        "high": null(score.high),
        "reason": score.reason,
        "scoring_version": score.scoring_version,
    }


def null(value: float) -> float | None:
    """Return None for nan, as the database keeps what is missing."""
    return None if math.isnan(value) else value


def _nan(value: float | None) -> float:
    if type(value) is float:  # as nearly all are
        return value
    if value is None:
        return math.nan
    if not isinstance(value, float | int):
        msg = f"{value!r} is no number"
        raise ValueError(msg)  # noqa: TRY004  # a stored value, not an argument
    return float(value)
