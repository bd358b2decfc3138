"""How a made-up hand moves: reaches, tremor, wandering. Whole arrays at a time."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from battery.simulate.truth import REFERENCE_MM, REFERENCE_WIDTH_MM, Truth

Floats = npt.NDArray[np.float64]

MIN_REACH_S = 0.12
ENVELOPE_HZ = 40.0
N_ENVELOPE = 2**13  # repeats after 205 s, longer than any block
WANDER_HZ = 0.7
INTENTION_MM = 40.0


def minimum_jerk(share: npt.ArrayLike) -> Floats:
    """Share of the way covered after a share of the movement's time.

    Notes
    -----
    Flash T, Hogan N (1985). The coordination of arm movements: an experimentally confirmed
    mathematical model. J Neurosci 5:1688-1703.

    Examples
    --------
    >>> minimum_jerk([0.0, 0.5, 2.0]).tolist()
    [0.0, 0.5, 1.0]
    """
    u = np.clip(np.asarray(share, dtype=np.float64), 0.0, 1.0)
    return np.asarray(u**3 * (10 - 15 * u + 6 * u * u))


def reach_s(truth: Truth, distance_mm: float, width_mm: float) -> float:
    """Mean time of a reach: linear in the index of difficulty, at least 0.12 s.

    Notes
    -----
    Index of difficulty ``log2(distance / width + 1)``: MacKenzie IS (1989). A note on the
    information-theoretic basis for Fitts' law. J Mot Behav 21:323-330.
    """
    bits = math.log2(distance_mm / width_mm + 1)
    at_reference = math.log2(REFERENCE_MM / REFERENCE_WIDTH_MM + 1)
    whole_s = truth.movement_s + truth.movement_s_per_bit * (bits - at_reference)
    return max(MIN_REACH_S, whole_s)


class Tremor:
    """The tremor of one block: a displacement for any moment, in any order.

    A pure sine, or a narrow band: a sine under a slow complex envelope with a Gaussian
    spectrum, so that size and phase wander as those of filtered noise do.
    """

    def __init__(self, truth: Truth, random: np.random.Generator) -> None:
        self._omega = 2 * math.pi * truth.tremor_hz
        self._size_mm = truth.tremor_mm
        if truth.tremor_direction_deg is None:
            self._axes = np.eye(2)
        else:
            angle = math.radians(truth.tremor_direction_deg)
            self._axes = np.array([[math.cos(angle), math.sin(angle)]])
        self._phases = random.uniform(0, 2 * math.pi, size=len(self._axes))
        self._envelopes = (
            [_envelope(truth.tremor_bandwidth_hz, random) for _ in self._axes]
            if truth.tremor_bandwidth_hz > 0
            else []
        )

    def at(self, t_s: Floats) -> Floats:
        """Displacement at each moment, shape (n, 2), mm; before any growth."""
        if not self._size_mm:
            return np.zeros((len(t_s), 2))
        angles = self._omega * t_s[:, None] + self._phases
        if not self._envelopes:
            return np.asarray(self._size_mm * np.sin(angles) @ self._axes)
        slow = np.column_stack([_at(envelope, t_s) for envelope in self._envelopes])
        return np.asarray(self._size_mm * np.imag(slow * np.exp(1j * angles)) @ self._axes)


def _envelope(bandwidth_hz: float, random: np.random.Generator) -> npt.NDArray[np.complex128]:
    """Complex Gaussian noise with a Gaussian spectrum about 0 and a mean square of 1."""
    f_hz = np.fft.fftfreq(N_ENVELOPE, 1 / ENVELOPE_HZ)
    noise = random.normal(size=N_ENVELOPE) + 1j * random.normal(size=N_ENVELOPE)
    wave = np.fft.ifft(noise * np.exp(-((f_hz / bandwidth_hz) ** 2) / 4))
    return np.asarray(wave / np.sqrt(np.mean(np.abs(wave) ** 2)))


def _at(wave: npt.NDArray[np.complex128], t_s: Floats) -> npt.NDArray[np.complex128]:
    """Value of a slow wave at each moment, linear between its points; it repeats itself."""
    index, share = np.divmod(t_s * ENVELOPE_HZ, 1.0)
    here = index.astype(np.int64) % N_ENVELOPE
    return np.asarray(wave[here] + share * (wave[(here + 1) % N_ENVELOPE] - wave[here]))


class Wander:
    """Slow wandering on both axes, next to nothing of it above 3 Hz."""

    def __init__(self, rms_mm: float, random: np.random.Generator) -> None:
        self._rms_mm = rms_mm
        if rms_mm:
            self._path = _envelope(WANDER_HZ, random)

    def at(self, t_s: Floats) -> Floats:
        """Displacement at each moment, shape (n, 2), mm."""
        if not self._rms_mm:
            return np.zeros((len(t_s), 2))
        place = _at(self._path, t_s)
        return self._rms_mm * math.sqrt(2) * np.column_stack([place.real, place.imag])


def intention_growth(
    truth: Truth, place_mm: Floats, goals_mm: Sequence[tuple[float, float]]
) -> Floats:
    """Factor on the tremor near the nearest goal, shape (n,): linear within 40 mm."""
    distances_mm = [np.hypot(*(place_mm - goal).T) for goal in goals_mm]
    near = np.clip(1 - np.min(distances_mm, axis=0) / INTENTION_MM, 0.0, 1.0)
    return np.asarray(1 + truth.intention * near)
