"""Scores of a pursuit block: finger against the chip as it was shown."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from battery.recording import Block, events_from_array
from battery.scoring.intervals import bootstrap, root_mean
from battery.scoring.jitter import band_powers_mm2, band_rms_mm, floor_mm
from battery.scoring.path import (
    GRID_HZ,
    Floats,
    Segment,
    between,
    contact_path,
    even,
    held,
    split_gaps,
)
from battery.scoring.score import Score, missing
from tasks.contract import NS_PER_S, settings_from_dict
from tasks.pursuit import PursuitSettings, chip_mm

LEAST_CONTACT_S = 4.0
LEAST_GAIN = 0.2  # below it a phase has no meaning
WINDOW_S = 4.0


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the movement on an even grid; `on` marks the samples in contact."""

    name: str
    start_s: float
    end_s: float
    frequencies_hz: tuple[float, ...]
    t_s: Floats
    finger_mm: Floats
    chip_mm: Floats
    on: np.ndarray[tuple[int], np.dtype[np.bool_]]
    pieces: list[Segment]

    @property
    def squares_mm2(self) -> Floats:
        """Squared distance of finger and chip, in contact."""
        return np.asarray(np.sum((self.finger_mm - self.chip_mm)[self.on] ** 2, axis=1))


def parts(block: Block) -> list[Part]:
    """Cut the block into its scored parts.

    The chip as shown: at the return of a flip it was where the picture drew it; in between it
    is taken to move evenly. Without frames the intended path is used.
    """
    settings = settings_from_dict(PursuitSettings, block.header.settings)
    events = events_from_array(block.events)
    started_ns = next((e.t_ns for e in events if e.kind == "start"), None)
    segments = contact_path(block.samples)
    if started_ns is None or not segments:
        return []
    begins = {e.trial: e.t_ns / NS_PER_S for e in events if e.kind == "part"}
    ends = {e.trial: e.t_ns / NS_PER_S for e in events if e.kind == "part_end"}
    found = []
    for number, end_s in ends.items():
        begin_s = begins[number]
        t_s = begin_s + np.arange(round((end_s - begin_s) * GRID_HZ)) / GRID_HZ
        on = np.zeros(len(t_s), dtype=bool)
        for segment_s, _ in segments:
            on |= (t_s >= segment_s[0]) & (t_s <= segment_s[-1])
        cut = [between(s, begin_s, end_s) for s in segments]
        found.append(
            Part(
                name=settings.parts[number].name,
                start_s=begin_s,
                end_s=end_s,
                frequencies_hz=tuple(f for _, f, _ in settings.parts[number].components),
                t_s=t_s,
                finger_mm=held(segments, t_s),
                chip_mm=_shown(block, settings, started_ns, t_s),
                on=on,
                pieces=[piece for c in cut if len(c[0]) for piece in split_gaps(c)],
            )
        )
    return found


def _shown(block: Block, settings: PursuitSettings, started_ns: int, t_s: Floats) -> Floats:
    started_s = started_ns / NS_PER_S
    if len(block.frames) < 2:
        return np.array([chip_mm(settings, t - started_s) for t in t_s.tolist()])
    drawn_s = block.frames["drawn_ns"] / NS_PER_S - started_s
    flip_s = block.frames["flip_ns"] / NS_PER_S
    near = (flip_s > t_s[0] - 1) & (flip_s < t_s[-1] + 1)
    drawn_mm = np.array([chip_mm(settings, d) for d in drawn_s[near].tolist()])
    return np.column_stack([np.interp(t_s, flip_s[near], drawn_mm[:, a]) for a in (0, 1)])


def response(part: Part) -> tuple[Floats, Floats, Floats]:
    """Gain and phase of the finger against the chip at each frequency of the movement.

    Least squares of a constant and the sines and cosines of all frequencies, over the samples
    in contact.

    Returns
    -------
    gain : ndarray
    phase_rad : ndarray
        Negative where the finger lags; within half a turn.
    power : ndarray
        Squared amplitude of the chip, mm².
    """
    t_s = part.t_s[part.on] - part.start_s
    angles = 2 * np.pi * np.outer(t_s, part.frequencies_hz)
    design = np.column_stack([np.ones(len(t_s)), np.cos(angles), np.sin(angles)])
    both = np.column_stack([part.finger_mm[part.on, 0], part.chip_mm[part.on, 0]])
    solved, *_ = np.linalg.lstsq(design, both, rcond=None)
    k = len(part.frequencies_hz)
    waves = solved[1 : k + 1] - 1j * solved[k + 1 :]
    ratio = waves[:, 0] / waves[:, 1]
    return np.abs(ratio), np.angle(ratio), np.abs(waves[:, 1]) ** 2


