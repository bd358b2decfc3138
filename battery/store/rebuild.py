"""Rows of the database back into records."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

from battery.errors import RecordError
from battery.recording import (
    RECORD_VERSION,
    BlockHeader,
    Device,
    TimingAudit,
    VisitHeader,
    block_header_from_dict,
    device_from_dict,
    visit_header_from_dict,
)
from battery.scoring.score import Score
from battery.store.rows import BlockBrief, BlockRecord, ScoreRow


def device(text: str) -> Device:
    """Rebuild a device from its JSON."""
    return device_from_dict(json.loads(text))


def visit_header(text: str) -> VisitHeader:
    """Rebuild a visit's header from its JSON.

    Raises
    ------
    RecordError
        If a later program recorded it.
    """
    values = json.loads(text)
    if values["record_version"] > RECORD_VERSION:
        msg = (
            f"visit {values['visit_id']} has record version {values['record_version']}; this "
            f"program reads up to {RECORD_VERSION}. Update it; the store was not changed."
        )
        raise RecordError(msg)
    return visit_header_from_dict(values)


def block_header(text: str) -> BlockHeader:
    """Rebuild a block's header from its JSON."""
    return block_header_from_dict(json.loads(text))


def block_record(row: Mapping[Any, Any]) -> BlockRecord:
    """Rebuild a block's record; what is not known while it runs is empty."""
    return BlockRecord(
        header=block_header(row["header_json"]),
        ending=row["ending"],
        reason=row["reason"] or "",
        n_samples=row["n_samples"] or 0,
        input_type=row["input_type"] or "none",
        sha256=row["sha256"] or "",
        audit=TimingAudit(**json.loads(row["audit_json"] or "{}")),
    )


def block_brief(row: Mapping[Any, Any]) -> BlockBrief:
    """Rebuild what a table of many blocks needs of one."""
    known = {name: row[name] for name in ("block_id", "visit_id", "number", "task", "hand")}
    return BlockBrief(
        **known,
        phase=row["phase"],
        layout_hash=row["layout_hash"],
        ending=row["ending"],
        reason=row["reason"] or "",
        input_type=row["input_type"] or "none",
        audit=TimingAudit(**json.loads(row["audit_json"] or "{}")),
    )


def score_row(row: Mapping[Any, Any]) -> ScoreRow:
    """Rebuild a score; null is nan."""
    numbers = {name: _nan(row[name]) for name in ("value", "low", "high")}
    return ScoreRow(**{**row, **numbers})


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
    return math.nan if value is None else value
