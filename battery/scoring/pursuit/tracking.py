"""How one signal follows another: gain, phase, delay, correlation, coherence."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.signal import find_peaks
from scipy.signal.windows import hann

from battery.scoring.signal.filters import low_pass
from battery.scoring.signal.path import GRID_HZ, Flags, Floats

MIN_GAIN = 0.2  # below it a phase has no meaning
MIN_FOLLOWING = 10.0  # chance gives about 1, a finger that follows some hundreds
MAX_HALF_S = 0.2  # a delay known less well than this is none
LAGS_S = (-0.3, 1.0)
CATCH_UP_HZ = 8.0
CATCH_UP_MM_S = 20.0
COHERENCE_S = 8.0
MIN_SEGMENTS = 9
MIN_COHERENCE_HZ = 0.1
PIECE_S = 4.0
MIN_PIECES = 3
SMALLEST = 1e-14  # of the largest, below which a sum of squares is nothing


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """What a finger makes of the frequencies of a chip.

    Parameters
    ----------
    frequencies_hz : ndarray, shape (k,)
        From the lowest.
    gain, phase_rad, power_mm2 : ndarray, shape (k,)
        Phase negative where the finger lags, unwrapped upwards from the lowest frequency, nan
        where the gain is below 0.2. Power is the chip's squared amplitude.
    delay_s : float
        nan where no phase has a meaning.
    transfer : ndarray of complex, shape (k,)
        Gain and phase in one, as they were found.
    """

    frequencies_hz: Floats
    gain: Floats
    phase_rad: Floats
    power_mm2: Floats
    delay_s: float
    transfer: npt.NDArray[np.complex128]

    @property
    def overall_gain(self) -> float:
        """Gain over all frequencies, weighted by the chip's power."""
        return float(np.dot(self.gain, self.power_mm2) / self.power_mm2.sum())


