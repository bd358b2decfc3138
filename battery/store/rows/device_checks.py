"""Checks of a device: size of its screen, timing, delay from a finger to light."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class ScreenCheck:
    """A measurement of a screen.

    Parameters
    ----------
    device : str
        Alias of the machine.
    width_px, height_px : int
        Size of the whole screen.
    mm_per_px_x, mm_per_px_y : float
        What was found.
    source : {"card", "ruler"}
    at_utc : str
        ISO 8601 with offset +00:00.
    """

    check_id: str  # UUID
    device: str
    width_px: int
    height_px: int
    mm_per_px_x: float
    mm_per_px_y: float
    source: Literal["card", "ruler"]
    at_utc: str


@dataclass(frozen=True, slots=True)
class TimingCheck:
    """What a device's pointer and screen did while somebody moved a finger about.

    Parameters
    ----------
    device : str
        Alias of the machine.
    input_type : str
        What pointed: mouse, touch, mixed or none.
    n_reports : int
        Reports of motion.
    report_rate_hz : float or None
        Inverse of the median interval between reports of motion; None without
        two seconds of contact.
    longest_gap_ms : float or None
        Longest interval between reports of one touch.
    wide_gaps : float or None
        Share of those intervals above 50 ms.
    frame_rate_hz : float or None
    slow_frames : float or None
        Share of frames more than 34 ms after the one before.
    flip_p99_ms : float or None
        99th percentile of the time one screen update takes.
    at_utc : str
        ISO 8601 with offset +00:00.
    """

    check_id: str  # UUID
    device: str
    input_type: str
    n_reports: int
    report_rate_hz: float | None
    longest_gap_ms: float | None
    wide_gaps: float | None
    frame_rate_hz: float | None
    slow_frames: float | None
    flip_p99_ms: float | None
    at_utc: str


Edge = Literal["touch", "lift"]


@dataclass(frozen=True, slots=True)
class LoopCheck:
    """How long a device takes from a finger to light, as a film shows.

    Parameters
    ----------
    device : str
        Alias of the machine.
    edge : {"touch", "lift"}
        What the finger did: it came onto the glass, or left it.
    n_read : int
        Touches or lifts that were read off the film.
    mean_ms, sd_ms : float
        Mean and scatter from the finger to the first light that follows.
    low_ms, high_ms : float
        95 % interval of the mean.
    program_ms : float or None
        The part that the program itself took, from the report to the picture handed over.
    camera_hz : float
        True rate of the camera, against the program's own frames.
    frames : str
        Frames of the film between the two, for each, as they were read.
    method : {"film"}
    reader : str
        Who read them, in initials.
    at_utc : str
        ISO 8601 with offset +00:00.
    """

    check_id: str  # UUID
    device: str
    edge: Edge
    n_read: int
    mean_ms: float
    sd_ms: float
    low_ms: float
    high_ms: float
    program_ms: float | None
    camera_hz: float
    frames: str
    method: Literal["film"]
    reader: str
    at_utc: str
