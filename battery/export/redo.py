"""The main measure of each task, redone from the raw rows of an export and nothing else.

    python redo.py STUDY

A check by other means: nothing of the program is imported, only numpy, scipy and pyarrow, and
this file may be copied. It prints each exported value beside the one that it finds. The first
part holds what the two tasks with a path share: the finger on an even grid of 120 Hz.
"""

from __future__ import annotations

import json
import math
import sys
from collections import Counter
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pyarrow.compute as pc
import pyarrow.parquet as pq
from scipy.interpolate import CubicSpline
from scipy.signal import butter, detrend, resample_poly, sosfiltfilt
from scipy.signal.windows import dpss, hann
from scipy.special import chdtri

HZ = 120.0
LOW_HZ, HIGH_HZ = 2.0, 14.0
PADDED = 1024
F_HZ = np.fft.rfftfreq(PADDED, 1 / HZ)
BAND = (F_HZ >= LOW_HZ) & (F_HZ <= HIGH_HZ)
Array = Any


def contacts(block: Any, takes: set[str]) -> list[tuple[Array, Array]]:
    """Give the reports of each hold of the pointer that the task took: s and mm."""
    s, found = block.samples, []
    for event in block.events:
        same = (s["t_ns"] == event["t_ns"]) & (s["x_mm"] == event["x_mm"])
        downs = np.flatnonzero(same & (s["y_mm"] == event["y_mm"]) & (s["kind"] == "down"))
        if event["kind"] not in takes or not len(downs):
            continue
        own = np.flatnonzero(s["pointer"] == s["pointer"][downs[0]])
        own = own[own >= downs[0]]
        lifts = own[s["kind"][own] == "up"]
        own = own[own <= lifts[0]] if len(lifts) else own
        t_s = s["t_ns"][own] / 1e9
        steps_s = np.diff(t_s)
        usual_s = np.median(steps_s[steps_s > 0]) if (steps_s > 0).any() else 0.0
        last = np.append(steps_s > max(usual_s / 4, 0.0004), True)  # of reports read in a burst
        found.append((t_s[last], np.column_stack([s["x_mm"][own], s["y_mm"][own]])[last]))
    return found


def even_pieces(
    t_s: Array, path_mm: Array, low_s: float, high_s: float, origin_s: float
) -> list[tuple[Array, Array]]:
    """Bring a hold to the grid, cut at gaps of over 50 ms; a gap over a rest is filled."""
    inside = slice(*np.searchsorted(t_s, [low_s, high_s + 1e-9]))
    t_s, path_mm = t_s[inside], path_mm[inside]
    steps_s = np.diff(t_s)
    usual_s = max(float(np.median(steps_s)), 0.00025) if len(steps_s) else 1.0
    for at in np.flatnonzero(steps_s > 0.05)[::-1]:
        if math.dist(path_mm[at], path_mm[at + 1]) <= 0.3:
            new_s = np.arange(t_s[at] + usual_s, t_s[at + 1] - 0.5 * usual_s, usual_s)
            t_s = np.insert(t_s, at + 1, new_s)
            path_mm = np.insert(path_mm, at + 1, np.tile(path_mm[at], (len(new_s), 1)), axis=0)
    cuts = np.flatnonzero(np.diff(t_s) > 0.05) + 1
    found = []
    for own_s, own_mm in zip(np.split(t_s, cuts), np.split(path_mm, cuts), strict=True):
        if len(own_s) < 4:
            continue
        first = math.ceil((own_s[0] - origin_s) * HZ - 1e-6)
        last = math.floor((own_s[-1] - origin_s) * HZ + 1e-6)
        if last < first:
            continue
        finer = max(1, round(min(1 / np.median(np.diff(own_s)), 4000) / HZ))
        fine = np.arange(first * finer, last * finer + 1)
        if finer == 1:
            even_mm = CubicSpline(own_s, own_mm, axis=0)(origin_s + fine / HZ)
        else:
            fine_s = origin_s + fine / (HZ * finer)
            even_mm = np.column_stack([np.interp(fine_s, own_s, axis) for axis in own_mm.T])
            if last - first + 1 >= 4:
                even_mm = resample_poly(even_mm, 1, finer, axis=0, padtype="line")
            else:
                even_mm = even_mm[::finer]
        found.append((origin_s + np.arange(first, last + 1) / HZ, even_mm))
    return found