def delay_s(frequencies_hz: Floats, phase_rad: Floats) -> tuple[float, Floats]:
    """Delay from phases: least squares of ``phase = -omega delay``, unwrapped upwards.

    Parameters
    ----------
    frequencies_hz : ndarray, shape (k,)
        Increasing.
    phase_rad : ndarray, shape (k,)
        Of any whole number of turns.

    Returns
    -------
    delay_s : float
        ``-sum(phase omega) / sum(omega**2)``.
    phase_rad : ndarray, shape (k,)
        Each unwrapped to be nearest to what the lower frequencies predict; the lowest within
        half a turn, so that a delay beyond half its period is not seen as one.
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
    return delay, np.array(unwrapped)


class Sines:
    """Least squares of a slow drift and the sines and cosines of a chip's frequencies.

    Held as sums over pieces of 4 s, so that leaving pieces out costs next to nothing.

    Parameters
    ----------
    t_s : ndarray, shape (n,)
        From the start of the scored time.
    both_mm : ndarray, shape (n, 2)
        Finger and chip along the path.
    on : ndarray of bool, shape (n,)
        In contact; the rest is left out.
    frequencies_hz : ndarray, shape (k,)
    """

    def __init__(self, t_s: Floats, both_mm: Floats, on: Flags, frequencies_hz: Floats) -> None:
        self.frequencies_hz = frequencies_hz
        u = 2 * (t_s - t_s[0]) / max(t_s[-1] - t_s[0], 1e-9) - 1
        angles = 2 * np.pi * np.outer(t_s, frequencies_hz)
        drift = np.column_stack([np.ones(len(t_s)), u, u * u])
        self._design = np.hstack([np.cos(angles), np.sin(angles), drift])
        self._both = both_mm
        self._on = on
        whole = bool(on.all())
        kept = self._design if whole else np.where(on[:, None], self._design, 0.0)
        seen = both_mm if whole else np.where(on[:, None], both_mm, 0.0)
        size = round(PIECE_S * GRID_HZ)
        begins = range(0, max(len(t_s) - size // 2, 1), size)
        ends = [*[b for b in begins][1:], len(t_s)]
        cuts = [slice(b, e) for b, e in zip(begins, ends, strict=True)]
        self._squares = np.stack([kept[c].T @ kept[c] for c in cuts])
        self._products = np.stack([kept[c].T @ seen[c] for c in cuts])

    def solve(self) -> Response:
        """Solve for the response, of all pieces."""
        return self._response(self._solved)

    def deleted(self) -> list[Response]:
        """Responses with one piece after another left out; none where there are under 3."""
        if len(self._squares) < MIN_PIECES:
            return []
        squares = self._squares.sum(axis=0) - self._squares
        products = self._products.sum(axis=0) - self._products
        return [self._response(one) for one in _least_squares(squares) @ products]

    @cached_property
    def _solved(self) -> Floats:
        """Coefficients of finger and chip, shape (n_columns, 2)."""
        inverse = _least_squares(self._squares.sum(axis=0))
        return np.asarray(inverse @ self._products.sum(axis=0))

    def remnant_mm(self) -> Floats:
        """Finger less everything fitted, shape (n,); nan out of contact."""
        fitted = self._design @ self._solved[:, 0]
        return np.where(self._on, self._both[:, 0] - fitted, np.nan)

    def following_mm(self) -> Floats:
        """Return the finger as far as it follows: its sines and its mean, shape (n,)."""
        waves = 2 * len(self.frequencies_hz)
        following = self._design[:, :waves] @ self._solved[:waves, 0]
        rest = np.mean(self._both[self._on, 0] - following[self._on])
        return np.asarray(following + rest)

    def _response(self, solved: Floats) -> Response:
        k = len(self.frequencies_hz)
        waves = solved[:k] - 1j * solved[k : 2 * k]
        ratio = waves[:, 0] / waves[:, 1]
        gain, phase = np.abs(ratio), np.angle(ratio)
        usable = gain >= MIN_GAIN
        unwrapped = np.full(k, np.nan)
        delay = math.nan
        if usable.any():
            delay, unwrapped[usable] = delay_s(self.frequencies_hz[usable], phase[usable])
        power = np.abs(waves[:, 1]) ** 2
        transfer = np.asarray(ratio, dtype=np.complex128)
        return Response(self.frequencies_hz, gain, unwrapped, power, delay, transfer)


def _least_squares(squares: Floats) -> Floats:
    """Inverse of sums of squares, shape (..., k, k); the smallest where they do not suffice."""
    return np.asarray(np.linalg.pinv(squares, rcond=SMALLEST, hermitian=True))


def following(whole: Response, deleted: Sequence[Response]) -> float:
    """Power with which a finger follows over the power that its unsteadiness alone would give.

    Parameters
    ----------
    whole : Response
    deleted : sequence of Response
        With one piece of time after another left out.

    Returns
    -------
    float
        About 1 for a finger that moves without regard to the chip; nan for fewer than three
        pieces. The unsteadiness is that of the jackknife.
    """
    n = len(deleted)
    if n < MIN_PIECES:
        return math.nan
    each = np.stack([one.transfer for one in deleted])
    square = (n - 1) / n * np.sum(np.abs(each - each.mean(axis=0)) ** 2, axis=0)
    error = float(np.dot(whole.power_mm2, square))
    found = float(np.dot(whole.power_mm2, np.abs(whole.transfer) ** 2))
    return found / error if error > 0 else math.inf


def velocity_gain(finger_mm_s: Floats, chip_mm_s: Floats, usable: Flags) -> float:
    """Slope of the finger's velocity over the chip's, through zero.

    Parameters
    ----------
    finger_mm_s, chip_mm_s : ndarray, shape (n,)
        The chip's taken `delay` earlier: unshifted, the slope is smaller by the cosine of the
        phase.
    usable : ndarray of bool, shape (n,)
    """
    chip, finger = chip_mm_s[usable], finger_mm_s[usable]
    return float(np.dot(chip, finger) / np.dot(chip, chip))


def lag_of_best_correlation_s(
    finger_mm: Floats, on: Flags, chip_mm: Floats, rate_hz: float = GRID_HZ
) -> tuple[float, Floats]:
    """Lag at which finger and chip correlate best, with a parabola through the peak.

    Parameters
    ----------
    finger_mm : ndarray, shape (n,)
    on : ndarray of bool, shape (n,)
    chip_mm : ndarray, shape (n + before + after,)
        On the same grid, begun 1 s earlier and ended 0.3 s later.

    Returns
    -------
    lag_s : float
        From -0.3 to 1 s; nan where the best is at an end of that range or nothing moves. Of a
        single sine it is ambiguous by whole periods.
    deleted_s : ndarray, shape (n_pieces,)
        The same with one piece of 4 s after another left out.
    """
    after, before = round(-LAGS_S[0] * rate_hz), round(LAGS_S[1] * rate_hz)
    size = round(PIECE_S * rate_hz)
    begins = range(0, max(len(finger_mm) - size // 2, 1), size)
    ends = [*[b for b in begins][1:], len(finger_mm)]
    level_mm = finger_mm[on].mean() if on.any() else 0.0
    rows = []
    for begin, end in zip(begins, ends, strict=True):
        seen = on[begin:end].astype(float)
        finger = np.where(on[begin:end], finger_mm[begin:end] - level_mm, 0.0)
        chip = chip_mm[begin : end + before + after]
        pairs = ((chip, seen), (chip**2, seen), (chip, finger))
        sums = [np.correlate(moved, held, "valid") for moved, held in pairs]
        own = [np.full(len(sums[0]), v) for v in (seen.sum(), finger.sum(), finger @ finger)]
        rows.append(np.stack([*sums, *own]))
    pieces = np.stack(rows)
    whole = pieces.sum(axis=0)
    lags = [_best_lag_s(left, before, rate_hz) for left in (whole, *(whole - pieces))]
    return lags[0], np.array(lags[1:])


def _best_lag_s(sums: Floats, before: int, rate_hz: float) -> float:
    """Lag of the best correlation, from sums over moments for every lag, shape (6, n_lags)."""
    chip, chip_squares, products, n_on, finger, finger_squares = sums
    if n_on[0] == 0:
        return math.nan
    spread = (chip_squares - chip**2 / n_on) * (finger_squares - finger**2 / n_on)
    if not np.all(spread > 1e-12):
        return math.nan
    score = (products - chip * finger / n_on) / np.sqrt(spread)  # index i: before - i steps
    top = int(np.argmax(score))
    if top in (0, len(score) - 1):
        return math.nan
    left, middle, right = score[top - 1 : top + 2].tolist()
    shift = 0.5 * (left - right) / (left - 2 * middle + right)
    return float((before - top - shift) / rate_hz)


def coherence_at(
    finger_mm: Floats, chip_mm: Floats, response: Response, rate_hz: float = GRID_HZ
) -> tuple[float, int]:
    """Magnitude-squared coherence at the chip's frequencies, and the number of segments.

    Returns
    -------
    value : float
        Mean over the frequencies from 0.1 Hz on, weighted by the chip's power. With one
        segment it would be 1 whatever the signals: nan for fewer than 9.
    n_segments : int

    References
    ----------
    Halliday DM et al. (1995). A framework for the analysis of mixed time series/point process
    data. Prog Biophys Mol Biol 64:237-278. The same as `scipy.signal.coherence`, but at the
    chip's frequencies alone (tests/literature/test_libraries.py).
    """
    size = round(COHERENCE_S * rate_hz)
    n = max(0, (len(finger_mm) - size) // (size // 2) + 1)
    chosen = response.frequencies_hz >= MIN_COHERENCE_HZ
    if n < MIN_SEGMENTS or not chosen.any():
        return math.nan, n
    starts = np.arange(n) * (size // 2)
    cut = np.stack([finger_mm, chip_mm])[:, starts[:, None] + np.arange(size)]
    cut = (cut - cut.mean(axis=-1, keepdims=True)) * hann(size, sym=False)
    at = np.round(response.frequencies_hz[chosen] * size / rate_hz).astype(int)
    finger, chip = np.fft.rfft(cut, axis=-1)[..., at]
    crossed = np.abs(np.sum(finger.conj() * chip, axis=0)) ** 2
    value = crossed / (np.abs(finger) ** 2).sum(axis=0) / (np.abs(chip) ** 2).sum(axis=0)
    return float(np.average(value, weights=response.power_mm2[chosen])), n


def n_catch_ups(relative_mm_s: Floats, rate_hz: float = GRID_HZ) -> int:
    """Count the peaks of the speed of finger relative to chip in one piece without gaps.

    Parameters
    ----------
    relative_mm_s : ndarray, shape (n,)
        Velocity of the finger less that of the chip.

    Notes
    -----
    Low-passed at 8 Hz; a peak rises 20 mm/s above its surroundings. Tremor adds peaks: 5 Hz of
    0.8 mm swings by 25 mm/s.
    """
    speed = np.abs(low_pass(relative_mm_s, CATCH_UP_HZ, rate_hz))
    return len(find_peaks(speed, prominence=CATCH_UP_MM_S)[0])
