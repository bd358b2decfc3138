"""Look for anybody who looks better by doing less.

Run ``python -m battery.recovery.lazy battery/recovery/lazy.md [copies [folder]]``; what is done
stays in the folder. One made-up person does every task many times; each block is then done
again with something left out (`battery.recovery.doing_less`), and scored. People are drawn from
these blocks, visit by visit, and judged.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from battery.recording import Block, Screen
from battery.recovery.doing_less import MANNERS, PERSON, POINTER
from battery.recovery.finding import play
from battery.scoring import PRIMARY, SCORING_VERSION, score_block
from battery.scoring.flags import Value, comparable, flags_of
from norms.baseline import Point
from norms.composite import composite
from norms.verdict import judge

SCREEN = Screen(1280, 800, POINTER.grid_mm, POINTER.grid_mm, "virtual")
N_COPIES = 2000
N_PEOPLE = 500
N_WHOLE = 24  # blocks of which copies are made
N_BEFORE, N_AFTER = 6, 12
BEFORE_FILE = Path(__file__).with_name("lazy_scoring_2.json")
HEAD = """# The lazy hand

Made by `python -m battery.recovery.lazy battery/recovery/lazy.md`; change the program, not this
page. One made-up person, {n_whole} whole blocks a task; {copies} copies of them in every manner
of doing less. **Smaller** is how many copies have a primary below that of their own whole block
by more than the least that is compared: lower is better in every task, so that it should be 0.
"No number" is how many have none that is compared, with a reason or a flag.
"""


@dataclass(frozen=True, slots=True)
class Copies:
    """What became of one manner in one task: values of whole blocks and of their copies."""

    task: str
    manner: str
    whole: tuple[float, ...]
    done: tuple[float, ...]

    @property
    def n_missing(self) -> int:
        """Copies without a number."""
        return sum(math.isnan(value) for value in self.done)

    @property
    def n_smaller(self) -> int:
        """Copies below their whole block by more than the least that is compared."""
        least = PRIMARY[self.task].min_compared
        return sum(b < a - least for a, b in zip(self.whole, self.done, strict=True))

    @property
    def largest_gain(self) -> float:
        """Largest share by which a copy is smaller than its whole block; 0 for none."""
        gains = [1 - b / a for a, b in zip(self.whole, self.done, strict=True) if b == b]
        return max([0.0, *gains])


def primary_of(block: Block) -> float:
    """Value of the block's primary measure; nan where there is none that is compared."""
    task = block.header.task
    scores = {
        s.measure: Value(s.value, s.n, s.reason) for s in score_block(block, screen=SCREEN)
    }
    primary = scores[PRIMARY[task].name]
    raised = flags_of(
        ending=block.ending, input_type=block.input_type, scale_source="card",
        audit=block.audit, task=task, n_primary=primary.n, scores=scores,
    )  # fmt: skip
    return primary.value if comparable(raised) else math.nan


def copies(task: str, manner: str, n: int, *, n_whole: int = N_WHOLE, seed: int = 1) -> Copies:
    """Make copies of whole blocks in one manner and score both."""
    random = np.random.default_rng((seed, n))
    blocks = [play(task, PERSON, POINTER, 100 + k) for k in range(min(n, n_whole))]
    values = [primary_of(block) for block in blocks]
    whole, done = [], []
    for k in range(n):
        block = blocks[k % len(blocks)]
        whole.append(values[k % len(blocks)])
        done.append(primary_of(MANNERS[task][manner](block, random)))
    return Copies(task, manner, tuple(whole), tuple(done))


def verdicts(
    found: Sequence[Copies], lazy_in: Mapping[str, str], n: int, seed: int = 2
) -> tuple[int, int]:
    """Draw people from the blocks; count those whose composite, or a task, gets "better".

    Parameters
    ----------
    found : sequence of Copies
    lazy_in : mapping of task to manner
        How each task is done from the seventh visit on; a task that is not named is done as
        before, one named "" not at all.
    n : int

    Returns
    -------
    tuple of int
        People with a composite better beyond error, and with a primary so.
    """
    random = np.random.default_rng(seed)
    by_name = {(c.task, c.manner): c for c in found}
    pools = {c.task: np.array(c.whole) for c in found}
    n_composite = n_primary = 0
    for _ in range(n):
        points: dict[str, list[Point]] = {}
        for task, pool in pools.items():
            values = list(random.choice(pool, N_BEFORE))
            manner = lazy_in.get(task)
            if manner is None:
                values += list(random.choice(pool, N_AFTER))
            elif manner:
                values += list(random.choice(by_name[task, manner].done, N_AFTER))
            points[task] = [Point(visit, v) for visit, v in enumerate(values, start=1)]
        lines = [*points.values(), composite(points)]
        told = [judge(line, None, log_scale=True, direction="lower") for line in lines]
        better = [one.word == "beyond error" and bool(one.better) for one in told]
        n_composite += better[-1]
        n_primary += any(better[:-1])
    return n_composite, n_primary


