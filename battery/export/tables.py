"""Rows of each table, from what the store gives."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

import numpy as np
import pyarrow as pa

from battery.answers import QUESTIONS, Answer
from battery.errors import ScoringError
from battery.export import deidentify
from battery.export.deidentify import Days
from battery.export.dictionary import EVENTS, FRAMES, SAMPLES
from battery.export.dictionary_trials import TRIALS
from battery.flagging import Flagging, flags_of_check
from battery.recording import Block, Device, VisitHeader
from battery.scoring.flags import Value
from battery.scoring.measures import MEASURES, PRIMARY
from battery.scoring.trials import trial_rows
from battery.store import (
    Amended,
    Amendment,
    BlockRecord,
    HomeExercise,
    Marker,
    Person,
    ScoreRow,
    ScreenCheck,
    TimingCheck,
    VisitRecord,
)
from tasks.contract import CONTACT_KINDS, NS_PER_S

Row = dict[str, Any]


def plain(value: Any) -> str:
    """Write a structure as JSON, the same text for the same value."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"))


def person_row(person: Person, days: Days, n_visits: int) -> Row:
    """Row of `people`."""
    return {
        "person": person.code,
        "dominant_hand": person.dominant_hand,
        "affected_side": person.affected_side,
        "first_hand": person.first_hand,
        "enrolled_day": days.day(person.enrolled_utc),
        "n_familiarisation": person.n_familiarisation,
        "n_baseline": person.n_baseline,
        "n_visits": n_visits,
        "day_zero": days.kind,
    }


def device_row(device: Device, alias: str) -> Row:
    """Row of `devices`."""
    return {
        "device": alias,
        "system": deidentify.system_family(device.system),
        "display_latency_ms": device.display_latency_ms,
    }


def plan_row(plan_hash: str, content: Mapping[str, Any]) -> Row:
    """Row of `plans`."""
    return {
        "plan_hash": plan_hash,
        "name": deidentify.plan_name(str(content.get("name"))),
        "content": plain({key: value for key, value in content.items() if key != "name"}),
    }


def visit_row(visit: VisitRecord, days: Days, device: str, amended: Amended) -> Row:
    """Row of `visits`."""
    header = visit.header
    screen = header.device.screen
    known = (None, "finished", "stopped")
    return {
        "visit_id": header.visit_id,
        "person": amended.person(header.visit_id, header.person),
        "sequence": header.sequence,
        "plan_hash": header.plan_hash,
        "device": device,
        "day": days.day(header.started_utc, header.utc_offset_min),
        "hour_bin": deidentify.hour_bin(header),
        "ending": visit.ending if visit.ending in known else "other",
        "excluded": amended.excluded(header.visit_id),
        "origin": header.origin,
        "width_px": screen.width_px,
        "height_px": screen.height_px,
        "mm_per_px_x": screen.mm_per_px_x,
        "mm_per_px_y": screen.mm_per_px_y,
        "scale_source": screen.scale_source,
        "software": header.software,
        "record_version": header.record_version,
        "protocol_version": header.protocol_version,
    }


def block_row(
    block: Block,
    record: BlockRecord,
    visit: VisitHeader,
    flagging: Flagging,
    scores: list[Row],
) -> Row:
    """Row of `blocks`; `scores` are the block's rows of `scores`."""
    header, audit = block.header, record.audit
    primary = PRIMARY[header.task].name if header.task in PRIMARY else ""
    n_primary = next((s["n"] for s in scores if s["measure"] == primary), None)
    amended = flagging.amended
    flags = flagging.flags(
        visit,
        block_id=header.block_id,
        task=header.task,
        hand=header.hand,
        ending=record.ending,
        input_type=record.input_type,
        audit=audit,
        n_primary=n_primary,
        scores={
            s["measure"]: Value(
                math.nan if s["value"] is None else s["value"],
                s["n"],
                s["reason"] or "",
                s["scoring_version"],
            )
            for s in scores
        },
    )
    begun = datetime.fromisoformat(header.started_utc)
    waited = begun - datetime.fromisoformat(visit.started_utc)
    return {
        "block_id": header.block_id,
        "visit_id": header.visit_id,
        "number": header.index,
        "task": header.task,
        "hand": amended.hand(header.block_id, header.hand),
        "hand_recorded": header.hand,
        "phase": header.phase,
        "ending": record.ending,
        "excluded": amended.excluded(header.block_id),
        "flags": " ".join(flags) or None,
        "start_s": waited.total_seconds(),
        "duration_s": block.ended_ns / NS_PER_S,
        "n_samples": record.n_samples,
        "input_type": record.input_type,
        "layout_seed": header.layout_seed,
        "layout_hash": header.layout_hash,
        "settings": plain(header.settings),
        "sha256": record.sha256,
        "versions": plain(header.versions),
        "flip_p99_ms": audit.flip_p99_ms,
        "stamp_gap_p99_ms": audit.stamp_gap_p99_ms,
        "report_rate_hz": audit.report_rate_hz,
        "frame_rate_hz": audit.frame_rate_hz,
        "slow_frames": audit.slow_frames,
    }


