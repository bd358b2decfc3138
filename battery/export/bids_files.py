"""The files of a BIDS dataset: reports, events, trials, tables and sidecars."""

from __future__ import annotations

import json
import math
import os
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from battery.errors import StoreError, UsageError
from battery.export import bids_texts as texts
from battery.recording import KIND_CODES, Block
from battery.store import VisitRecord
from tasks.contract import NS_PER_S

NONE = "n/a"
IN_CONTACT = (KIND_CODES["down"], KIND_CODES["move"])


def write_trials(path: Path, task: str, trials: list[dict[str, Any]]) -> None:
    """Write one row a trial, and what its columns are."""
    columns = texts.trial_columns()
    rows = [
        {
            "trial_type": row["label"],
            "response_time": row["reaction_time_s"],
            "outcome": row["outcome"],
        }
        | {column.name: row[column.name] for column in columns}
        for row in trials
    ]
    names = ("trial_type", "response_time", "outcome", *(c.name for c in columns))
    write_tsv(path.with_suffix(".tsv"), names, rows)
    write_json(
        path.with_suffix(".json"),
        {
            "TaskName": task,
            "TaskDescription": texts.TASKS[task][0],
            "Instructions": texts.TASKS[task][1],
            "trial_type": {"Description": "Side, part or node the trial is about."},
            "response_time": {"Description": "From the cue shown to lift-off.", "Units": "s"},
            "outcome": {"Description": "How it came out."},
        }
        | texts.column_json(columns),
    )


def write_motion(path: Path, task: str, visit: VisitRecord, block: Block) -> None:
    """Write the reports of a block, without a header row, and what describes them."""
    path.parent.mkdir(parents=True, exist_ok=True)
    samples = block.samples
    contact = np.isin(samples["kind"], IN_CONTACT)
    with path.with_name(path.name + ".tsv").open("w", encoding="utf-8", newline="\n") as file:
        for t_ns, x_mm, y_mm, pressed, pointer, gap_ns in zip(
            samples["t_ns"].tolist(), samples["x_mm"].tolist(), samples["y_mm"].tolist(),
            contact.tolist(), samples["pointer"].tolist(), samples["stamp_gap_ns"].tolist(),
            strict=True,
        ):  # fmt: skip
            row = (
                _seconds(t_ns), _metres(x_mm), _metres(y_mm), str(int(pressed)), str(pointer),
                _seconds(gap_ns),
            )  # fmt: skip
            file.write("\t".join(row) + "\n")
    duration_s = int(samples["t_ns"][-1] - samples["t_ns"][0]) / NS_PER_S
    effective = (len(samples) - 1) / duration_s if duration_s > 0 else 0.0
    sides = visit.header.device.screen
    write_json(
        path.with_name(path.name + ".json"),
        {
            "TaskName": task,
            "TaskDescription": texts.TASKS[task][0],
            "Instructions": texts.TASKS[task][1],
            "SamplingFrequency": block.audit.report_rate_hz or round(effective, 3),
            "SamplingFrequencyEffective": round(effective, 6),
            "RecordingDuration": round(duration_s, 6),
            "RecordingType": "continuous",
            "TrackingSystemName": "pointer",
            "TrackedPointsCount": 1,
            "MotionChannelCount": len(texts.CHANNELS),
            "POSChannelCount": 2,
            "LATENCYChannelCount": 1,
            "MISCChannelCount": 3,
            "SoftwareVersions": visit.header.software,
            "InputType": block.input_type,
            "ScreenWidthMm": round(sides.width_mm, 3),
            "ScreenHeightMm": round(sides.height_mm, 3),
        },
    )
    channels = path.with_name(path.name.removesuffix("motion") + "channels")
    rows = []
    for *start, about in texts.CHANNELS:
        frame = "screen" if "POS" in start else NONE
        rows.append(dict(zip(texts.CHANNEL_COLUMNS, (*start, frame, about), strict=True)))
    write_tsv(channels.with_name(channels.name + ".tsv"), texts.CHANNEL_COLUMNS, rows)
    write_json(
        channels.with_name(channels.name + ".json"),
        {
            "reference_frame": {
                "Description": "Frame of the position.",
                "Levels": {
                    "screen": {
                        "SpatialAxes": "RS_",
                        "RotationRule": NONE,
                        "RotationOrder": NONE,
                        "Description": "Origin in the middle of the screen; x to the right, y "
                        "up the screen.",
                    }
                },
            }
        },
    )


def write_events(path: Path, block: Block) -> None:
    """Write what the task decided, and what its columns are."""
    columns = texts.event_columns()
    rows = [
        {
            "onset": _seconds(t_ns),
            "duration": 0,
            "trial_type": kind,
            "trial": trial if trial >= 0 else None,
            "label": label or None,
            "x_mm": x_mm,
            "y_mm": y_mm,
            "r_mm": r_mm,
        }
        for t_ns, kind, trial, label, x_mm, y_mm, r_mm in block.events.tolist()
    ]
    names = ("onset", "duration", "trial_type", *(c.name for c in columns))
    write_tsv(path.with_name(path.name + ".tsv"), names, rows)
    write_json(
        path.with_name(path.name + ".json"),
        {"trial_type": {"Description": "What happened in the task."}}
        | texts.column_json(columns),
    )


def _seconds(t_ns: int) -> str:
    """Write nanoseconds as seconds, exactly."""
    return f"{t_ns // NS_PER_S}.{t_ns % NS_PER_S:09d}"


def _metres(mm: float) -> str:
    return NONE if math.isnan(mm) else f"{mm / 1000:.9g}"


def write_tsv(path: Path, columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> None:
    """Write a table with a header; what is missing is n/a."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8", newline="\n") as file:
        file.write("\t".join(columns) + "\n")
        for row in rows:
            file.write("\t".join(_cell(row[name]) for name in columns) + "\n")


def _cell(value: Any) -> str:
    if value is None or value == "" or (isinstance(value, float) and math.isnan(value)):
        return NONE
    return f"{value:.12g}" if isinstance(value, float) else str(value)


def write_json(path: Path, content: Mapping[str, Any]) -> None:
    """Write a sidecar."""
    path.parent.mkdir(parents=True, exist_ok=True)
    text = json.dumps(content, indent=2, ensure_ascii=True) + "\n"
    path.write_text(text, encoding="utf-8", newline="\n")


@contextmanager
def new_folder(folder: Path) -> Iterator[Path]:
    """Give a folder to write into; it gets its name only when all is written."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        msg = f"'{folder}' is not empty; nothing was changed, name a new folder"
        raise UsageError(msg)
    partial = folder.with_name(folder.name + ".partial")
    try:
        shutil.rmtree(partial, ignore_errors=True)
        (partial / "any").parent.mkdir(parents=True)
        yield partial
        for path in sorted(partial.rglob("*")):
            if path.is_file():
                with path.open("r+b") as file:
                    os.fsync(file.fileno())
        if folder.exists():
            folder.rmdir()
        partial.replace(folder)
    except OSError as error:
        msg = (
            f"cannot export to '{folder}': {error.strerror or error}. The store is unchanged; "
            "free some space or name another folder, then export again"
        )
        raise StoreError(msg) from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)
