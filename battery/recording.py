"""What a record is: the block as it was read, and the visit it belongs to.

A block holds its raw samples unaltered, what the task decided about them, and when the
screen was drawn. Everything said later about a block (scores, amendments) lies beside it.
Times are integer nanoseconds of one monotonic clock from the start of the block; wall time
stands on visits and blocks only and never times a trial.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from functools import cache
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from numpy.lib.recfunctions import repack_fields

from tasks.contract import CONTACT_KINDS, Contact, Event
from tasks.plain import is_left_out, later, to_plain

RECORD_VERSION = 1
PROTOCOL_VERSION = 1

# What a record from elsewhere may say; more is refused before anything is computed of it.
MAX_BLOCK_NS = 3_600_000_000_000
MAX_PLACE_MM = 100_000.0

Hand = Literal["left", "right"]
HANDS: tuple[Hand, ...] = ("left", "right")
Phase = Literal["practice", "test"]
Ending = Literal["finished", "stopped", "interrupted"]
InputType = Literal["mouse", "touch", "mixed", "none"]

SAMPLE_DTYPE = np.dtype(
    [
        ("t_ns", "<i8"),  # when the report was read
        ("kind", "u1"),  # index into CONTACT_KINDS
        ("pointer", "<i2"),  # 0 mouse or pen; 1, 2, ... fingers in the order they came
        ("x_mm", "<f8"),
        ("y_mm", "<f8"),
        ("pressure", "<f4"),  # nan where the device or its driver gives none
        (
            "stamp_gap_ns",
            "<i8",
        ),  # timestamp uncertainty: it came in (t_ns - stamp_gap_ns, t_ns]
    ]
)
FRAME_DTYPE = np.dtype(
    [
        ("drawn_ns", "<i8"),  # the moment the picture shows: the task's state at that time
        ("flip_ns", "<i8"),  # when the call that showed it returned
    ]
)
EVENT_DTYPE = np.dtype(
    [
        ("t_ns", "<i8"),
        ("kind", "U16"),
        ("trial", "<i4"),
        ("label", "U16"),
        ("x_mm", "<f8"),
        ("y_mm", "<f8"),
        ("r_mm", "<f8"),
    ]
)

SampleArray = npt.NDArray[np.void]
FrameArray = npt.NDArray[np.void]
EventArray = npt.NDArray[np.void]

# Columns that arrays grew by, each with the value it has in records made before it.
LATER_COLUMNS: Mapping[str, float] = {}
# What a header says that this program does not know: where, and the value as JSON text.
Unknown = tuple[tuple[tuple[str, ...], str], ...]

KIND_CODES = {kind: code for code, kind in enumerate(CONTACT_KINDS)}


@dataclass(frozen=True, slots=True)
class Screen:
    """The glass a block was done on.

    Parameters
    ----------
    width_px, height_px : int
        Size of the drawing area.
    mm_per_px_x, mm_per_px_y : float
        Scale of each axis.
    scale_source : {"card", "ruler", "guess", "virtual"}
        How the scale was found. `guess` is 96 pixels to the inch and is flagged.
    """

    width_px: int
    height_px: int
    mm_per_px_x: float
    mm_per_px_y: float
    scale_source: Literal["card", "ruler", "guess", "virtual"] = "guess"

    @property
    def width_mm(self) -> float:
        """Width of the drawing area, mm."""
        return self.width_px * self.mm_per_px_x

    @property
    def height_mm(self) -> float:
        """Height of the drawing area, mm."""
        return self.height_px * self.mm_per_px_y

    def has_scale_of(self, other: Screen) -> bool:
        """Whether a millimetre is as many pixels on both, the panel lying or upright."""
        own = (self.mm_per_px_x, self.mm_per_px_y)
        sides = (other.mm_per_px_x, other.mm_per_px_y)
        return own in (sides, sides[::-1])


@dataclass(frozen=True, slots=True)
class Device:
    """What the person used: an alias made at random, and its screen. Never a serial number."""

    alias: str
    screen: Screen
    system: str = "unknown"
    display_latency_ms: float | None = None  # None: unknown, never assumed to be 0


@dataclass(frozen=True, slots=True)
class TimingAudit:
    """What was measured about time before and during a block.

    Parameters
    ----------
    flip_p99_ms : float or None
        99th percentile of the time one screen update takes, measured at the start.
    stamp_gap_p99_ms : float or None
        99th percentile of the timestamp uncertainty over the block's samples.
    report_rate_hz : float or None
        Median rate of reports while the pointer moved.
    frame_rate_hz : float or None
        Mean rate of frames over the block.
    slow_frames : int or None
        Frames that came more than 34 ms after the one before.
    """

    flip_p99_ms: float | None = None
    stamp_gap_p99_ms: float | None = None
    report_rate_hz: float | None = None
    frame_rate_hz: float | None = None
    slow_frames: int | None = None


@dataclass(frozen=True, slots=True)
class VisitHeader:
    """One sitting of one person."""

    visit_id: str  # UUID
    person: str  # random code, never a name
    sequence: int  # the person's visits in order, from 1
    plan_name: str
    plan_hash: str
    device: Device
    started_utc: str  # ISO 8601 with offset +00:00
    utc_offset_min: int
    software: str
    origin: Literal["stage", "simulated", "import"] = "stage"
    record_version: int = RECORD_VERSION
    protocol_version: int = PROTOCOL_VERSION
    unknown: Unknown = field(default=(), repr=False)  # what a later program wrote beside it


@dataclass(frozen=True, slots=True)
class BlockHeader:
    """What was set before the first sample of a block."""

    block_id: str  # UUID
    visit_id: str
    index: int  # place in the visit, from 0
    task: str
    hand: Hand
    phase: Phase
    layout_seed: int
    layout_hash: str
    settings: dict[str, Any]  # the task's settings as plain values
    started_utc: str
    versions: dict[str, str] = field(default_factory=dict)  # python, numpy, pygame, sdl
    task_version: int = later(1)  # of the rules that it was played by
    unknown: Unknown = field(default=(), repr=False)  # what a later program wrote beside it


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """A block as it was done. The arrays are read-only.

    Parameters
    ----------
    header : BlockHeader
    samples, frames, events : ndarray
        Of `SAMPLE_DTYPE`, `FRAME_DTYPE`, `EVENT_DTYPE`, in order of time.
    ending : {"finished", "stopped", "interrupted"}
        Only a finished block is scored.
    ended_ns : int
        The last moment the task was told about.
    audit : TimingAudit
    reason : str
        Why it ended early, empty for a finished block.
    """

    header: BlockHeader
    samples: SampleArray
    frames: FrameArray
    events: EventArray
    ending: Ending
    ended_ns: int
    audit: TimingAudit = field(default_factory=TimingAudit)
    reason: str = ""

    def __post_init__(self) -> None:
        for array in (self.samples, self.frames, self.events):
            array.setflags(write=False)

    @property
    def input_type(self) -> InputType:
        """What kind of pointer the samples came from."""
        pointers = self.samples["pointer"]
        if len(pointers) == 0:
            return "none"
        touched = bool((pointers > 0).any())
        pointed = bool((pointers == 0).any())
        return "mixed" if touched and pointed else "touch" if touched else "mouse"

    @property
    def sha256(self) -> str:
        """Hash of the raw record: header, samples, frames and events, as hex digits.

        It covers the header as it was stored, not what this program knows of it; columns and
        fields that came later count from the first record that says something in them.
        """
        digest = hashlib.sha256(canonical_json(header_to_dict(self.header)).encode())
        for array in (self.samples, self.frames):
            digest.update(column_bytes(array))
        digest.update(repr(events_from_array(self.events)).encode())
        return digest.hexdigest()


_CANONICAL = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=True)


def canonical_json(value: Any) -> str:
    """JSON with sorted keys and no spaces: the same value always gives the same text."""
    return _CANONICAL.encode(value)


def short_hash(value: Any) -> str:
    """First 16 hex digits of the SHA-256 of the canonical JSON of `value`."""
    return short_hash_of(canonical_json(value))


def short_hash_of(text: str) -> str:
    """Return the `short_hash` of the value that has this canonical JSON."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def column_bytes(array: np.ndarray[Any, Any]) -> bytes:
    """Bytes of an array's rows, without columns that came later and hold nothing."""
    names = array.dtype.names or ()
    kept = [n for n in names if n not in LATER_COLUMNS or not _is_all(array[n], n)]
    if len(kept) < len(names):
        array = repack_fields(array[kept])
    return np.ascontiguousarray(array).tobytes()


