"""The delay from a finger to light, as a film of a device shows it.

A camera films the program's own counter of frames, which tells its true rate; then touches and,
apart, lifts while a patch changes. Somebody counts the frames of the film in between. The mean
stands with its spread and 95 % interval. It holds the panel, the program and the display, and
so the constant that is in every reaction time of the device; nothing is taken off with it.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence

import numpy as np

from battery.errors import UsageError
from battery.store import LoopCheck
from battery.store.rows.device_checks import Edge

WANTED = 30  # touches, and as many lifts
MIN_READ = 10
MIN_FILMED_S = 2.0  # of the counter: one frame more or less is then below 1 % at 60 a second
CAMERA_HZ = (50.0, 2000.0)
MAX_FRAMES = 9_999
MAX_DELAY_MS = 1000.0


def camera_rate_hz(shown_ns: Sequence[int], first: int, last: int, n_frames: int) -> float:
    """Return the rate of a camera that filmed the counter.

    Parameters
    ----------
    shown_ns : sequence of int
        When each number was shown, from 0.
    first, last : int
        The numbers that came up at two frames of the film.
    n_frames : int
        Frames of the film from one to the other.

    Raises
    ------
    UsageError
        If these numbers cannot have been shown, lie too near, or no camera has that rate.
    """
    if not 0 <= first < last < len(shown_ns):
        msg = (
            f"numbers {first} and {last} of the counter: say two that were shown, 0 to "
            f"{len(shown_ns) - 1}, the later one second"
        )
        raise UsageError(msg)
    filmed_s = (shown_ns[last] - shown_ns[first]) / 1e9
    if filmed_s < MIN_FILMED_S:
        msg = (
            f"numbers {first} and {last} lie {filmed_s:.1f} s apart; take two that lie at "
            f"least {MIN_FILMED_S:g} s apart"
        )
        raise UsageError(msg)
    rate_hz = n_frames / filmed_s
    low_hz, high_hz = CAMERA_HZ
    if not low_hz <= rate_hz <= high_hz:
        msg = (
            f"{n_frames} frames in {filmed_s:.1f} s are {rate_hz:.0f} a second; a film with "
            f"{low_hz:g} to {high_hz:g} is needed. Count the frames again"
        )
        raise UsageError(msg)
    return rate_hz


def loop_check(
    device: str,
    edge: Edge,
    frames: Sequence[int],
    *,
    camera_hz: float,
    program_ms: float | None,
    reader: str,
    at_utc: str,
) -> LoopCheck:
    """Return what a film shows of a device.

    Parameters
    ----------
    frames : sequence of int
        Frames of the film between finger and light, one for each touch or lift that was read.
    camera_hz : float
    program_ms : float or None
        What the program itself took of it, on average.

    Raises
    ------
    UsageError
        If too few were read, a number cannot be, or nobody says who read them.

    Notes
    -----
    The interval is Student's of the mean. Each delay differs by where in a frame of the display
    and of the panel the finger came, and by half a frame of the film at either end; all of that
    is in the spread. A camera whose rate is off by 1 % makes the mean 1 % wrong, which is not.
    Light is taken to begin where the reader sees the patch change; a slow display changes over
    several frames, so the same rule must be kept for all.
    """
    from battery.scoring.stats.intervals import of_mean  # scipy: a tablet starts without it

    if len(frames) < MIN_READ:
        msg = f"{len(frames)} were read; at least {MIN_READ} are needed. Nothing was stored"
        raise UsageError(msg)
    if not reader.strip():
        msg = "say who read the film, in initials. Nothing was stored"
        raise UsageError(msg)
    delays_ms = np.array(frames, dtype=float) * 1000 / camera_hz
    odd = [n for n, ms in zip(frames, delays_ms, strict=True) if not 0 <= ms <= MAX_DELAY_MS]
    if odd:
        msg = (
            f"{odd[0]} frames are {odd[0] * 1000 / camera_hz:.0f} ms; no delay is longer than "
            f"{MAX_DELAY_MS:g} ms. Nothing was stored"
        )
        raise UsageError(msg)
    low_ms, high_ms = of_mean(delays_ms)
    mean_ms = float(delays_ms.mean())
    if np.isnan(low_ms):  # all alike: no finer than the film itself
        half_ms = 500 / camera_hz
        low_ms, high_ms = mean_ms - half_ms, mean_ms + half_ms
    return LoopCheck(
        check_id=str(uuid.uuid4()),
        device=device,
        edge=edge,
        n_read=len(frames),
        mean_ms=mean_ms,
        sd_ms=float(delays_ms.std(ddof=1)),
        low_ms=max(low_ms, 0.0),
        high_ms=high_ms,
        program_ms=program_ms,
        camera_hz=camera_hz,
        frames=" ".join(str(n) for n in frames),
        method="film",
        reader=reader.strip(),
        at_utc=at_utc,
    )


def loop_words(check: LoopCheck) -> str:
    """Say a delay in one line."""
    edge = "touch" if check.edge == "touch" else "lift"
    own = "" if check.program_ms is None else f"; of it the program {check.program_ms:.1f} ms"
    return (
        f"{edge} to light {check.mean_ms:.0f} ms (95 % {check.low_ms:.0f} to "
        f"{check.high_ms:.0f}, spread {check.sd_ms:.1f}{own}), {check.n_read} read off a film "
        f"of {check.camera_hz:.1f} frames a second by {check.reader} on {check.at_utc[:10]}"
    )


def held_checks(checks: Sequence[LoopCheck]) -> tuple[LoopCheck, ...]:
    """Return the latest check of each kind, lifts first: they end every reaction time."""
    latest = {check.edge: check for check in checks}
    edges: tuple[Edge, ...] = ("lift", "touch")
    return tuple(latest[edge] for edge in edges if edge in latest)