def trials_of(block: Block) -> list[Row]:
    """Rows of `trials`; columns that do not concern the task are empty."""
    try:
        found = trial_rows(block)
    except ScoringError:  # broken off before there was a trial to read
        return []
    empty = {column.name: None for column in TRIALS.columns}
    known = {"block_id": block.header.block_id}
    return [{**empty, **known, **{k: _missing(v) for k, v in row.items()}} for row in found]


def samples_of(block: Block) -> pa.Table:
    """Rows of `samples`, as they were read."""
    samples = block.samples
    kinds = pa.array(CONTACT_KINDS, pa.string()).take(pa.array(samples["kind"]))
    return _raw(
        SAMPLES,
        block,
        len(samples),
        {
            "t_ns": _whole(samples["t_ns"]),
            "kind": kinds,
            "pointer": _whole(samples["pointer"]),
            "x_mm": _number(samples["x_mm"]),
            "y_mm": _number(samples["y_mm"]),
            "pressure": _number(samples["pressure"]),
            "stamp_gap_ns": _whole(samples["stamp_gap_ns"]),
        },
    )


def events_of(block: Block) -> pa.Table:
    """Rows of `events`."""
    events = block.events
    labels = [label or None for label in events["label"].tolist()]
    return _raw(
        EVENTS,
        block,
        len(events),
        {
            "t_ns": _whole(events["t_ns"]),
            "kind": pa.array(events["kind"].tolist(), pa.string()),
            "trial": pa.array(events["trial"].astype(np.int64)),
            "label": pa.array(labels, pa.string()),
            "x_mm": _number(events["x_mm"]),
            "y_mm": _number(events["y_mm"]),
            "r_mm": _number(events["r_mm"]),
        },
    )


def frames_of(block: Block) -> pa.Table:
    """Rows of `frames`."""
    frames = block.frames
    columns = {name: _whole(frames[name]) for name in ("drawn_ns", "flip_ns")}
    return _raw(FRAMES, block, len(frames), columns)


def score_row(row: ScoreRow) -> Row:
    """Row of `scores`."""
    return {
        "block_id": row.block_id,
        "measure": row.measure,
        "value": _missing(row.value),
        "n": row.n,
        "low": _missing(row.low),
        "high": _missing(row.high),
        "reason": row.reason or None,
        "scoring_version": row.scoring_version,
    }


def measure_rows(used: set[str]) -> list[Row]:
    """Rows of `measures`: those of this version and any other that a stored score has."""
    rows: list[Row] = [
        {
            "measure": m.name,
            "task": m.task,
            "title": m.title,
            "meaning": m.meaning,
            "unit": m.unit,
            "direction": m.direction,
            "is_primary": m.primary,
            "log_scale": m.log_scale,
            "source": m.source or None,
            "needs": m.needs or None,
            "limits": m.limits or None,
            "since": m.since,
        }
        for m in MEASURES.values()
    ]
    for name in sorted(used - set(MEASURES)):
        rows.append(
            {
                "measure": name,
                "task": name.split(".")[0],
                "title": name,
                "meaning": "Not defined in this version of the program.",
                "unit": None,
                "direction": "none",
                "is_primary": False,
                "log_scale": False,
                "source": None,
                "needs": None,
                "limits": None,
                "since": None,
            }
        )
    return rows


