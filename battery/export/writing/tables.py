"""Rows of each table, from what the store gives."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from battery.answers import QUESTIONS, Answer
from battery.export.choosing import deidentify
from battery.export.choosing.codes import Codes
from battery.export.choosing.deidentify import Days
from battery.export.dictionary.trials import TRIALS
from battery.flagging import Flagging, flags_of_check
from battery.recording import Block, Device, VisitHeader, canonical_json, short_hash_of
from battery.scoring.flags import Value
from battery.scoring.measures import MEASURES, PRIMARY
from battery.scoring.trials import plain_rows
from battery.store import (
    Amended,
    Amendment,
    BlockRecord,
    HomeExercise,
    LoopCheck,
    Marker,
    Person,
    ScoreRow,
    ScreenCheck,
    TimingCheck,
    VisitRecord,
)

Row = dict[str, Any]


def plain(value: Any) -> str:
    """Write a structure as JSON, the same text for the same value."""
    return canonical_json(value)


def person_row(person: Person, days: Days, n_visits: int, codes: Codes) -> Row:
    """Row of `people`."""
    return {
        "person": codes.person(person.code),
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


def visit_row(
    visit: VisitRecord, days: Days, device: str, amended: Amended, codes: Codes
) -> Row:
    """Row of `visits`."""
    header = visit.header
    screen = header.device.screen
    known = (None, "finished", "stopped")
    return {
        "visit_id": codes.identifier(header.visit_id),
        "person": codes.person(amended.person(header.visit_id, header.person)),
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


def settings_row(task: str, content: str) -> Row:
    """Row of `settings`: what of a block's settings the plan fixes, as canonical JSON."""
    return {
        "settings_id": short_hash_of(f"[{plain(task)},{content}]"),
        "task": task,
        "content": content,
    }


def block_row(
    record: BlockRecord,
    visit: VisitHeader,
    flagging: Flagging,
    scores: Sequence[Row],
    codes: Codes,
    settings: Row,
    drawn: str,
) -> Row:
    """Row of `blocks`, without what only the whole record tells.

    Parameters
    ----------
    scores : sequence of dict
        The block's rows of `scores`.
    settings : dict
        Its row of `settings`.
    drawn : str
        Its other settings as canonical JSON.
    """
    header, audit = record.header, record.audit
    amended = flagging.amended
    begun = datetime.fromisoformat(header.started_utc)
    waited = begun - datetime.fromisoformat(visit.started_utc)
    return {
        "block_id": codes.identifier(header.block_id),
        "visit_id": codes.identifier(header.visit_id),
        "number": header.index,
        "task": header.task,
        "task_version": header.task_version,
        "hand": amended.hand(header.block_id, header.hand),
        "hand_recorded": header.hand,
        "phase": header.phase,
        "ending": record.ending,
        "excluded": amended.excluded(header.block_id),
        "flags": " ".join(flags_of_block(record, visit, flagging, scores)) or None,
        "start_s": waited.total_seconds(),
        "input_type": record.input_type,
        "layout_seed": header.layout_seed,
        "layout_hash": header.layout_hash,
        "settings_id": settings["settings_id"],
        "layout": drawn,
        "versions": plain(header.versions),
        "flip_p99_ms": audit.flip_p99_ms,
        "stamp_gap_p99_ms": audit.stamp_gap_p99_ms,
        "report_rate_hz": audit.report_rate_hz,
        "frame_rate_hz": audit.frame_rate_hz,
        "slow_frames": audit.slow_frames,
    }


def flags_of_block(
    record: BlockRecord, visit: VisitHeader, flagging: Flagging, scores: Sequence[Row]
) -> list[str]:
    """List the flags of a block; `scores` are its rows of `scores`."""
    header = record.header
    primary = PRIMARY[header.task].name if header.task in PRIMARY else ""
    return flagging.flags(
        visit,
        block_id=header.block_id,
        task=header.task,
        hand=header.hand,
        ending=record.ending,
        input_type=record.input_type,
        audit=record.audit,
        n_primary=next((s["n"] for s in scores if s["measure"] == primary), None),
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


def trials_of(
    block: Block, block_id: str, stored: Sequence[Mapping[str, Any]] | None = None
) -> list[Row]:
    """Rows of `trials`; columns that do not concern the task are empty.

    Parameters
    ----------
    stored : sequence of dict, optional
        The rows as they lie beside the scores; without them they are computed.
    """
    empty = {column.name: None for column in TRIALS.columns} | {"block_id": block_id}
    return [{**empty, **row} for row in (plain_rows(block) if stored is None else stored)]


def score_row(row: ScoreRow, codes: Codes) -> Row:
    """Row of `scores`."""
    return {
        "block_id": codes.identifier(row.block_id),
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


def marker_row(marker: Marker, days: Days, codes: Codes) -> Row:
    """Row of `markers`; the note stays behind."""
    return {
        "marker_id": codes.identifier(marker.marker_id),
        "person": codes.person(marker.person),
        "day": days.day(marker.at_utc),
        "kind": marker.kind,
    }


def home_exercise_row(entry: HomeExercise, days: Days, codes: Codes) -> Row:
    """Row of `practice`, the table of home exercise."""
    return {
        "practice_id": codes.identifier(entry.practice_id),
        "person": codes.person(entry.person),
        "day": days.day_of(date.fromisoformat(entry.local_date)),
        "kind": entry.kind,
        "exercise": entry.exercise,
        "hand": entry.hand,
        "minutes": entry.minutes,
        "symptoms": entry.symptoms,
        "symptoms_before": entry.symptoms_before,
        "clear_beats_per_min": entry.clear_beats_per_min,
    }


def amendment_row(amendment: Amendment, days: Days, codes: Codes) -> Row:
    """Row of `amendments`; author, reason, notes and who is not in the export stay behind."""
    target = codes.identifier(amendment.target_id)
    words: dict[str, str | None] = {"old": amendment.old, "new": amendment.new}
    if amendment.field == "person":
        words = {name: codes.people.get(str(code)) for name, code in words.items()}
    elif amendment.field == "note":
        words = dict.fromkeys(words)
    return {
        "amendment_id": codes.identifier(amendment.amendment_id),
        "visit_id": target if amendment.target == "visit" else None,
        "block_id": target if amendment.target == "block" else None,
        "day": days.day(amendment.at_utc),
        "field": amendment.field,
        **words,
    }


def answer_row(answer: Answer, visit: VisitHeader, codes: Codes) -> Row:
    """Row of `answers`."""
    said = datetime.fromisoformat(answer.at_utc)
    waited = said - datetime.fromisoformat(visit.started_utc)
    on_scale = not QUESTIONS[answer.question].words
    return {
        "answer_id": codes.identifier(answer.answer_id),
        "visit_id": codes.identifier(answer.visit_id),
        "number": answer.number,
        "block_id": answer.block_id and codes.identifier(answer.block_id),
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


def loop_check_rows(checks: Sequence[LoopCheck], alias: str) -> list[Row]:
    """Rows of `loop_checks` of one device, in order of time; who read them stays behind."""
    return [
        {
            "device": alias,
            "number": number,
            "edge": check.edge,
            "n_read": check.n_read,
            "mean_ms": check.mean_ms,
            "sd_ms": check.sd_ms,
            "low_ms": check.low_ms,
            "high_ms": check.high_ms,
            "program_ms": check.program_ms,
            "camera_hz": check.camera_hz,
            "frames": check.frames,
            "method": check.method,
        }
        for number, check in enumerate(checks, start=1)
    ]


def _missing(value: Any) -> Any:
    return None if isinstance(value, float) and math.isnan(value) else value