# The tasks


def tapping(block: Any) -> float:
    """Mean distance of first contact and target; no answer counts with the way from home."""
    home_mm = (block.settings["home_x_mm"], block.settings["home_y_mm"])
    errors_mm, ways_mm, ends_s, target = [], [], [0.0], None
    for event in block.events:
        place = (event["x_mm"], event["y_mm"])
        if event["kind"] == "cue":
            target = place
        elif target is not None and event["kind"] in ("touch", "no_answer", "end"):
            if event["kind"] != "end":
                ways_mm.append(math.dist(home_mm, target))
                touched = event["kind"] == "touch"
                errors_mm.append(math.dist(place, target) if touched else ways_mm[-1])
                ends_s.append(event["t_ns"] / 1e9)
            target = None
    ends_s.append(block.duration_s)
    idle_s = 2 * block.settings["answer_limit_s"]
    n_idle = sum(int((b - a) / idle_s) for a, b in pairwise(ends_s))
    errors_mm += [float(np.mean(ways_mm))] * n_idle if ways_mm else []
    return float(np.mean(errors_mm)) if len(errors_mm) >= 5 else math.nan


def trail(block: Any) -> float:
    """Time for which the trails were shown over the links made in them."""
    spent_ns = n_links = 0
    shown_ns = end_ns = -1
    begun = done = False
    for event in block.events:
        if shown_ns >= 0 and not done:
            end_ns = event["t_ns"]
        if event["kind"] == "form":
            spent_ns += end_ns - shown_ns
            shown_ns = end_ns = event["t_ns"]
            begun = done = False
        elif event["kind"] == "release":
            begun = True
        elif event["kind"] == "form_done":
            done = True
        elif event["kind"] == "capture" and begun:
            n_links += 1
    spent_ns += end_ns - shown_ns
    return spent_ns / 1e9 / n_links if n_links else math.nan


def pursuit(block: Any) -> float:
    """Root mean square distance of finger and chip, at most that of a finger at rest."""
    times: dict[str, dict[int, float]] = {"part": {}, "part_end": {}}
    for event in block.events:
        times.get(event["kind"], {})[event["trial"]] = event["t_ns"] / 1e9
    started = [e["t_ns"] / 1e9 for e in block.events if e["kind"] == "start"]
    holds = contacts(block, {"start", "regained"})
    squares_mm2, judged = [], []
    for number, end_s in times["part_end"].items() if started and holds else ():
        begin_s = times["part"][number]
        t_s = begin_s + np.arange(round((end_s - begin_s) * HZ)) / HZ
        finger_mm, touching = np.full((len(t_s), 2), np.nan), np.zeros(len(t_s), dtype=bool)
        for hold_s, hold_mm in holds:
            touching |= (t_s >= hold_s[0]) & (t_s <= hold_s[-1])
            near = (begin_s - 0.05, end_s + 0.05, begin_s)
            for grid_s, even_mm in even_pieces(hold_s, hold_mm, *near):
                at = np.rint((grid_s - begin_s) * HZ).astype(int)
                kept = (at >= 0) & (at < len(t_s))
                finger_mm[at[kept]] = even_mm[kept]
        chip_mm = _chip(block, started[0], t_s)
        resting_mm2 = np.mean(chip_mm**2)
        across_mm = np.full(len(t_s), block.settings["y_mm"])
        off_mm = finger_mm - np.column_stack([chip_mm, across_mm])
        squares = np.minimum((off_mm**2).sum(axis=1), resting_mm2)
        squares[~touching] = resting_mm2
        squares_mm2.append(squares)
        judged.append(~np.isnan(finger_mm[:, 0]) | ~touching)
    if not squares_mm2 or np.concatenate(judged).mean() < 0.5:
        return math.nan
    return math.sqrt(np.concatenate(squares_mm2)[np.concatenate(judged)].mean())


