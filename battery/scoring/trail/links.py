"""Links of a trail block. Search and travel add up to the time of a link exactly."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from battery.recording import Block, events_from_array
from battery.scoring.signal.filters import low_pass
from battery.scoring.signal.kinematics import path_length_mm, runs
from battery.scoring.signal.path import GRID_HZ, Flags, Floats, followed_path, held
from tasks.contract import NS_PER_S, Event

TAKES = frozenset({"grab", "regained"})
# Slow enough that a tremor from 2 Hz on does not pass for a movement from node to node, which
# lasts a second: one of 2 Hz and 5 mm is left with 6 mm/s. What the filter smears over the
# ends of a movement, the higher limit of speed takes back.
TRAVEL_HZ = 1.5
STILL_MM_S = 15.0
PAUSE_S = 0.15


@dataclass(frozen=True, slots=True)
class Link:
    """From one captured node to the next; s and mm.

    Search is the time before the first movement, in pauses (slower than 15 mm/s for 0.15 s)
    and away from the next node; travel is the rest. `path_mm` is the length of the path,
    `travel_mm` of its part while travelling, `chord_mm` the straight way from where the last
    node was captured to where this one was, `straight_mm` that between their centres. Errors
    are wrong nodes captured: of the kind that was due (`n_sequence_errors`), or not
    (`n_set_errors`).
    """

    trial: int
    form: int
    kind: str
    label: str
    start_s: float
    end_s: float
    search_time_s: float
    travel_time_s: float
    path_mm: float
    travel_mm: float
    chord_mm: float
    straight_mm: float
    n_sequence_errors: int
    n_set_errors: int
    n_slips: int
    n_lifts: int

    @property
    def n_errors(self) -> int:
        """Wrong nodes captured."""
        return self.n_sequence_errors + self.n_set_errors


@dataclass(slots=True)
class Form:
    """One trail: its links so far, and whether it was finished.

    `shown_s` and `end_s` are when it was shown, and when its last node was captured or the
    block ended; `left_s` is when the first node was left, nan before.
    """

    number: int
    kind: str
    links: list[Link] = field(default_factory=list)
    done: bool = False
    shown_s: float = 0.0
    end_s: float = 0.0
    left_s: float = math.nan

    @property
    def spent_s(self) -> float:
        """Time for which it was shown, whatever was done in it.

        The way is thought out before the first node is left as well as afterwards.
        """
        return self.end_s - self.shown_s

    @property
    def start_s(self) -> float:
        """Time from its being shown to leaving the first node; nan before."""
        return self.left_s - self.shown_s


@dataclass(slots=True)
class _Doing:
    """What has happened on the link being made."""

    begun_ns: int = -1
    place_mm: tuple[float, float] = (math.nan, math.nan)
    mistakes: list[str] = field(default_factory=list)
    n_slips: int = 0
    n_lifts: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class _Path:
    """The chip's slow path on the grid."""

    t_s: Floats
    path_mm: Floats

    def piece(self, start_s: float, end_s: float) -> Floats:
        a, b = np.searchsorted(self.t_s, [start_s, end_s])
        return self.path_mm[a:b]


def forms(block: Block) -> list[Form]:
    """Read the trails of a block."""
    path = _slow_path(block)
    settings = block.header.settings["forms"]
    found: list[Form] = []
    doing = _Doing()
    for event in events_from_array(block.events):
        if found and not found[-1].done:
            found[-1].end_s = event.t_ns / NS_PER_S  # a finished one keeps its last capture
        if event.kind == "form":
            now_s = event.t_ns / NS_PER_S
            found.append(Form(event.trial, event.label, shown_s=now_s, end_s=now_s))
            doing = _Doing()
        elif event.kind == "release":
            found[-1].left_s = event.t_ns / NS_PER_S
            first_mm = settings[found[-1].number]["nodes_mm"][0]
            doing = _Doing(event.t_ns, (float(first_mm[0]), float(first_mm[1])))
        elif event.kind == "form_done":
            found[-1].done = True
        elif doing.begun_ns < 0:
            continue
        elif event.kind == "error":
            doing.mistakes.append(event.label)
        elif event.kind == "slip":
            doing.n_slips += 1
        elif event.kind == "lost":
            doing.n_lifts += 1
        elif event.kind == "capture":
            found[-1].links.append(_link(found[-1], event, doing, path))
            doing = _Doing(event.t_ns, (event.x_mm, event.y_mm))
    return found


