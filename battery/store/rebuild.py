"""Rows of the database back into records."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from sys import intern
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


@lru_cache(maxsize=1024)  # a page reads each visit several times
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
    _known(*(row[name] for name in _CHECKED))
    return BlockRecord(
        header=header,
        ending=row["ending"],
        reason=row["reason"] or "",
        n_samples=_count("n_samples", row["n_samples"]),
        input_type=row["input_type"] or "none",
        sha256=row["sha256"] or "",
        audit=_audit(row["audit_json"] or "{}"),
    )


ENDINGS = (None, *get_args(Ending))
INPUT_TYPES = (None, *get_args(InputType))
PHASES = get_args(Phase)
_CHECKED = ("task", "hand", "phase", "ending", "input_type", "reason")


def _known(task: Any, hand: Any, phase: Any, ending: Any, input_type: Any, reason: Any) -> None:
    """Hold the columns of a block that a table of many needs to what they can be."""
    forms.known_task(task)
    if (
        hand in HANDS and phase in PHASES and ending in ENDINGS and input_type in INPUT_TYPES
    ):  # as it nearly always is
        if reason is not None:
            _text("reason", reason)
        return
    told = {"hand": hand, "phase": phase, "ending": ending, "input_type": input_type}
    words = {"hand": HANDS, "phase": PHASES, "ending": ENDINGS, "input_type": INPUT_TYPES}
    name = next(name for name in told if told[name] not in words[name])
    msg = f"its {name} is {told[name]!r}"
    raise ValueError(msg)


def _text(name: str, text: Any) -> None:
    """Hold a column to a text that can be shown and written."""
    if not isinstance(text, str):
        msg = f"its {name} is {text!r}"
        raise ValueError(msg)  # noqa: TRY004  # a stored value, not an argument
    if text.isascii() and text.isprintable():  # as nearly all are
        return
    try:
        _sound(text)
    except ValueError as error:
        msg = f"its {name} is {ascii(text)[:40]}: {error}"
        raise ValueError(msg) from error


def _count(name: str, number: Any) -> int:
    """Hold a column to a count; one that was never written is 0."""
    if number is None:
        return 0
    if not isinstance(number, int) or number < 0:
        msg = f"its {name} is {ascii(number)[:40]}"
        raise ValueError(msg)
    return number


_sound = lru_cache(maxsize=4096)(forms.words)  # few texts stand in very many rows


@lru_cache(maxsize=4096)
def _audit(text: str) -> TimingAudit:
    values = json.loads(text)
    forms.hold(forms.AuditForm, values)
    return TimingAudit(**values)


BRIEF_COLUMNS = (
    "block_id", "visit_id", "number", "task", "hand", "phase", "layout_hash", "ending",
    "reason", "input_type", "audit_json",
)  # fmt: skip


def block_brief(row: Sequence[Any]) -> BlockBrief:
    """Rebuild what a table of many blocks needs of one, of a row of `BRIEF_COLUMNS`.

    Raises
    ------
    ValueError
        If a field is not of its form.
    """
    (
        block_id, visit_id, number, task, hand, phase, layout_hash, ending, reason,
        input_type, audit_json,
    ) = row  # fmt: skip
    _known(task, hand, phase, ending, input_type, reason)
    _text("block_id", block_id)
    _text("visit_id", visit_id)
    _text("layout_hash", layout_hash)
    return BlockBrief(
        block_id,
        visit_id,
        number,
        task,
        hand,
        phase,
        layout_hash,
        ending,
        reason or "",
        input_type or "none",
        _audit(audit_json or "{}"),
    )


SCORE_COLUMNS = (
    "block_id", "measure", "value", "n", "low", "high", "reason", "scoring_version",
)  # fmt: skip


def score_row(row: Sequence[Any]) -> ScoreRow:
    """Rebuild a score of a row of `SCORE_COLUMNS`; null is nan.

    Raises
    ------
    ValueError
        If a number is none, or a text cannot be shown.
    """
    block_id, measure, value, n, low, high, reason, version = row
    _text("measure", measure)
    if reason != "":
        _text("reason", reason)
    if type(n) is not int or type(version) is not int:
        name, number = ("n", n) if type(n) is not int else ("scoring_version", version)
        msg = f"its {name} is {number!r}"
        raise ValueError(msg)
    measure = intern(measure)  # few names stand in very many rows
    return ScoreRow(block_id, measure, _nan(value), n, _nan(low), _nan(high), reason, version)


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
