"""The files of a BIDS dataset: reports, events, trials, tables and sidecars."""

from __future__ import annotations

import gzip
import json
import math
import os
import re
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from battery.cells import harmless
from battery.errors import StoreError, UsageError
from battery.export.bids import bids_texts as texts
from battery.files import close_to_others
from battery.recording import KIND_CODES, Block, events_from_array
from battery.scoring.pursuit.chip import shown_x_mm
from battery.store import VisitRecord
from tasks.contract import NS_PER_S, settings_from_dict
from tasks.pursuit import PursuitSettings

NONE = "n/a"
NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")
GAP_NS = 100_000_000  # a pause of reports; a pointer at rest gives none
IN_CONTACT = (KIND_CODES["down"], KIND_CODES["move"])


def write_trials(path: Path, trials: list[dict[str, Any]]) -> None:
    """Write one row a trial; what its columns are stands once at the top."""
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
    write_tsv(path.with_suffix(".tsv"), texts.trial_names(), rows)


def write_motion(path: Path, visit: VisitRecord, block: Block) -> None:
    """Write the reports of a block, without a header row, and what is its own.

    Latencies count from the first report in microseconds, as BIDS wants them; the exact stamp
    from the start of the block stands in a channel of its own.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    samples = block.samples
    first_ns = int(samples["t_ns"][0])
    contact = np.isin(samples["kind"], IN_CONTACT)
    with path.with_name(path.name + ".tsv").open("w", encoding="utf-8", newline="\n") as file:
        for t_ns, x_mm, y_mm, pressed, pointer, pressure, gap_ns, kind in zip(
            samples["t_ns"].tolist(), samples["x_mm"].tolist(), samples["y_mm"].tolist(),
            contact.tolist(), samples["pointer"].tolist(), samples["pressure"].tolist(),
            samples["stamp_gap_ns"].tolist(), samples["kind"].tolist(), strict=True,
        ):  # fmt: skip
            row = (
                _microseconds(t_ns - first_ns), _metres(x_mm), _metres(y_mm), str(int(pressed)),
                str(pointer), str(t_ns), str(gap_ns), str(kind),
                NONE if math.isnan(pressure) else repr(pressure),
            )  # fmt: skip
            file.write("\t".join(row) + "\n")
    apart_ns = np.diff(samples["t_ns"])
    duration_s = int(apart_ns.sum()) / NS_PER_S
    effective = (len(samples) - 1) / duration_s if duration_s > 0 else 0.0
    sides = visit.header.device.screen
    header = block.header
    write_json(
        path.with_name(path.name + ".json"),
        {
            "SamplingFrequency": block.audit.report_rate_hz or round(effective, 3),
            "SamplingFrequencyEffective": round(effective, 6),
            "RecordingDuration": round(duration_s, 6),
            "PowerLineFrequency": NONE,
            "RecordingType": "discontinuous" if is_cut(apart_ns) else "continuous",
            "SoftwareVersions": visit.header.software,
            "InputType": block.input_type,
            "ScreenWidthMm": round(sides.width_mm, 3),
            "ScreenHeightMm": round(sides.height_mm, 3),
            "ScreenWidthPx": sides.width_px,
            "ScreenHeightPx": sides.height_px,
            "MmPerPx": [sides.mm_per_px_x, sides.mm_per_px_y],
            "FirstSampleNs": first_ns,
            "EndedNs": block.ended_ns,
            "Phase": header.phase,
            "HandRecorded": header.hand,
            "TaskVersion": header.task_version,
            "LayoutSeed": header.layout_seed,
            "LayoutHash": header.layout_hash,
            "Settings": header.settings,
        },
    )


def is_cut(apart_ns: np.ndarray[Any, np.dtype[np.int64]]) -> bool:
    """Whether reports pause for so long that a recording is no continuous one."""
    return bool(len(apart_ns)) and int(apart_ns.max()) > GAP_NS


def write_events(path: Path, block: Block) -> None:
    """Write what the task decided; times count from the first report of the motion file."""
    first_ns = int(block.samples["t_ns"][0])
    rows = [
        {
            "onset": _seconds(t_ns - first_ns),
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
    write_tsv(path.with_name(path.name + ".tsv"), texts.event_names(), rows)


def write_stim(path: Path, block: Block, label: str) -> None:
    """Write where the chip of a pursuit block was shown, on an even grid, in metres."""
    if block.header.task not in texts.MOVES:
        return
    settings = settings_from_dict(PursuitSettings, block.header.settings)
    events = events_from_array(block.events)
    started_ns = next((e.t_ns for e in events if e.kind == "start"), None)
    if started_ns is None:
        return
    n = int((block.ended_ns - started_ns) / NS_PER_S * texts.STIM_HZ)
    t_s = started_ns / NS_PER_S + np.arange(n) / texts.STIM_HZ
    x_mm = shown_x_mm(block, settings, started_ns, t_s)
    lines = [f"{_metres(x)}\t{_metres(settings.y_mm)}\n" for x in x_mm.tolist()]
    write_packed(path.with_name(path.name + ".tsv.gz"), "".join(lines))
    first_ns = int(block.samples["t_ns"][0])
    start_s = round((started_ns - first_ns) / NS_PER_S, 9)
    write_json(
        path.with_name(path.name + ".json"), texts.stim_json(block.header.task, label, start_s)
    )


def write_frames(path: Path, block: Block) -> None:
    """Write when the screen was drawn, packed, beside the dataset as it came from the store."""
    rows = "".join(f"{drawn}\t{flip}\n" for drawn, flip in block.frames.tolist())
    write_packed(path, "drawn_ns\tflip_ns\n" + rows)


def write_scores(path: Path, scores: Sequence[Mapping[str, Any]]) -> None:
    """Write the scores of a block, one row a measure."""
    write_tsv(path, texts.score_names(), scores)


def write_packed(path: Path, text: str) -> None:
    """Write a packed text; the same text gives the same bytes."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(gzip.compress(text.encode(), mtime=0))


def _microseconds(t_ns: int) -> str:
    """Write nanoseconds as seconds with six decimals, rounded."""
    t_us = (t_ns + 500) // 1000
    return f"{t_us // 1_000_000}.{t_us % 1_000_000:06d}"


def _seconds(t_ns: int) -> str:
    """Write nanoseconds as seconds, exactly."""
    sign, t_ns = ("-", -t_ns) if t_ns < 0 else ("", t_ns)
    return f"{sign}{t_ns // NS_PER_S}.{t_ns % NS_PER_S:09d}"


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
    if isinstance(value, float):
        return f"{value:.12g}"
    if isinstance(value, str) and not NUMBER.fullmatch(value):
        return harmless(value)
    return str(value)


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
        close_to_others(partial)
        for path in sorted(partial.rglob("*")):
            close_to_others(path)
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
