"""Scores of a trail block. Search and travel add up to the completion time exactly."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.signal import butter, sosfiltfilt

from battery.recording import Block, events_from_array
from battery.scoring.intervals import bootstrap, mean
from battery.scoring.path import GRID_HZ, Floats, contact_path, held
from battery.scoring.score import Score, missing
from tasks.contract import NS_PER_S, Event

STILL_MM_S = 10.0
PAUSE_S = 0.15
LOW_PASS_HZ = 3.0  # tremor moves the chip during search too; slower movement is the hand's will


@dataclass(frozen=True, slots=True)
class Link:
    """From one captured node to the next; s and mm."""

    trial: int
    form: int
    label: str
    start_s: float
    end_s: float
    search_time_s: float
    travel_time_s: float
    path_mm: float
    straight_mm: float
    n_errors: int


@dataclass(frozen=True, slots=True)
class Form:
    """One trail: its links so far and whether it was finished."""

    number: int
    kind: str
    links: list[Link]
    done: bool


def forms(block: Block) -> list[Form]:
    """Read the trails of a block."""
    grid_s, path_mm = _smooth_path(block)
    found: list[Form] = []
    begun_s = math.nan
    errors = 0
    place = (math.nan, math.nan)
    for event in events_from_array(block.events):
        t_s = event.t_ns / NS_PER_S
        if event.kind == "form":
            found.append(Form(event.trial, event.label, [], False))
            begun_s, errors = math.nan, 0
        elif event.kind == "release":
            begun_s, place = t_s, _first_node(block, event, found[-1])
        elif event.kind == "error":
            errors += 1
        elif event.kind == "capture" and not math.isnan(begun_s):
            link = _link(event, found[-1].number, begun_s, t_s, grid_s, path_mm, place, errors)
            found[-1].links.append(link)
            begun_s, errors, place = t_s, 0, (event.x_mm, event.y_mm)
        elif event.kind == "form_done":
            found[-1] = Form(found[-1].number, found[-1].kind, found[-1].links, True)
    return found


def _first_node(block: Block, event: Event, form: Form) -> tuple[float, float]:
    del event
    x_mm, y_mm = block.header.settings["forms"][form.number]["nodes_mm"][0]
    return float(x_mm), float(y_mm)


def _smooth_path(block: Block) -> tuple[Floats, Floats]:
    """Return the chip's path, held where the pointer rests or is lifted, low-passed at 3 Hz."""
    segments = contact_path(block.samples)
    if not segments:
        return np.empty(0), np.empty((0, 2))
    grid_s = np.arange(segments[0][0][0], segments[-1][0][-1], 1 / GRID_HZ)
    if len(grid_s) < GRID_HZ:
        return np.empty(0), np.empty((0, 2))
    sos = butter(2, LOW_PASS_HZ, fs=GRID_HZ, output="sos")
    return grid_s, np.asarray(sosfiltfilt(sos, held(segments, grid_s), axis=0))


def _link(
    event: Event,
    form: int,
    start_s: float,
    end_s: float,
    grid_s: Floats,
    path_mm: Floats,
    start_mm: tuple[float, float],
    errors: int,
) -> Link:
    a, b = np.searchsorted(grid_s, [start_s, end_s])
    piece = path_mm[a:b]
    whole_s = end_s - start_s
    searching = _searching(piece, (event.x_mm, event.y_mm))
    search_s = whole_s * float(searching.mean()) if len(searching) else whole_s
    return Link(
        event.trial,
        form,
        event.label,
        start_s,
        end_s,
        search_s,
        whole_s - search_s,
        float(np.hypot(*np.diff(piece, axis=0).T).sum()) if len(piece) > 1 else 0.0,
        math.dist(start_mm, (event.x_mm, event.y_mm)),
        errors,
    )


def _searching(
    piece_mm: Floats, next_node_mm: tuple[float, float]
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Mark each grid step: before the first movement, in a pause, or away from the node."""
    if len(piece_mm) < 2:
        return np.empty(0, dtype=bool)
    velocity = np.diff(piece_mm, axis=0) * GRID_HZ
    still = np.hypot(velocity[:, 0], velocity[:, 1]) < STILL_MM_S
    away = np.sum(velocity * (np.array(next_node_mm) - piece_mm[:-1]), axis=1) < 0
    moving = np.flatnonzero(~still)
    onset = int(moving[0]) if len(moving) else len(still)
    before = np.arange(len(still)) < onset
    searching = before | _long_runs(still, round(PAUSE_S * GRID_HZ)) | (away & ~still)
    return np.asarray(searching, dtype=bool)


def _long_runs(
    flags: np.ndarray[tuple[int], np.dtype[np.bool_]], least: int
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Keep only the runs of true that are at least so long."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    kept = np.zeros(len(flags), dtype=bool)
    for begin, end in edges.reshape(-1, 2).tolist():
        kept[begin:end] = end - begin >= least
    return kept


def score(block: Block, seed: int) -> list[Score]:
    """Score a finished trail block."""
    found = forms(block)
    done = [form for form in found if form.done]
    links = [link for form in done for link in form.links]
    n_forms = len(block.header.settings["forms"])
    n = len(links)
    errors = Score("trail.n_errors", float(sum(i.n_errors for f in found for i in f.links)), n)
    if not done:
        reason = "no trail was finished within the limit"
        times_missing = [
            "time_per_link_s",
            "completion_time_s",
            "search_time_s",
            "travel_time_s",
        ]
        return [*(missing(f"trail.{name}", reason, n) for name in times_missing), errors]
    times = np.array([link.end_s - link.start_s for link in links])
    per_link = Score(
        "trail.time_per_link_s", float(times.mean()), n, *bootstrap(times, mean, seed)
    )
    if len(done) < n_forms:
        reason = (
            f"{len(done)} of {n_forms} trails finished within the limit: the time is longer"
        )
        names = ("completion_time_s", "search_time_s", "travel_time_s")
        return [per_link, *(missing(f"trail.{name}", reason, n) for name in names), errors]
    search_s = sum(link.search_time_s for link in links)
    travel_s = sum(link.travel_time_s for link in links)
    return [
        per_link,
        Score("trail.completion_time_s", search_s + travel_s, n),
        Score("trail.search_time_s", search_s, n),
        Score("trail.travel_time_s", travel_s, n),
        errors,
    ]
