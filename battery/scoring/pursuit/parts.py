"""Parts of a pursuit block: finger against the chip as it was shown."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from battery.recording import Block, events_from_array
from battery.scoring.pursuit.chip import shown_x_mm
from battery.scoring.pursuit.tracking import LAGS_S, Sines
from battery.scoring.signal.path import (
    GRID_HZ,
    Flags,
    Floats,
    Segment,
    between,
    followed_path,
    pieces,
    split_gaps,
)
from tasks.contract import NS_PER_S, settings_from_dict
from tasks.pursuit import PursuitSettings

TAKES = frozenset({"start", "regained"})
BEFORE, AFTER = round(LAGS_S[1] * GRID_HZ), round(-LAGS_S[0] * GRID_HZ)


@dataclass(frozen=True, eq=False)
class Part:
    """One part of the movement on an even grid.

    `on` marks where there are reports in contact; elsewhere the finger is nan. `touching` marks
    contact, with reports or without. `wide_chip_mm` is the chip along its path from 1 s before
    the part to 0.3 s after it. `pieces` are the raw reports in contact, cut at gaps;
    `even_pieces` the same on the grid; `segments` all contacts of the block.
    """

    name: str
    start_s: float
    end_s: float
    frequencies_hz: tuple[float, ...]
    t_s: Floats
    finger_mm: Floats
    chip_mm: Floats
    wide_chip_mm: Floats
    on: Flags
    touching: Flags
    pieces: list[Segment]
    even_pieces: list[Segment]
    segments: list[Segment]

    @property
    def contacts_s(self) -> tuple[float, ...]:
        """When contacts began."""
        return tuple(float(t_s[0]) for t_s, _ in self.segments)

    @property
    def judged(self) -> Flags:
        """Moments that count: with reports, or off the glass; not where reports lack."""
        return self.on | ~self.touching

    @cached_property
    def resting_mm2(self) -> float:
        """Mean squared distance from the chip of a finger that rests in the middle."""
        return float(np.mean(self.chip_mm[:, 0] ** 2))

    @cached_property
    def squares_mm2(self) -> Floats:
        """Squared distance of finger and chip, shape (n,); nan where it is not `judged`.

        At most that of a finger that rests in the middle, in the mean; off the glass always so
        much. Nobody can come nearer to the chip by lifting, wherever the finger was.
        """
        squares = np.sum((self.finger_mm - self.chip_mm) ** 2, axis=1)
        squares = np.minimum(squares, self.resting_mm2)  # nan stays nan
        squares[~self.touching] = self.resting_mm2
        return np.asarray(squares)

    @cached_property
    def expected_mm2(self) -> Floats:
        """The same for the steady part of the following alone, shape (n,); 0 without one."""
        if not self.on.any():
            return np.zeros(len(self.t_s))
        along_mm = self.sines.following_mm() - self.chip_mm[:, 0]
        across_mm = float(np.mean((self.finger_mm - self.chip_mm)[self.on, 1]))
        return np.asarray(np.minimum(along_mm**2 + across_mm**2, self.resting_mm2))

    @property
    def contact_s(self) -> float:
        """Time in contact."""
        return float(self.on.sum() / GRID_HZ)

    @cached_property
    def sines(self) -> Sines:
        """The finger along the path as sines of the chip's frequencies."""
        both_mm = np.column_stack([self.finger_mm[:, 0], self.chip_mm[:, 0]])
        frequencies_hz = np.array(sorted(self.frequencies_hz))
        return Sines(self.t_s - self.start_s, both_mm, self.on, frequencies_hz)


def parts(block: Block) -> list[Part]:
    """Cut the block into its scored parts; none when the chip was never pressed."""
    settings = settings_from_dict(PursuitSettings, block.header.settings)
    events = events_from_array(block.events)
    started_ns = next((e.t_ns for e in events if e.kind == "start"), None)
    segments = followed_path(block, TAKES)
    if started_ns is None or not segments:
        return []
    begins = {e.trial: e.t_ns / NS_PER_S for e in events if e.kind == "part"}
    ends = {e.trial: e.t_ns / NS_PER_S for e in events if e.kind == "part_end"}
    return [
        _part(block, settings, started_ns, segments, number, begins[number], end_s)
        for number, end_s in ends.items()
    ]


def _part(
    block: Block,
    settings: PursuitSettings,
    started_ns: int,
    segments: list[Segment],
    number: int,
    begin_s: float,
    end_s: float,
) -> Part:
    n = round((end_s - begin_s) * GRID_HZ)
    wide_s = begin_s + np.arange(-BEFORE, n + AFTER) / GRID_HZ
    wide_mm = shown_x_mm(block, settings, started_ns, wide_s)
    t_s = wide_s[BEFORE : BEFORE + n]
    chip_mm = np.column_stack([wide_mm[BEFORE : BEFORE + n], np.full(n, settings.y_mm)])
    finger_mm = np.full((n, 2), np.nan)
    in_part = pieces(segments, low_s=begin_s - 0.05, high_s=end_s + 0.05, origin_s=begin_s)
    kept = []
    for grid_s, path_mm in in_part:
        first = round((grid_s[0] - begin_s) * GRID_HZ)
        inside = slice(max(0, -first), min(len(grid_s), n - first))
        if inside.stop > inside.start:
            finger_mm[first + inside.start : first + inside.stop] = path_mm[inside]
            kept.append((grid_s[inside], path_mm[inside]))
    cut = [between(s, begin_s, end_s) for s in segments]
    touching = np.zeros(n, dtype=bool)
    for segment_s, _ in segments:
        touching |= (t_s >= segment_s[0]) & (t_s <= segment_s[-1])
    return Part(
        name=settings.parts[number].name,
        start_s=begin_s,
        end_s=end_s,
        frequencies_hz=tuple(f for _, f, _ in settings.parts[number].components),
        t_s=t_s,
        finger_mm=finger_mm,
        chip_mm=chip_mm,
        wide_chip_mm=wide_mm,
        on=~np.isnan(finger_mm[:, 0]),
        touching=touching,
        pieces=[piece for c in cut if len(c[0]) for piece in split_gaps(c)],
        even_pieces=kept,
        segments=segments,
    )
