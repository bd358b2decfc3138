"""What a BIDS dataset must keep that the public validator does not look at."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

GAP_S = 0.1  # a recording with a longer pause of reports is no continuous one
REQUIRED = ["name", "component", "type", "tracked_point", "units"]
CHANNEL_TYPES = frozenset(
    {"ACCEL", "ANGACCEL", "GYRO", "JNTANG", "LATENCY", "MAGN", "MISC", "ORNT", "POS", "VEL"}
)
LATENCY = re.compile(r"[0-9]+(\.[0-9]{1,6})?")
OPPOSITE = {"L": "R", "R": "L", "A": "P", "P": "A", "S": "I", "I": "S"}
ENTITIES = re.compile(r"(task-[0-9A-Za-z]+)_(tracksys-[0-9A-Za-z]+)_motion\.tsv$")


def bids_findings(folder: Path) -> list[str]:
    """Check motion files against what describes them, and that there is a README.

    Rules of BIDS 1.10, motion: no header row; as many columns as channels; LATENCY in seconds
    from the first sample with at most six decimals; SpatialAxes of A, P, L, R, S, I and _, a
    direction at most once; onsets of events from the first stored sample; a recording with
    pauses is not continuous.

    Returns
    -------
    list of str
        One line for each thing that does not hold; empty if all does.
    """
    found = []
    if not any((folder / name).is_file() for name in ("README", "README.md", "README.txt")):
        found.append("README: missing")
    for path in sorted(folder.rglob("*_channels.json")):
        found += [f"{path.name}: {what}" for what in _axes(path)]
    for motion in sorted(folder.rglob("*_motion.tsv")):
        name = motion.relative_to(folder).as_posix()
        found += [f"{name}: {what}" for what in _motion(folder, motion)]
    return found


def _motion(folder: Path, motion: Path) -> Iterator[str]:
    entities = ENTITIES.search(motion.name)
    shared = "_".join(entities.groups()) if entities else ""
    stem = motion.name.removesuffix("_motion.tsv")
    channels = _first(
        motion.with_name(f"{stem}_channels.tsv"), folder / f"{shared}_channels.tsv"
    )
    own = motion.with_name(f"{stem}_motion.json")
    if channels is None or not own.is_file():
        yield "its channels or its sidecar are missing"
        return
    told = _json(folder / f"{shared}_motion.json") | _json(own)
    lines = channels.read_text(encoding="utf-8").splitlines()
    header = lines[0].split("\t")
    kinds = [line.split("\t")[header.index("type")] for line in lines[1:]]
    names = [line.split("\t")[header.index("name")] for line in lines[1:]]
    odd = sorted(set(kinds) - CHANNEL_TYPES)
    if odd or header[:5] != REQUIRED:
        yield f"its channels have the columns {header[:5]} and the types {odd or kinds}"
        return
    if told.get("MotionChannelCount") != len(kinds):
        yield f"{told.get('MotionChannelCount')} channels in the sidecar, {len(kinds)} listed"
    rows = [line.split("\t") for line in motion.read_text(encoding="utf-8").splitlines()]
    wrong = next(_wrong_rows(rows, len(kinds)), None)
    if wrong is not None:
        yield wrong
        return
    yield from _latencies([row[kinds.index("LATENCY")] for row in rows], told)
    if "t_ns" in names:
        stamps_ns = [int(row[names.index("t_ns")]) for row in rows]
        yield from _onsets(motion.with_name(f"{stem}_events.tsv"), stamps_ns, told)


def _wrong_rows(rows: list[list[str]], n_channels: int) -> Iterator[str]:
    """Say what is no row of numbers; a header row passes the public validator."""
    if not rows:
        yield "empty"
    for number, cells in enumerate(rows, start=1):
        if len(cells) != n_channels:
            yield f"row {number} has {len(cells)} columns, not {n_channels}"
        if not all(cell == "n/a" or _is_number(cell) for cell in cells):
            yield "a header row" if number == 1 else f"row {number} is not of numbers"


def _latencies(cells: list[str], told: dict[str, Any]) -> Iterator[str]:
    odd = next((cell for cell in cells if not LATENCY.fullmatch(cell)), None)
    if odd is not None:
        yield f"latency {odd!r} is no time in seconds with at most six decimals"
        return
    times_s = [float(cell) for cell in cells]
    if times_s[0] != 0:
        yield f"its first latency is {cells[0]}, not the first sample"
    apart_s = [after - before for before, after in pairwise(times_s)]
    if any(apart < 0 for apart in apart_s):
        yield "time goes back"
    paused = any(apart > GAP_S + 1e-6 for apart in apart_s)
    if paused and told.get("RecordingType") == "continuous":
        yield f"it is called continuous and pauses for {max(apart_s):.3f} s"
    if abs(told.get("RecordingDuration", -1) - times_s[-1]) > 1e-5:
        yield f"its duration is {times_s[-1]} s, not {told.get('RecordingDuration')} s"


def _onsets(events: Path, stamps_ns: list[int], told: dict[str, Any]) -> Iterator[str]:
    """Hold onsets to the first stored sample: a press that the task took was a sample too."""
    if told.get("FirstSampleNs") != stamps_ns[0]:
        yield f"its first sample is at {stamps_ns[0]} ns, not {told.get('FirstSampleNs')} ns"
    if not events.is_file():
        return
    lines = events.read_text(encoding="utf-8").splitlines()
    header = lines[0].split("\t")
    place, kind = header.index("onset"), header.index("trial_type")
    since_ns = {stamp - stamps_ns[0] for stamp in stamps_ns}
    for line in lines[1:]:
        cells = line.split("\t")
        onset_ns = round(float(cells[place]) * 1e9)
        if cells[kind] in TOUCHED and not any(n in since_ns for n in near(onset_ns)):
            yield f"event {cells[kind]!r} at {cells[place]} s is at no sample"
            return


TOUCHED = frozenset(
    {"start", "touch", "hold", "lift", "grab"}
)  # caused by a contact, at its stamp


def near(onset_ns: int) -> range:
    """Whole nanoseconds that a number read as a float may have stood for."""
    return range(onset_ns - 2, onset_ns + 3)


def _axes(path: Path) -> Iterator[str]:
    frames = _json(path).get("reference_frame", {}).get("Levels", {})
    for name, frame in frames.items():
        axes = frame.get("SpatialAxes", "___")
        used = [letter for letter in axes if letter != "_"]
        sides = [min(letter, OPPOSITE.get(letter, letter)) for letter in used]
        if len(axes) != 3 or set(used) - OPPOSITE.keys() or len(set(sides)) != len(sides):
            yield f"SpatialAxes {axes!r} of {name} name no three axes"
        if frame.get("RotationRule", "left-hand") not in ("left-hand", "right-hand"):
            yield f"RotationRule {frame['RotationRule']!r} of {name} is no rule"
        if sorted(frame.get("RotationOrder", "XYZ")) != ["X", "Y", "Z"]:
            yield f"RotationOrder {frame['RotationOrder']!r} of {name} is no order"


def _first(*paths: Path) -> Path | None:
    return next((path for path in paths if path.is_file()), None)


def _json(path: Path) -> dict[str, Any]:
    return dict(json.loads(path.read_text(encoding="utf-8"))) if path.is_file() else {}


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True