def marker_row(marker: Marker, days: Days) -> Row:
    """Row of `markers`; the note stays behind."""
    return {
        "marker_id": marker.marker_id,
        "person": marker.person,
        "day": days.day(marker.at_utc),
        "kind": marker.kind,
    }


def practice_row(practice: HomeExercise, days: Days) -> Row:
    """Row of `practice`."""
    return {
        "practice_id": practice.practice_id,
        "person": practice.person,
        "day": days.day_of(date.fromisoformat(practice.local_date)),
        "kind": practice.kind,
        "exercise": practice.exercise,
        "hand": practice.hand,
        "minutes": practice.minutes,
        "symptoms": practice.symptoms,
    }


def amendment_row(amendment: Amendment, days: Days) -> Row:
    """Row of `amendments`; author, reason and notes stay behind."""
    is_note = amendment.field == "note"
    return {
        "amendment_id": amendment.amendment_id,
        "visit_id": amendment.target_id if amendment.target == "visit" else None,
        "block_id": amendment.target_id if amendment.target == "block" else None,
        "day": days.day(amendment.at_utc),
        "field": amendment.field,
        "old": None if is_note else amendment.old,
        "new": None if is_note else amendment.new,
    }


def answer_row(answer: Answer, visit: VisitHeader) -> Row:
    """Row of `answers`."""
    said = datetime.fromisoformat(answer.at_utc)
    waited = said - datetime.fromisoformat(visit.started_utc)
    on_scale = not QUESTIONS[answer.question].words
    return {
        "answer_id": answer.answer_id,
        "visit_id": answer.visit_id,
        "number": answer.number,
        "block_id": answer.block_id,
        "at_s": waited.total_seconds(),
        "moment": answer.moment,
        "question": answer.question,
        "value": answer.value,
        "level": int(answer.value) if on_scale else None,
    }


def screen_check_rows(checks: Sequence[ScreenCheck], alias: str) -> list[Row]:
    """Rows of `screen_checks` of one device, in order of time."""
    return [
        {
            "device": alias,
            "number": number,
            "width_px": check.width_px,
            "height_px": check.height_px,
            "mm_per_px_x": check.mm_per_px_x,
            "mm_per_px_y": check.mm_per_px_y,
            "source": check.source,
        }
        for number, check in enumerate(checks, start=1)
    ]


def timing_check_rows(checks: Sequence[TimingCheck], alias: str) -> list[Row]:
    """Rows of `timing_checks` of one device, in order of time."""
    return [
        {
            "device": alias,
            "number": number,
            "input_type": check.input_type,
            "n_reports": check.n_reports,
            "report_rate_hz": check.report_rate_hz,
            "longest_gap_ms": check.longest_gap_ms,
            "wide_gaps": check.wide_gaps,
            "frame_rate_hz": check.frame_rate_hz,
            "slow_frames": check.slow_frames,
            "flip_p99_ms": check.flip_p99_ms,
            "flags": " ".join(flags_of_check(check)) or None,
        }
        for number, check in enumerate(checks, start=1)
    ]


def _raw(table: Any, block: Block, n_rows: int, columns: dict[str, Any]) -> pa.Table:
    schema = table.arrow_schema
    numbered = {
        "block_id": pa.repeat(pa.scalar(block.header.block_id, pa.string()), n_rows),
        schema.names[1]: pa.array(np.arange(n_rows, dtype=np.int64)),
        **columns,
    }
    return pa.Table.from_arrays([numbered[name] for name in schema.names], schema=schema)


def _whole(values: np.ndarray[Any, Any]) -> Any:
    return pa.array(np.ascontiguousarray(values))


def _number(values: np.ndarray[Any, Any]) -> Any:
    return pa.array(np.ascontiguousarray(values), mask=np.isnan(values))


def _missing(value: Any) -> Any:
    return None if isinstance(value, float) and math.isnan(value) else value
