"""Quality of a record: what may make a block less than it looks. Flags stand on it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from battery.recording import KIND_CODES, Block
from battery.scoring.score import LEFT_ALONE, Score, missing
from battery.scoring.signal.path import MAX_GAP_S, REST_MM, Floats, queued
from battery.scoring.stats import summary
from tasks.contract import NS_PER_S

MIN_TRIALS = 12
MIN_INTERVALS = 20
MAX_PAUSE_S = 20.0

_HELD = [KIND_CODES["down"], KIND_CODES["move"]]
_STILL_HELD = [KIND_CODES["move"], KIND_CODES["up"]]

Span = tuple[float, float]


def scores(block: Block, values: Floats, spans: Sequence[Span], what: str) -> list[Score]:
    """Score the quality of a block.

    Parameters
    ----------
    values : ndarray, shape (n,)
        Of the trials in order, larger is worse; nan is left out.
    spans : sequence of (start_s, end_s)
        When the trials were.
    what : str
        What a trial is called, in the plural.
    """
    task = block.header.task
    return [
        _late_change(f"{task}.late_change_sd", values[~np.isnan(values)], what),
        _extra_contacts(f"{task}.extra_contact_share", block, spans, what),
        _gaps(f"{task}.gap_share", block),
        _queued(f"{task}.queued_share", block),
    ]


def late_change_sd(values: Floats) -> float:
    """Mean of the last third less that of the first, in standard deviations of all.

    nan where all are equal.

    Examples
    --------
    >>> round(late_change_sd(np.array([1.0, 1.0, 2.0, 2.0, 3.0, 3.0])), 3)
    2.236
    """
    third = len(values) // 3
    spread = float(values.std(ddof=1))
    change = float(values[-third:].mean() - values[:third].mean())
    return change / spread if spread > 0 else math.nan


def _late_change(name: str, values: Floats, what: str) -> Score:
    n = len(values)
    if n < MIN_TRIALS:
        return missing(name, summary.few(n, MIN_TRIALS, what), n)
    value = late_change_sd(values)
    if math.isnan(value):
        return missing(name, f"all {n} {what} are alike", n)
    return Score(name, value, n)


def _extra_contacts(name: str, block: Block, spans: Sequence[Span], what: str) -> Score:
    at_s = block.events["t_ns"][block.events["kind"] == "extra"] / NS_PER_S
    begins_s, ends_s = np.array(spans, dtype=np.float64).reshape(-1, 2).T
    touched = np.searchsorted(at_s, ends_s, "right") > np.searchsorted(at_s, begins_s)
    n, count = len(spans), int(touched.sum())
    return summary.share_of(name, count, n, least=1, what=what)


def _gaps(name: str, block: Block) -> Score:
    samples = block.samples
    n = n_gaps = 0
    for pointer in np.unique(samples["pointer"]):
        mine = samples[samples["pointer"] == pointer]
        kind = mine["kind"]
        held = np.isin(kind[:-1], _HELD) & np.isin(kind[1:], _STILL_HELD)
        late = np.diff(mine["t_ns"]) > MAX_GAP_S * NS_PER_S
        moved = np.hypot(np.diff(mine["x_mm"]), np.diff(mine["y_mm"])) > REST_MM
        n += int(held.sum())
        n_gaps += int((held & late & moved).sum())
    if n < MIN_INTERVALS:
        return missing(name, summary.few(n, MIN_INTERVALS, "intervals between reports"), n)
    return _known(name, n_gaps / n, n)


def _queued(name: str, block: Block) -> Score:
    samples = block.samples
    n = n_queued = 0
    for pointer in np.unique(samples["pointer"]):
        mine = samples[samples["pointer"] == pointer]
        held = np.isin(mine["kind"][:-1], _HELD) & (mine["kind"][1:] == KIND_CODES["move"])
        together = queued(mine["t_ns"] / NS_PER_S) if len(mine) > 1 else held
        n += int(held.sum())
        n_queued += int((held & together).sum())
    if n < MIN_INTERVALS:
        return missing(name, summary.few(n, MIN_INTERVALS, "intervals between reports"), n)
    return _known(name, n_queued / n, n)


def _known(name: str, value: float, n: int) -> Score:
    """Score what is counted in the record itself: nothing about it is by chance."""
    return Score(name, value, n, value, value)


def longest_pause_s(block: Block) -> float:
    """Longest time without any report and any contact, from the first press to the end, s.

    0 where nothing was ever pressed.
    """
    samples = block.samples
    kind = samples["kind"]
    presses = np.flatnonzero(kind == KIND_CODES["down"])
    if len(presses) == 0:
        return 0.0
    steps = (kind == KIND_CODES["down"]).astype(int) - (kind == KIND_CODES["up"]).astype(int)
    in_contact = np.cumsum(steps) > 0
    until_ns = np.append(samples["t_ns"][1:], block.ended_ns)
    pauses_ns = np.where(in_contact, 0, until_ns - samples["t_ns"])[presses[0] :]
    return float(max(0, pauses_ns.max()) / NS_PER_S)


def why_broken_off(block: Block) -> str:
    """Say that a block was left alone for too long; empty if it was not."""
    pause_s = longest_pause_s(block)
    if pause_s <= MAX_PAUSE_S:
        return ""
    return f"{LEFT_ALONE} for {pause_s:.0f} s; at most {MAX_PAUSE_S:.0f}"