def everything(n: int = N_COPIES, kept: Path | None = None) -> list[Copies]:
    """Make copies in every manner of every task.

    Parameters
    ----------
    n : int
        Of each.
    kept : Path, optional
        A folder in which what is done stays, so that a run that is broken off goes on there.
    """
    found = []
    for task, own in MANNERS.items():
        for number, manner in enumerate(own):
            file = kept / f"{task}-{number}-{n}.json" if kept else None
            if file and file.exists():
                found.append(
                    Copies(
                        task, manner, *map(tuple, json.loads(file.read_text(encoding="utf-8")))
                    )
                )
                continue
            found.append(copies(task, manner, n))
            if file:
                file.write_text(json.dumps([found[-1].whole, found[-1].done]), encoding="utf-8")
    return found


def figures(found: Sequence[Copies], n: int) -> dict[str, list[float]]:
    """Return what the page says, by manner, so that versions can stand side by side."""
    rows: dict[str, list[float]] = {
        f"{c.task}: {c.manner}": [c.n_smaller, c.n_missing, c.largest_gain, len(c.done)]
        for c in found
    }
    for c in found:
        rows[f"verdict, {c.task}: {c.manner}"] = [*verdicts(found, {c.task: c.manner}, n), n]
    for task in MANNERS:
        rows[f"verdict, {task}: not done"] = [*verdicts(found, {task: ""}, n), n]
    rows["verdict, nothing left out"] = [*verdicts(found, {}, n), n]
    return rows


def page(rows: Mapping[str, Sequence[float]], before: Mapping[str, Sequence[float]]) -> str:
    """Write the page as Markdown; `before` holds the figures of scoring 2."""
    plain = {key: row for key, row in rows.items() if not key.startswith("verdict")}
    judged = {key: row for key, row in rows.items() if key.startswith("verdict")}
    n_copies = int(next(iter(plain.values()))[3])
    lines = [
        HEAD.format(n_whole=min(N_WHOLE, n_copies), copies=n_copies),
        f"\n## Primaries\n\n| task: manner | smaller, scoring {SCORING_VERSION} | no number | "
        "largest gain | smaller, scoring 2 | largest gain then |\n|---|---|---|---|---|---|\n",
    ]
    for key, (smaller, gone, gain, n) in plain.items():
        old = before.get(key)
        then = f"{old[0]:.0f} of {old[3]:.0f} | {100 * old[2]:.0f} %" if old else "- | -"
        lines.append(
            f"| {key} | {smaller:.0f} of {n:.0f} | {gone:.0f} | {100 * gain:.1f} % | {then} |\n"
        )
    lines.append(
        "\n## Verdicts\n\nPeople drawn from these blocks, twelve visits in that manner after "
        'six whole ones: how many get "better, beyond error" for the composite, and for any '
        "one of the four tasks. Chance alone gives some: the last line.\n\n"
        "| from the seventh visit on | composite, "
        f"scoring {SCORING_VERSION} | any task | composite, scoring 2 | any task |\n"
        "|---|---|---|---|---|\n"
    )
    for key, (one, other, n) in judged.items():
        old = before.get(key)
        then = f"{old[0]:.0f} of {old[2]:.0f} | {old[1]:.0f}" if old else "- | -"
        name = key.removeprefix("verdict, ")
        lines.append(f"| {name} | {one:.0f} of {n:.0f} | {other:.0f} | {then} |\n")
    return "".join(lines)


def main(arguments: Sequence[str]) -> int:
    """Write the page, or with a file that ends in .json the figures alone."""
    if len(arguments) not in (1, 2, 3):
        sys.stderr.write("name the file to write, as in: battery/recovery/lazy.md\n")
        return 2
    n = int(arguments[1]) if len(arguments) == 2 else N_COPIES
    found = everything(n, Path(arguments[2]) if len(arguments) == 3 else None)
    rows = figures(found, min(n, N_PEOPLE))
    path = Path(arguments[0])
    if path.suffix == ".json":
        path.write_text(json.dumps(rows, indent=1), encoding="utf-8")
        return 0
    before = json.loads(BEFORE_FILE.read_text("utf-8")) if BEFORE_FILE.exists() else {}
    path.write_text(page(rows, before), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