def _chip(block: Any, started_s: float, t_s: Array) -> Array:
    """Place of the chip as it was shown: between flips it moves evenly."""
    frames = block.frames
    moments_s = frames["drawn_ns"] / 1e9 if len(frames["flip_ns"]) > 1 else t_s
    place_mm, begin_s = np.zeros(len(moments_s)), started_s
    for part in block.settings["parts"]:
        whole_s = part["lead_s"] + part["duration_s"] + part["tail_s"]
        inside = (moments_s >= begin_s) & (moments_s < begin_s + whole_s)
        left_s = moments_s[inside] - begin_s
        swing_mm = sum(
            a_mm * np.sin(2 * np.pi * f_hz * (left_s - part["lead_s"]) + phase)
            for a_mm, f_hz, phase in part["components"]
        )
        size = np.ones(len(left_s))
        for span_s, since_s in ((part["lead_s"], left_s), (part["tail_s"], whole_s - left_s)):
            u = np.clip(since_s / span_s, 0, 1) if span_s > 0 else np.ones(len(left_s))
            size = np.minimum(size, u * u * (3 - 2 * u))
        place_mm[inside] = block.settings.get("direction", 1.0) * swing_mm * size
        begin_s += whole_s
    if len(frames["flip_ns"]) < 2:
        return place_mm
    return np.interp(t_s, frames["flip_ns"] / 1e9, place_mm)


def slide(block: Any) -> float:
    """Root mean square across the track in 2-14 Hz, what windows lose given back."""
    holds = contacts(block, {"grab", "regained"})
    begins_s = np.array([t_s[0] for t_s, _ in holds])
    pieces_mm = []
    will = butter(4, 3.0, fs=HZ, output="sos")
    for grid_s, even_mm in (p for h in holds for p in even_pieces(*h, -np.inf, np.inf, 0.0)):
        x_mm = even_mm[:, 0]
        if len(x_mm) >= 10:  # freed of tremor, to see whether the finger lies still
            x_mm = sosfiltfilt(will, x_mm, padtype="odd", padlen=min(len(x_mm) - 1, 40))
        speed = np.abs(np.gradient(x_mm, 1 / HZ)) if len(x_mm) > 1 else np.zeros(len(x_mm))
        counts = grid_s >= begins_s[begins_s <= grid_s[0] + 1 / HZ][-1] + 0.2
        for begin, end in _runs(speed < 2.0):
            counts[begin:end] &= end - begin < HZ
        pieces_mm += [even_mm[begin:end, 1] for begin, end in _runs(counts)]
    windows = [w for piece in pieces_mm for w in _windows(piece)]
    rates = np.concatenate([np.diff(t_s) for t_s, _ in holds] or [np.empty(0)])
    rates = rates[rates <= 0.05]
    rate_hz = 1 / np.median(rates) if len(rates) >= 20 else math.nan
    seconds = sum(w.weight_s for w in windows)
    if not rate_hz >= 0.97 * 60 or seconds < 4:
        return math.nan
    line_hz = _line_hz(windows)
    if line_hz * 4 > 1 / rates.mean():  # too many reports were lost for so quick a tremor
        return math.nan
    below, share = divmod(line_hz / 0.1, 1)
    low, high = (
        np.array([_seen(w.size, 0.1 * step)[0] for w in windows]) for step in (below, below + 1)
    )
    kept = (1 - share) * low + share * high
    weights = np.array([w.weight_s for w in windows])
    if np.average(kept, weights=weights) < 0.3:
        return math.nan
    powers = np.array([w.coarse[BAND].sum() * F_HZ[1] for w in windows])
    value = math.sqrt((powers * weights).sum() / (kept * weights).sum())
    places = [np.concatenate([path[:, axis] for _, path in holds]) for axis in (0, 1)]
    steps = [np.diff(np.unique(p.round(6))) for p in places]
    pixel_mm = max([block.pixel_mm, *(s.min() for s in steps if len(s))])
    noise_mm = pixel_mm * math.sqrt((HIGH_HZ - LOW_HZ) / (6 * min(rate_hz, HZ)))
    limit_mm = max(noise_mm, 0.1)
    return max(value, float(limit_mm))


