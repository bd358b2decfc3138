"""Keeps what is shown from flickering when a shaking finger leaves the glass and comes back.

A task shows at once whether its disc is held. With tremor that may change twelve times in a
second, and a disc that changes so often flashes. Here a disc that would go back to the look it
had just before waits until its present look has stood for a quarter of a second: it goes to and
fro twice in a second at most. A look that is new, as that of a cue, is never kept waiting. What
is recorded does not depend on it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from tasks.contract import NS_PER_MS, Disc, Mark

STANDS_NS = 250 * NS_PER_MS  # two pairs of changes a second; WCAG 2.2, 2.3.1 allows three
Key = tuple[float, str, int]


@dataclass
class _Shown:
    """A disc as it was shown last, with the look it had before."""

    disc: Disc
    there: bool
    changed_ns: int
    before: object = None

    @property
    def look(self) -> object:
        return (self.disc.role, self.disc.filled) if self.there else None


class Calm:
    """Marks with looks that do not go to and fro faster than twice in a second."""

    def __init__(self) -> None:
        self._shown: dict[Key, _Shown] = {}

    def marks(self, marks: Sequence[Mark], t_ns: int) -> tuple[Mark, ...]:
        """Return what to show at a moment of the block.

        Parameters
        ----------
        marks : sequence of Mark
            What the task shows. Discs are told apart by size, label and order.
        t_ns : int
        """
        out: list[Mark] = []
        met: Counter[tuple[float, str]] = Counter()
        seen: set[Key] = set()
        for mark in marks:
            if not isinstance(mark, Disc):
                out.append(mark)
                continue
            alike = (mark.r_mm, mark.label)
            key = (*alike, met[alike])
            met[alike] += 1
            seen.add(key)
            calm = self._calm(key, mark, t_ns)
            if calm is not None:
                out.append(calm)
        for key, shown in self._shown.items():
            if key not in seen and shown.there and self._stays(shown, None, t_ns):
                out.append(shown.disc)
        return tuple(out)

    def _calm(self, key: Key, disc: Disc, t_ns: int) -> Disc | None:
        look = (disc.role, disc.filled)
        shown = self._shown.get(key)
        if shown is None:
            self._shown[key] = _Shown(disc, there=True, changed_ns=t_ns)
            return disc
        if self._stays(shown, look, t_ns):
            role, filled = shown.disc.role, shown.disc.filled
            shown.disc = replace(disc, role=role, filled=filled)
        else:
            shown.disc = disc
        return shown.disc if shown.there else None

    @staticmethod
    def _stays(shown: _Shown, look: object, t_ns: int) -> bool:
        """Whether a disc keeps its look for now; if not, take the new one."""
        if look == shown.look:
            return True
        if look == shown.before and t_ns - shown.changed_ns < STANDS_NS:
            return True
        shown.before, shown.changed_ns = shown.look, t_ns
        shown.there = look is not None
        return False
