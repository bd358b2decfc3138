"""What is drawn of a block: end points, paths, places over time, and the spectrum across."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from scipy.signal import detrend, welch

from battery.errors import BatteryError
from battery.recording import Block, Hand
from battery.report.judged import Page, wanted_blocks
from battery.report.page_rows import Floats, Trace
from battery.scoring.pursuit.parts import parts
from battery.scoring.signal.path import GRID_HZ, between, contact_path, even
from battery.scoring.signal.spectrum import MIN_SEGMENT_S, WINDOW_S
from battery.scoring.slide.passes import passes
from battery.scoring.tapping.reading import taps
from battery.store.base import UNREADABLE
from tasks.contract import NS_PER_S

N_PASSES = 4  # two to either side; more lie on top of each other
SHOWN_S = 12.0
MAX_HZ = 15.0


def traces_of(
    page: Page,
    load: Callable[[str], Block],
    note: Callable[[str, str], None] = lambda _where, _why: None,
) -> dict[tuple[str, Hand], tuple[Trace | None, Trace | None]]:
    """Load the blocks a page wants drawn and reduce them to traces.

    Parameters
    ----------
    load : callable
        Returns a whole block by its identifier, as `Records.load` does.
    note : callable
        Told which block could not be drawn, and why.
    """
    found: dict[tuple[str, Hand], tuple[Trace | None, Trace | None]] = {}
    for (task, hand), (first, latest) in wanted_blocks(page).items():
        visits = {
            s.reading.block_id: s.reading.visit
            for name, line in page.lines.items()
            if name[0].startswith(f"{task}.") and name[1] == hand
            for s in line.shown
        }
        found[task, hand] = (
            _drawn(first, visits, load, note) if first else None,
            _drawn(latest, visits, load, note),
        )
    return found


def _drawn(
    block_id: str,
    visits: Mapping[str, int],
    load: Callable[[str], Block],
    note: Callable[[str, str], None],
) -> Trace | None:
    """Draw a block; one that cannot be drawn is noted, and the page goes on without it."""
    try:
        return trace_of(load(block_id), visits[block_id])
    except (BatteryError, *UNREADABLE) as error:
        note(f"block {block_id}", f"it is not drawn: {error}")
        return None


def trace_of(block: Block, visit: int) -> Trace:
    """Reduce a block to what is drawn of it."""
    return REDUCED[block.header.task](block, visit)


def _tapping(block: Block, visit: int) -> Trace:
    ends = [
        (t.x_mm - t.target_x_mm, t.y_mm - t.target_y_mm)
        for t in taps(block)
        if not math.isnan(t.x_mm)
    ]
    return Trace(
        visit,
        block.header.block_id,
        paths_mm=(np.array(ends, dtype=float).reshape(-1, 2),),
        target_r_mm=float(block.header.settings["target_r_mm"]),
    )


def _slide(block: Block, visit: int) -> Trace:
    found = passes(block)
    level = np.array([0.0, float(block.header.settings["chip_y_mm"])])
    shown = [piece - level for p in found[:N_PASSES] for piece in p.pieces_mm]
    f_hz, size = spectrum([piece[:, 1] for p in found for piece in p.pieces_mm])
    return Trace(
        visit,
        block.header.block_id,
        paths_mm=tuple(piece[::2] for piece in shown),
        spectrum_hz=f_hz,
        spectrum_mm=size,
    )


def _pursuit(block: Block, visit: int) -> Trace:
    found = parts(block)
    if not found:
        return Trace(visit, block.header.block_id)
    first = found[0]
    keep = slice(0, round(SHOWN_S * GRID_HZ), 4)
    finger = np.where(first.on, first.finger_mm[:, 0], np.nan)
    f_hz, size = spectrum([even(piece)[1][:, 1] for part in found for piece in part.pieces])
    return Trace(
        visit,
        block.header.block_id,
        t_s=(first.t_s - first.start_s)[keep],
        finger_mm=finger[keep],
        chip_mm=first.chip_mm[keep, 0],
        spectrum_hz=f_hz,
        spectrum_mm=size,
    )


def _trail(block: Block, visit: int) -> Trace:
    settings = block.header.settings
    begun = block.events["t_ns"][block.events["kind"] == "grab"]
    done = block.events["t_ns"][block.events["kind"] == "form_done"]
    ended_ns = int(done[0]) if len(done) else block.ended_ns
    begun_ns = int(begun[0]) if len(begun) else 0
    segments = [
        between(s, begun_ns / NS_PER_S, ended_ns / NS_PER_S)[1]
        for s in contact_path(block.samples)
    ]
    return Trace(
        visit,
        block.header.block_id,
        paths_mm=tuple(path[::2] for path in segments if len(path) > 1),
        target_r_mm=float(settings["node_r_mm"]),
        nodes_mm=np.array(settings["forms"][0]["nodes_mm"], dtype=float),
    )


def spectrum(pieces_mm: Sequence[Floats]) -> tuple[Floats, Floats]:
    """Amplitude spectrum of one coordinate, averaged over pieces without gaps.

    Parameters
    ----------
    pieces_mm : sequence of ndarray, shape (n,)
        On the even grid of the scores.

    Returns
    -------
    f_hz, amplitude : ndarray
        Up to 15 Hz; amplitude in mm per square root of a hertz. Empty without a piece of one
        window's length.

    Notes
    -----
    Welch (1967), IEEE Trans Audio Electroacoust 15:70-73: Hann windows of 4 s, half
    overlapping, each freed of its linear trend, as for the jitter measures; a shorter piece of
    at least 2 s is left out of the picture, as its frequencies are others.
    """
    size = round(WINDOW_S * GRID_HZ)
    if not any(len(piece) >= size for piece in pieces_mm):
        size = round(MIN_SEGMENT_S * GRID_HZ)
    total, n_windows = np.zeros(size // 2 + 1), 0
    f_hz = np.fft.rfftfreq(size, 1 / GRID_HZ)
    for piece in pieces_mm:
        if len(piece) < size:
            continue
        count = 1 + (len(piece) - size) // (size // 2)
        density = welch(piece, GRID_HZ, window="hann", nperseg=size, detrend=_level)[1]
        total, n_windows = total + count * density, n_windows + count
    if n_windows == 0:
        return np.empty(0), np.empty(0)
    shown = f_hz <= MAX_HZ
    return np.asarray(f_hz[shown]), np.asarray(np.sqrt(total / n_windows)[shown])


def _level(windows: Floats) -> Floats:
    """Free windows of their linear trends."""
    return np.asarray(detrend(windows, axis=-1))


REDUCED: dict[str, Callable[[Block, int], Trace]] = {
    "tapping": _tapping,
    "slide": _slide,
    "pursuit": _pursuit,
    "trail": _trail,
}