def _runs(flags: Array) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(int), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _windows(piece: Array) -> list[Any]:
    """Spectra of a piece: Welch's windows of 4 s, or one window with several tapers."""
    seconds = len(piece) / HZ
    if seconds < 0.5:
        return []
    size = 480 if seconds >= 6 else int(seconds / 0.1 + 1e-9) * 12
    starts = range(0, len(piece) - size + 1, size // 2) if seconds >= 6 else [0]
    return [
        SimpleNamespace(
            size=size,
            coarse=_density(_level(piece[at : at + size]), seconds >= 6),
            fine=_density(_level(piece[at : at + size]), True),
            weight_s=seconds / len(starts),
        )
        for at in starts
    ]


def _level(values: Array) -> Array:
    if len(values) >= 480:
        return detrend(values)
    u = np.linspace(-1, 1, len(values))
    return values - np.polynomial.Polynomial.fit(u, values, 2, domain=[-1, 1])(u)


def _density(values: Array, single: bool) -> Array:
    n = len(values)
    window = hann(n, sym=False)
    tapers: Array = [window / np.sqrt((window**2).sum())]
    if not single:
        tapers = dpss(n, *((2.0, 3) if n >= 240 else (1.5, 2)))
    density = (np.abs(np.fft.rfft(values * tapers, PADDED)) ** 2).mean(axis=0) / HZ
    density[1:-1] *= 2
    return density


def _seen(size: int, line_hz: float, known: dict[Any, Any] = {}) -> Array:  # noqa: B006
    """Share of a sine's power that a window finds in the band, over phases; first moment."""
    key = (size, round(line_hz, 6))
    if key not in known:
        angle = 2 * np.pi * key[1] * np.arange(size) / HZ
        both = [_density(_level(f(angle)), size == 480) for f in (np.cos, np.sin)]
        power = np.mean(both, axis=0)[BAND] * F_HZ[1] / 0.5
        known[key] = np.array([power.sum(), power @ F_HZ[BAND]])
    return known[key]


def _line_hz(windows: list[Any]) -> float:
    """Say where the tremor lies: at a real peak of long windows, else amid the power."""
    weights = np.array([w.weight_s for w in windows])
    whole = np.average([w.coarse for w in windows], axis=0, weights=weights)
    peak = _peak([w for w in windows if w.size >= 240])
    if peak is not None and peak.line_mm > 0.3 * math.sqrt(whole[BAND].sum() * F_HZ[1]):
        return float(peak.f_hz)
    power = whole[BAND].sum()
    middle_hz = whole[BAND] @ F_HZ[BAND] / power if power > 0 else math.nan
    if math.isnan(middle_hz):
        return (LOW_HZ + HIGH_HZ) / 2
    sizes: Counter[int] = Counter()
    for window in windows:
        sizes[window.size] += window.weight_s
    lines_hz = np.arange(LOW_HZ, HIGH_HZ + 1e-9, 0.1)
    seen = np.array([sum(w * _seen(n, f) for n, w in sizes.items()) for f in lines_hz])
    return float(lines_hz[np.argmin(np.abs(seen[:, 1] / seen[:, 0] - middle_hz))])


def _peak(windows: list[Any]) -> Any:
    """Return the highest peak over a fitted power law if it is one; None if not."""
    weights = np.array([w.weight_s for w in windows])
    if weights.sum() < 4:
        return None
    resolution_hz = np.average([2 * HZ / w.size for w in windows], weights=weights)
    fine = np.array([w.fine for w in windows])
    density = np.average(fine, axis=0, weights=weights)
    near = np.flatnonzero((F_HZ >= LOW_HZ - 0.25) & (F_HZ <= HIGH_HZ + 0.25))
    if not (density[near] > 0).all() or resolution_hz > 0.6:
        return None
    fitted = (F_HZ >= 2) & (F_HZ <= 20)
    held = np.maximum(density, density[near].min() * 1e-12)
    slope, level = np.polyfit(np.log(F_HZ[fitted]), np.log(held[fitted]), 1)
    floor = np.append(np.inf, np.exp(level) * F_HZ[1:] ** slope)
    white = (density / floor)[near]
    inner = np.arange(1, len(near) - 1)
    tops = inner[(white[inner] >= white[inner - 1]) & (white[inner] > white[inner + 1])]
    top = max(tops.tolist(), key=lambda i: float(white[i]), default=None)
    freedom = 2 * max(1.0, 0.947 * weights.sum() ** 2 / (weights**2).sum())
    bins = max(1.0, 24 / resolution_hz)
    chance = chdtri(freedom, 1 - 0.99 ** (1 / bins)) / chdtri(freedom, 0.5)
    if top is None or white[top] < white.max():
        return None
    f_hz = F_HZ[near[top]]
    for _ in range(4):  # the middle of the line about it
        reach_hz = min(max(1.0, 1.5 * resolution_hz), max(f_hz - 1.5, resolution_hz))
        about = np.abs(F_HZ - f_hz) < reach_hz
        turns = np.exp(1j * np.pi * (F_HZ[about] - f_hz) / reach_hz)
        pull = (weights * ((fine - floor)[:, about] @ turns)).sum()
        if not pull.real > 0:
            f_hz = F_HZ[near[top]]
            break
        f_hz += reach_hz / np.pi * np.angle(pull)
    about = np.abs(F_HZ - f_hz) <= max(0.5, resolution_hz / 2)
    line_mm2 = max(0.0, density[about].sum() - floor[about].sum()) * F_HZ[1]
    real = white[top] / np.median(white) > max(2.5, chance)
    if not (real and LOW_HZ - 0.05 <= f_hz <= HIGH_HZ + 0.05):
        return None
    return SimpleNamespace(f_hz=float(f_hz), line_mm=math.sqrt(line_mm2))


# Reading


MAIN = {
    "tapping": ("tapping.radial_error_mm", tapping),
    "slide": ("slide.jitter_across_mm", slide),
    "pursuit": ("pursuit.tracking_rmse_mm", pursuit),
    "trail": ("trail.time_per_link_s", trail),
}


def blocks(study: Path) -> Any:
    """Give each test block of an export with its rows, one part in memory at a time."""
    visits = {v["visit_id"]: v for v in pq.read_table(study / "visits.parquet").to_pylist()}
    fixed = {
        s["settings_id"]: json.loads(s["content"])
        for s in pq.read_table(study / "settings.parquet").to_pylist()
    }
    for path in sorted((study / "blocks").glob("part-*.parquet")):
        raw = {n: pq.read_table(study / n / path.name) for n in ("samples", "events", "frames")}
        for row in pq.read_table(path).to_pylist():
            name = row["block_id"]
            own = {n: t.filter(pc.equal(t["block_id"], name)) for n, t in raw.items()}
            arrays = {n: _columns(own[n]) for n in ("samples", "frames")}
            visit = visits[row["visit_id"]]
            yield SimpleNamespace(
                block_id=name,
                task=row["task"],
                scored=row["phase"] == "test" and row["ending"] == "finished",
                settings=fixed[row["settings_id"]] | json.loads(row["layout"]),
                duration_s=row["duration_s"],
                samples=arrays["samples"],
                frames=arrays["frames"],
                events=own["events"].to_pylist(),
                pixel_mm=max(visit["mm_per_px_x"], visit["mm_per_px_y"]),
            )


def _columns(table: Any) -> dict[str, Array]:
    return {name: np.array(table[name].to_pylist()) for name in table.column_names}


def redo(study: Path) -> list[tuple[str, str, float, float]]:
    """Return block, measure, exported value and the one found, of every scored block."""
    exported = {
        (row["block_id"], row["measure"]): row["value"]
        for path in sorted((study / "scores").glob("part-*.parquet"))
        for row in pq.read_table(path).to_pylist()
    }
    found = []
    for block in blocks(study):
        name, measure = MAIN[block.task]
        value = exported.get((block.block_id, name))
        if block.scored and value is not None:
            found.append((block.block_id, name, value, measure(block)))
    return found


if __name__ == "__main__":
    if len(sys.argv) != 2 or not Path(sys.argv[1], "visits.parquet").is_file():
        sys.exit("say: python -m battery.export.redo STUDY; STUDY is the folder of an export")
    for line in redo(Path(sys.argv[1])):
        sys.stdout.write("{} {}: exported {!r}, found {!r}\n".format(*line))