def _slow_path(block: Block) -> _Path:
    """Return the path, held where the pointer rests or is lifted, low-passed at 1.5 Hz."""
    segments = followed_path(block, TAKES)
    if not segments:
        return _Path(np.empty(0), np.empty((0, 2)))
    grid_s = np.arange(segments[0][0][0], segments[-1][0][-1], 1 / GRID_HZ)
    if len(grid_s) < 2:
        return _Path(np.empty(0), np.empty((0, 2)))
    return _Path(grid_s, low_pass(held(segments, grid_s), TRAVEL_HZ, order=4))


def _link(form: Form, capture: Event, doing: _Doing, path: _Path) -> Link:
    start_s, end_s = doing.begun_ns / NS_PER_S, capture.t_ns / NS_PER_S
    piece_mm = path.piece(start_s, end_s)
    node_mm = (capture.x_mm, capture.y_mm)
    searching = search_steps(piece_mm, node_mm)
    share = float(searching.mean()) if len(searching) else 1.0
    whole_ns = capture.t_ns - doing.begun_ns
    search_ns = round(whole_ns * share)
    steps_mm = np.hypot(*np.diff(piece_mm, axis=0).T) if len(searching) else np.zeros(0)
    n_set = sum(of_other_set(form.kind, capture.label, wrong) for wrong in doing.mistakes)
    return Link(
        trial=capture.trial,
        form=form.number,
        kind=form.kind,
        label=capture.label,
        start_s=start_s,
        end_s=end_s,
        search_time_s=search_ns / NS_PER_S,
        travel_time_s=(whole_ns - search_ns) / NS_PER_S,
        path_mm=path_length_mm(piece_mm) if len(piece_mm) > 1 else 0.0,
        travel_mm=float(steps_mm[~searching].sum()),
        chord_mm=math.dist(piece_mm[0], piece_mm[-1]) if len(piece_mm) > 1 else 0.0,
        straight_mm=math.dist(doing.place_mm, node_mm),
        n_sequence_errors=len(doing.mistakes) - n_set,
        n_set_errors=n_set,
        n_slips=doing.n_slips,
        n_lifts=doing.n_lifts,
    )


def of_other_set(kind: str, due: str, wrong: str) -> bool:
    """Whether a wrong label is of the set that was not due: a letter for a number, or back.

    Examples
    --------
    >>> of_other_set("alternating", "A", "2"), of_other_set("alternating", "A", "C")
    (True, False)
    """
    return kind == "alternating" and due.isdigit() != wrong.isdigit()


def search_steps(piece_mm: Floats, next_node_mm: tuple[float, float]) -> Flags:
    """Mark each grid step of a link that is search: before movement, pause, or detour.

    Parameters
    ----------
    piece_mm : ndarray, shape (n, 2)
        Slow path on the grid, from capture to capture.
    next_node_mm : tuple of float

    Returns
    -------
    ndarray of bool, shape (n - 1,)
        Empty for fewer than two places.
    """
    if len(piece_mm) < 2:
        return np.empty(0, dtype=bool)
    velocity = np.diff(piece_mm, axis=0) * GRID_HZ
    still = np.hypot(velocity[:, 0], velocity[:, 1]) < STILL_MM_S
    away = np.sum(velocity * (np.array(next_node_mm) - piece_mm[:-1]), axis=1) < 0
    moving = np.flatnonzero(~still)
    searching = away & ~still
    searching[: int(moving[0]) if len(moving) else len(still)] = True
    for begin, end in runs(still, round(PAUSE_S * GRID_HZ)).tolist():
        searching[begin:end] = True
    return np.asarray(searching, dtype=bool)