def delay_s(frequencies_hz: Floats, phase_rad: Floats) -> float:
    """Delay from phases: least squares of ``phase = -omega delay``, unwrapped upwards.

    Notes
    -----
    Each phase is unwrapped to be nearest to what the lower frequencies predict.
    """
    omega = 2 * np.pi * frequencies_hz
    delay = 0.0
    unwrapped: list[float] = []
    for index, phase in enumerate(phase_rad.tolist()):
        expected = -omega[index] * delay
        turns = round((expected - phase) / (2 * math.pi))
        unwrapped.append(phase + 2 * math.pi * turns)
        so_far = omega[: index + 1]
        delay = float(-np.dot(unwrapped, so_far) / np.dot(so_far, so_far))
    return delay


def score(block: Block, seed: int, pixel_mm: float) -> list[Score]:
    """Score a finished pursuit block."""
    found = [p for p in parts(block) if p.on.sum() >= LEAST_CONTACT_S * GRID_HZ]
    if not found:
        reason = f"under {LEAST_CONTACT_S:.0f} s of contact while the chip moved"
        names = ("tracking_rmse_mm", "delay_s", "gain", "jitter_across_mm", "contact_loss")
        return [missing(f"pursuit.{name}", reason) for name in names]
    whole = np.concatenate([p.on for p in found])
    return [
        _rmse(found, seed),
        *_delay_and_gain(found[-1]),
        _jitter(found, seed, pixel_mm, block.audit.report_rate_hz),
        Score("pursuit.contact_loss", float(1 - whole.mean()), len(found)),
    ]


def _rmse(found: list[Part], seed: int) -> Score:
    squares = np.concatenate([p.squares_mm2 for p in found])
    size = round(WINDOW_S * GRID_HZ)
    windows = [
        p.squares_mm2[i : i + size].mean()
        for p in found
        for i in range(0, max(len(p.squares_mm2) - size // 2, 1), size)
    ]
    interval = bootstrap(np.array(windows), root_mean, seed)
    return Score(
        "pursuit.tracking_rmse_mm", float(np.sqrt(squares.mean())), len(windows), *interval
    )


def _delay_and_gain(part: Part) -> list[Score]:
    gain, phase, power = response(part)
    n = len(gain)
    overall = Score("pursuit.gain", float(np.dot(gain, power) / power.sum()), n)
    usable = gain >= LEAST_GAIN
    if not usable.any():
        return [
            missing("pursuit.delay_s", "gain below 0.2: the finger did not follow", n),
            overall,
        ]
    f_hz = np.array(part.frequencies_hz)[usable]
    return [Score("pursuit.delay_s", delay_s(f_hz, phase[usable]), int(usable.sum())), overall]


def _jitter(found: list[Part], seed: int, pixel_mm: float, rate_hz: float | None) -> Score:
    pieces = [even(piece)[1][:, 1] for part in found for piece in part.pieces]
    return jitter_score("pursuit.jitter_across_mm", pieces, seed, pixel_mm, rate_hz)


def jitter_score(
    name: str, pieces_mm: list[Floats], seed: int, pixel_mm: float, rate_hz: float | None
) -> Score:
    """Band RMS with its interval, and a word where it is below the floor of the device."""
    value = band_rms_mm(pieces_mm)
    powers = band_powers_mm2(pieces_mm)
    if math.isnan(value):
        return missing(name, "under 4 s of contact without gaps", len(powers))
    if rate_hz is not None and rate_hz < 60 * 0.97:
        return missing(
            name, f"{rate_hz:.0f} reports a second; at least 60 are needed", len(powers)
        )
    reason = ""
    if rate_hz is not None and value < floor_mm(pixel_mm, rate_hz):
        reason = f"below the measurement floor of {floor_mm(pixel_mm, rate_hz):.3f} mm"
    return Score(name, value, len(powers), *bootstrap(powers, root_mean, seed), reason)