def _is_all(values: np.ndarray[Any, Any], name: str) -> bool:
    default = LATER_COLUMNS[name]
    return bool((np.isnan(values) if math.isnan(default) else values == default).all())


def header_to_dict(header: BlockHeader) -> dict[str, Any]:
    """Plain values of a block header, as stored and hashed."""
    told = {f.name: getattr(header, f.name) for f in fields(header) if f.name != "unknown"}
    held = {f.name for f in fields(header) if is_left_out(f, getattr(header, f.name))}
    return _with_unknown({n: v for n, v in told.items() if n not in held}, header.unknown)


def visit_header_to_dict(header: VisitHeader) -> dict[str, Any]:
    """Plain values of a visit's header, as stored and hashed."""
    told = to_plain(header)
    del told["unknown"]
    return _with_unknown(told, header.unknown)


def audit_to_dict(audit: TimingAudit) -> dict[str, Any]:
    """Plain values of a timing audit, as stored and hashed."""
    return dict(to_plain(audit))


def _with_unknown(told: dict[str, Any], unknown: Unknown) -> dict[str, Any]:
    for where, text in unknown:
        place = told
        for name in where[:-1]:
            place = place[name]
        place[where[-1]] = json.loads(text)
    return told


def block_header_from_dict(values: Mapping[str, Any]) -> BlockHeader:
    """Rebuild a block's header; what is not known is kept as it was written."""
    known, unknown = _parted(BlockHeader, values)
    return BlockHeader(**known, unknown=unknown)


