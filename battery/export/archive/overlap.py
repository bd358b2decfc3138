"""What an export has in common with what an archive holds already, block by block."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from battery.export.archive.listing import Entry
from battery.export.reading.reader import Export

NAMED = 5  # blocks that a refusal names


@dataclass(frozen=True, slots=True)
class _Block:
    """What tells whether two blocks are one recording: its hash, or what is almost unique."""

    sha256: str
    recording: tuple[Any, ...]

    def is_as(self, other: _Block) -> bool:
        if self.sha256 and other.sha256:
            return self.sha256 == other.sha256
        return self.recording == other.recording


@dataclass(slots=True)
class Overlap:
    """What follows from what an archive holds already: a refusal, what is replaced, notes."""

    refusal: str = ""
    replaced: list[Entry] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def _blocks(export: Export) -> Iterator[tuple[str, _Block]]:
    """Give every block of an export with what it is told by."""
    for part in range(1, export.n_parts + 1):
        for row in export.rows("blocks", part):
            recording = tuple(
                row[name]
                for name in ("task", "phase", "hand_recorded", "layout_hash", "duration_s")
            )
            yield row["block_id"], _Block(row.get("sha256") or "", recording)


def overlap(
    folder: Path, entries: Sequence[Entry], export: Export, study: str, site: str
) -> Overlap:
    """Compare an export with each that is there, one at a time, block by block."""
    own = dict(_blocks(export))
    alike = Counter(block.recording for block in own.values())
    met = Overlap()
    for entry in entries:
        n_there = n_other = 0
        same: list[str] = []
        otherwise: list[str] = []
        for block_id, there in _blocks(Export(folder / entry.path)):
            n_there += 1
            mine = own.get(block_id)
            if mine is None:
                n_other += there.recording in alike
            else:
                (same if mine.is_as(there) else otherwise).append(block_id)
        here = (entry.study, entry.site) == (study, site)
        if otherwise:
            met.refusal = (
                f"of {len(otherwise)} blocks {entry.path} says otherwise ({_some(otherwise)}): "
                "find out which is right, and have that clinic export again"
            )
        elif same and here and len(same) == n_there:
            met.replaced.append(entry)
        elif same and here:
            met.refusal = (
                f"{len(same)} of its blocks are in {entry.path} already ({_some(same)}), which "
                "holds others besides: export all of it, or only what is not there"
            )
        elif same and entry.study == study:
            met.refusal = (
                f"{len(same)} of its blocks came from another site already, as {entry.path} "
                f"({_some(same)})"
            )
        elif same:
            met.notes.append(
                f"  {len(same)} of its blocks are in {entry.path} of another study too"
            )
        if n_other and entry not in met.replaced:
            met.notes.append(
                f"  {n_other} recordings are in {entry.path} under other identifiers: whoever "
                "reads both counts them twice"
            )
        if met.refusal:
            break
    return met


def _some(block_ids: Sequence[str]) -> str:
    rest = len(block_ids) - NAMED
    return ", ".join(sorted(block_ids)[:NAMED]) + (f" and {rest} more" if rest > 0 else "")
