"""What scoring blocks again did: counted block by block, added up, and told."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Self

from battery.comparing.score_pairs import (
    WHY,
    Held,
    as_held,
    flags_by,
    identical,
    kind_of,
    same_value,
    why_differs,
)
from battery.comparing.value_moves import MAX_TOLD, Moves
from battery.recording import Block, Screen
from battery.scoring.definitions.news import news_of
from battery.scoring.flags import FLAGS
from battery.scoring.measures import MEASURES
from battery.scoring.score import SCORING_VERSION, Score

NAMED = 6  # measures, flags or reasons that a line names; the rest is counted
MAX_KEPT = 1_000  # values that differ and blocks that failed; the rest is counted
NEVER = "never scored before"


@dataclass(slots=True)
class Rescored:
    """What scoring blocks again did.

    Attributes
    ----------
    n_blocks, n_values : int
        Blocks scored, and values they have.
    n_new, n_other_version : int
        Values of blocks that had none, and values that another version had scored.
    changed : Counter of (why, measure)
        Values that differ from those stored before.
    moves : dict of (why, measure) to Moves
        How far those moved that another version had scored.
    flags : Counter of (why, flag, "raised" or "gone")
        Blocks whose flags differ by what scores tell.
    reasons : Counter of (why, measure, reason)
        Values that are missing now and were not, or for another reason, numbers left out.
    n_differ : int
        Values of this very version that are not the same bit for bit.
    differ : list of str
        The first of them, one line each.
    failed : dict of block, or part, to reason
        What could not be scored; the scores it had were left. The first ones.
    n_failed : int
    n_kept : int
        Parts of an export whose scores lay beside it, of the same files and versions.
    """

    n_blocks: int = 0
    n_values: int = 0
    n_new: int = 0
    n_other_version: int = 0
    changed: Counter[tuple[str, str]] = field(default_factory=Counter)
    moves: dict[tuple[str, str], Moves] = field(default_factory=dict)
    flags: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    reasons: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    n_differ: int = 0
    differ: list[str] = field(default_factory=list)
    failed: dict[str, str] = field(default_factory=dict)
    n_failed: int = 0
    n_kept: int = field(default=0, compare=False)

    def fail(self, what: str, why: str) -> None:
        """Note what could not be scored."""
        self.n_failed += 1
        if len(self.failed) < MAX_KEPT:
            self.failed[what] = why

    def add(self, other: Rescored) -> None:
        """Put what others found to the rest."""
        for name in (
            "n_blocks",
            "n_values",
            "n_new",
            "n_other_version",
            "n_differ",
            "n_failed",
        ):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.changed += other.changed
        self.flags += other.flags
        self.reasons += other.reasons
        for key, moves in other.moves.items():
            self.moves.setdefault(key, Moves()).add(moves)
        self.differ += other.differ[: MAX_KEPT - len(self.differ)]
        for what, why in other.failed.items():
            if len(self.failed) < MAX_KEPT:
                self.failed[what] = why

    def compare(
        self,
        block: Block,
        screen: Screen,
        held: Mapping[str, Held],
        fresh: Sequence[Score],
    ) -> bool:
        """Count what differs between a block's scores as they were and as they are now.

        Parameters
        ----------
        held : mapping of measure to Held
            Empty for a block that had no scores.
        fresh : sequence of Score
            Of this version.

        Returns
        -------
        bool
            Whether anything about the scores has changed.
        """
        self.n_blocks += 1
        self.n_values += len(fresh)
        other = [h.scoring_version for h in held.values()]
        self.n_other_version += sum(version != SCORING_VERSION for version in other)
        differs = len(held) != len(fresh)
        for score in fresh:
            differs |= self._one(block.header.block_id, held, score)
        for name in sorted(held.keys() - {score.measure for score in fresh}):
            self.changed["no longer measured", name] += 1
            if held[name].scoring_version == SCORING_VERSION:
                was = f"not measured, was {held[name].value!r}"
                self._differs(block.header.block_id, name, was)
        if differs and held:
            self._flags(block, screen, held, fresh)
        return differs

    def _one(self, block_id: str, held: Mapping[str, Held], score: Score) -> bool:
        before = held.get(score.measure)
        if before is None:
            new = "new measure" if held else NEVER
            self.changed[new, score.measure] += 1
            self.n_new += not held
            if held and all(h.scoring_version == SCORING_VERSION for h in held.values()):
                self._differs(block_id, score.measure, f"{score.value!r}, was nothing")
            return True
        now = as_held(score)
        if identical(before, now):
            return False
        why = why_differs(before, score)
        if not same_value(before.value, now.value):
            self.changed[why, score.measure] += 1
        if why == WHY:
            told = f"{score.value!r}, was {before.value!r}"
            self._differs(block_id, score.measure, told)
        elif not same_value(before.value, now.value):
            moves = self.moves.setdefault((why, score.measure), Moves())
            moves.put(before.value, now.value)
        kind = kind_of(score.reason)
        if math.isnan(score.value) and kind != kind_of(before.reason):
            self.reasons[why, score.measure, kind] += 1
        return True

    def _differs(self, block_id: str, measure: str, told: str) -> None:
        self.n_differ += 1
        if len(self.differ) < MAX_KEPT:
            self.differ.append(f"block {block_id} {measure}: {told}")

    def _flags(
        self, block: Block, screen: Screen, held: Mapping[str, Held], fresh: Sequence[Score]
    ) -> None:
        versions = {h.scoring_version for h in held.values()} - {SCORING_VERSION}
        why = f"version {min(versions)} to {SCORING_VERSION}" if versions else WHY
        before = flags_by(block, screen, held)
        now = flags_by(block, screen, {s.measure: as_held(s) for s in fresh})
        for name in now - before:
            self.flags[why, name, "raised"] += 1
        for name in before - now:
            self.flags[why, name, "gone"] += 1

    @property
    def summary(self) -> str:
        """What is told on the terminal: a line in all, then what changed and why."""
        whys = {why for why, _ in self.changed}
        same = ", the rest the same bit for bit" if whys else ", all the same bit for bit"
        if self.n_differ or self.n_other_version or whys - {NEVER}:
            same = ""
        return "\n".join(
            [
                f"{self.n_blocks} blocks scored with version {SCORING_VERSION}: "
                f"{self.n_values} values, {self.changed.total()} changed{same}; raw records "
                "untouched",
                *self._kept(),
                *self.lines(),
                *self.differences(),
                *self.failures(),
            ]
        )

    def _kept(self) -> list[str]:
        if not self.n_kept:
            return []
        return [
            f"  parts that an earlier run had scored, and that were kept: {self.n_kept}; to "
            "score them anew, remove the folder 'rescored' of their export"
        ]

    def lines(self) -> list[str]:
        """Say what changed: a line for every reason, each with its measures, flags, reasons.

        Of what another version had scored, a line for every measure: how far, and why.
        """
        said = []
        by_why: dict[str, Counter[str]] = {}
        for (why, measure), count in self.changed.items():
            by_why.setdefault(why, Counter())[measure] += count
        for why, measures in sorted(by_why.items()):
            told = [
                _measure_line(name, self.moves[why, name])
                for name in MEASURES
                if (why, name) in self.moves
            ]
            if told:
                said += [f"  {why}: {measures.total()} values", *told]
            else:
                said.append(f"  {why}: {measures.total()} values ({_most(measures)})")
        for why in sorted({why for why, *_ in self.flags}):
            for way, words in (("raised", "raised now"), ("gone", "no longer raised")):
                own = Counter(
                    {
                        FLAGS[name].name: n
                        for (w, name, how), n in self.flags.items()
                        if (w, how) == (why, way)
                    }
                )
                if own:
                    said.append(f"  {why}, flags {words}: {own.total()} blocks ({_most(own)})")
        for why in sorted({why for why, *_ in self.reasons}):
            own = Counter()
            for (w, _, reason), n in self.reasons.items():
                if w == why:
                    own[repr(reason)] += n
            said.append(f"  {why}, missing now: {own.total()} values ({_most(own)})")
        return said

    def failures(self) -> list[str]:
        """Say of what could not be scored why, the first ones."""
        named = list(self.failed.items())[:MAX_TOLD]
        said = [f"  not scored: {what}: {why}" for what, why in named]
        if self.n_failed > len(named):
            said.append(f"  not scored: {self.n_failed - len(named)} more")
        return said

    def differences(self) -> list[str]:
        """Say which values of this very version differ, the first ones."""
        said = self.differ[:MAX_TOLD]
        if self.n_differ > len(said):
            said = [*said, f"and {self.n_differ - len(said)} more"]
        return said

    def to_plain(self) -> dict[str, Any]:
        """Return it as values that JSON can hold."""
        return {
            **{name: getattr(self, name) for name in _PLAIN},
            "changed": [[*key, n] for key, n in sorted(self.changed.items())],
            "flags": [[*key, n] for key, n in sorted(self.flags.items())],
            "reasons": [[*key, n] for key, n in sorted(self.reasons.items())],
            "moves": [
                [*key, sorted(m.plain.items()), sorted(m.percent.items()), m.gone, m.come]
                for key, m in sorted(self.moves.items())
            ],
        }

    @classmethod
    def from_plain(cls, told: Mapping[str, Any]) -> Self:
        """Make it of what `to_plain` gave."""
        made = cls(**{name: told[name] for name in _PLAIN})
        made.changed = Counter({(why, name): n for why, name, n in told["changed"]})
        made.flags = Counter({(why, name, way): n for why, name, way, n in told["flags"]})
        made.reasons = Counter({(why, name, said): n for why, name, said, n in told["reasons"]})
        made.moves = {
            (why, name): Moves(Counter(dict(plain)), Counter(dict(percent)), gone, come)
            for why, name, plain, percent, gone, come in told["moves"]
        }
        return made


_PLAIN = (
    "n_blocks", "n_values", "n_new", "n_other_version", "n_differ", "differ", "failed",
    "n_failed",
)  # fmt: skip


def _most(counted: Counter[str]) -> str:
    named = [f"{name} {count}" for name, count in counted.most_common(NAMED)]
    rest = len(counted) - len(named)
    return ", ".join([*named, *([f"and {rest} more"] if rest else [])])


def _measure_line(name: str, moves: Moves) -> str:
    """Say how far the values of a measure moved, and what changed in it."""
    why = news_of(name) if MEASURES[name].since == SCORING_VERSION else ""
    return f"    {name}: {moves.told}{f'; {why}' if why else ''}"