def visit_header_from_dict(values: Mapping[str, Any]) -> VisitHeader:
    """Rebuild a visit's header; what is not known is kept as it was written."""
    known, unknown = _parted(VisitHeader, values)
    device, more = _parted(Device, known["device"], ("device",))
    screen, most = _parted(Screen, device["screen"], ("device", "screen"))
    device["screen"] = Screen(**screen)
    known["device"] = Device(**device)
    return VisitHeader(**known, unknown=unknown + more + most)


def device_from_dict(values: Mapping[str, Any]) -> Device:
    """Rebuild a device; what is not known stays in the headers of its visits."""
    device, _ = _parted(Device, values)
    screen, _ = _parted(Screen, device["screen"])
    return Device(**{**device, "screen": Screen(**screen)})


def _parted(
    kind: type, values: Mapping[str, Any], where: tuple[str, ...] = ()
) -> tuple[dict[str, Any], Unknown]:
    names = _names(kind)
    known = {name: value for name, value in values.items() if name in names}
    more = [(*where, name) for name in values if name not in names]
    return known, tuple((place, json.dumps(values[place[-1]])) for place in more)


@cache
def _names(kind: type) -> frozenset[str]:
    return frozenset(f.name for f in fields(kind)) - {"unknown"}


def contacts(samples: SampleArray) -> list[Contact]:
    """Turn samples back into the contacts the task was fed with, in order."""
    return [
        Contact(t_ns, CONTACT_KINDS[kind], x_mm, y_mm, pointer)
        for t_ns, kind, pointer, x_mm, y_mm, _, _ in samples.tolist()
    ]


def events_to_array(events: Sequence[Event]) -> EventArray:
    """Pack events into an array of `EVENT_DTYPE`."""
    rows = [(e.t_ns, e.kind, e.trial, e.label, e.x_mm, e.y_mm, e.r_mm) for e in events]
    return np.array(rows, dtype=EVENT_DTYPE)


def events_from_array(array: EventArray) -> list[Event]:
    """Unpack what `events_to_array` packed."""
    return [Event(*row) for row in array.tolist()]


def shown_ns(frames: FrameArray, t_ns: int) -> int | None:
    """When something due at `t_ns` was on the screen.

    Returns
    -------
    int or None
        Return time of the first flip whose picture was of `t_ns` or later; None if no such
        frame was drawn. This is the frame buffer, not light: the display's own latency comes
        on top and is unknown unless it was measured.
    """
    index = int(np.searchsorted(frames["drawn_ns"], t_ns, side="left"))
    return int(frames["flip_ns"][index]) if index < len(frames) else None
