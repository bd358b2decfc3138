"""Look for anybody who looks better by doing less.

Run ``python -m battery.recovery.lazy battery/recovery/lazy.md [copies [folder]]``; what is done
stays in the folder. One made-up person does every task many times; each block is then done
again with something left out: the same contacts, changed, put through the same task
(`battery.recovery.relive`), and scored. People are drawn from these blocks, visit by visit, and
judged.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from battery.recording import KIND_CODES, Block, SampleArray, Screen, events_from_array
from battery.recovery.finding import play
from battery.recovery.relive import relive
from battery.scoring import PRIMARY, SCORING_VERSION, score_block
from battery.scoring.flags import Value, comparable, flags_of
from battery.simulate import POINTERS, Truth
from norms.baseline import Point
from norms.composite import composite
from norms.verdict import judge
from tasks.contract import NS_PER_S

PERSON = Truth(tremor_mm=0.9, pursuit_delay_s=0.25, pursuit_gain=0.85, aim_noise=0.06)
POINTER = POINTERS["touch 60 Hz"]
SCREEN = Screen(1280, 800, POINTER.grid_mm, POINTER.grid_mm, "virtual")
N_COPIES = 2000
N_PEOPLE = 500
N_WHOLE = 24  # blocks of which copies are made
N_BEFORE, N_AFTER = 6, 12
BEFORE_FILE = Path(__file__).with_name("lazy_scoring_2.json")
UP, DOWN, MOVE = (KIND_CODES[kind] for kind in ("up", "down", "move"))

Manner = Callable[[Block, np.random.Generator], Block]
Change = Callable[[Block, np.random.Generator], SampleArray]
HEAD = """# The lazy hand

Made by `python -m battery.recovery.lazy battery/recovery/lazy.md`; change the program, not this
page. One made-up person, {n_whole} whole blocks a task; {copies} copies of them in every manner
of doing less. **Smaller** is how many copies have a primary below that of their own whole block
by more than the measure's floor: lower is better in every task, so that it should be 0. "No
number" is how many have none that is compared, with a reason or a flag.
"""


def _rows(block: Block, kept: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> SampleArray:
    """Keep some reports; where a contact is cut it ends with a lift and begins with a press."""
    samples = block.samples[kept].copy()
    kind, at = samples["kind"], np.flatnonzero(kept)
    cut = np.flatnonzero(np.diff(at) > 1)
    held = np.isin(kind, (DOWN, MOVE))
    ends = cut[held[cut] & (kind[cut + 1] != DOWN)]
    samples["kind"][ends] = UP
    begins = cut + 1
    begins = begins[(kind[begins] == MOVE) & (samples["kind"][begins - 1] == UP)]
    samples["kind"][begins] = DOWN
    orphan = (samples["kind"] == UP) & (np.roll(samples["kind"], 1) == UP)
    orphan[0] = False
    kept_rows: SampleArray = samples[~orphan]
    return kept_rows


def _span_s(block: Block) -> float:
    return float(block.samples["t_ns"][-1]) / NS_PER_S


def break_off(block: Block, random: np.random.Generator) -> SampleArray:
    """Nothing more from some moment on; the finger lies still on the glass."""
    at_s = block.samples["t_ns"] / NS_PER_S
    until_s = random.uniform(0.3, 0.95) * _span_s(block)
    samples = block.samples[at_s <= until_s].copy()
    if samples["kind"][-1] == UP:
        samples = samples[:-1]
    rest = np.repeat(samples[-1:], 400)
    rest["kind"] = MOVE
    rest["t_ns"] = samples["t_ns"][-1] + np.arange(1, 401) * (NS_PER_S // 2)
    return np.concatenate([samples, rest])


def leave_out(block: Block, random: np.random.Generator) -> SampleArray:
    """Lift now and then, for up to 4 s at a time, for up to half of the block."""
    at_s = block.samples["t_ns"] / NS_PER_S
    kept = np.ones(len(at_s), dtype=bool)
    for _ in range(int(random.integers(1, 9))):
        begin_s = random.uniform(2, _span_s(block))
        kept &= ~((at_s > begin_s) & (at_s < begin_s + random.uniform(0.1, 4)))
    kept[0] = True
    return _rows(block, kept)


def lift_off_target(block: Block, random: np.random.Generator) -> SampleArray:
    """Lift while the finger is off the chip."""
    from battery.scoring.pursuit.parts import parts

    at_s = block.samples["t_ns"] / NS_PER_S
    limit_mm = random.uniform(3, 14)
    kept = np.ones(len(at_s), dtype=bool)
    for part in parts(block):
        inside = (at_s >= part.start_s) & (at_s < part.end_s)
        chip_mm = np.interp(at_s[inside], part.t_s, part.chip_mm[:, 0])
        off_mm = np.hypot(
            block.samples["x_mm"][inside] - chip_mm,
            block.samples["y_mm"][inside] - part.chip_mm[0, 1],
        )
        kept[inside] = off_mm <= limit_mm
    return _rows(block, kept)


def rest_finger(block: Block, random: np.random.Generator) -> SampleArray:
    """Leave the finger where it is for a while."""
    samples = block.samples.copy()
    at_s = samples["t_ns"] / NS_PER_S
    begin_s = random.uniform(2, 0.8 * _span_s(block))
    held = (at_s > begin_s) & (at_s < begin_s + random.uniform(1, 15))
    held &= samples["kind"] == MOVE
    first = int(np.flatnonzero(held)[0]) if held.any() else 0
    for axis in ("x_mm", "y_mm"):
        samples[axis][held] = samples[axis][first]
    return samples


def hurry_taps(block: Block, random: np.random.Generator) -> SampleArray:
    """Stop short of the target: a hasty touch somewhere on the way."""
    samples = block.samples.copy()
    settings = block.header.settings
    home = np.array([settings["home_x_mm"], settings["home_y_mm"]])
    place = np.column_stack([samples["x_mm"], samples["y_mm"]])
    away = np.hypot(*(place - home).T) > 2 * settings["home_r_mm"]
    share = random.uniform(0.5, 0.9)
    place[away] = home + share * (place[away] - home)
    samples["x_mm"], samples["y_mm"] = place.T
    return samples


def slow_down(block: Block, random: np.random.Generator) -> SampleArray:
    """Take longer over everything, by up to three times."""
    samples = block.samples.copy()
    samples["t_ns"] = (samples["t_ns"] * random.uniform(1.05, 3.0)).astype(np.int64)
    return samples


def skip_touches(block: Block, random: np.random.Generator) -> SampleArray:
    """Leave out some of the touches, and be back home for the next."""
    samples = block.samples
    if block.header.task == "tapping":  # the task asks for more: go on
        later = samples.copy()
        later["t_ns"] += samples["t_ns"][-1] + NS_PER_S
        samples = np.concatenate([samples, later])
    touches = np.cumsum(samples["kind"] == DOWN)
    gone = np.flatnonzero(random.random(touches[-1] + 1) < random.uniform(0.05, 0.5))
    return samples[~np.isin(touches, gone) | (touches < 2)]


def think_first(block: Block, random: np.random.Generator) -> SampleArray:
    """Lie on the first node of each trail until the way is thought out, then go faster."""
    samples = block.samples.copy()
    events = events_from_array(block.events)
    share = random.uniform(0.75, 0.95)
    left = [e.t_ns for e in events if e.kind == "release"]
    done = [e.t_ns for e in events if e.kind == "form_done"]
    old_ns, new_ns = [0.0], [0.0]
    for begin_ns, end_ns in zip(left, done, strict=False):
        saved_ns = (1 - share) * (end_ns - begin_ns)
        rest_ns = saved_ns * random.uniform(1.05, 1.5)
        old_ns += [begin_ns - 1, begin_ns, end_ns]
        shift_ns = new_ns[-1] + begin_ns - old_ns[-4]
        new_ns += [
            shift_ns - 1,
            shift_ns + rest_ns,
            shift_ns + rest_ns + end_ns - begin_ns - saved_ns,
        ]
    at_ns = samples["t_ns"].astype(np.float64)
    moved_ns = np.interp(at_ns, old_ns, new_ns)
    samples["t_ns"] = np.where(at_ns > old_ns[-1], at_ns - old_ns[-1] + new_ns[-1], moved_ns)
    return samples


def at_another_pace(block: Block, random: np.random.Generator) -> Block:
    """Slide much faster or slower: the same person with the same tremor, played anew."""
    person = replace(PERSON, slide_s=float(np.exp(random.uniform(np.log(0.5), np.log(5.0)))))
    return play("slide", person, POINTER, block.header.layout_seed)


def _again(change: Change) -> Manner:
    """Put the changed contacts through the task."""
    return lambda block, random: relive(block, change(block, random))


def _by_task(*rows: tuple[str, str, Manner]) -> Mapping[str, Mapping[str, Manner]]:
    """Return the manners by task; a task may have none."""
    found: dict[str, dict[str, Manner]] = {}
    for task, manner, how in rows:
        found.setdefault(task, {})[manner] = how
    return found


MANNERS = _by_task(
    ("tapping", "leaves touches out", _again(skip_touches)),
    ("tapping", "stops short", _again(hurry_taps)),
    ("tapping", "takes longer", _again(slow_down)),
    ("tapping", "breaks off", _again(break_off)),
    ("slide", "lifts now and then", _again(leave_out)),
    ("slide", "breaks off", _again(break_off)),
    ("slide", "leaves contacts out", _again(skip_touches)),
    ("pursuit", "lifts while off the chip", _again(lift_off_target)),
    ("pursuit", "lifts now and then", _again(leave_out)),
    ("pursuit", "rests the finger", _again(rest_finger)),
    ("pursuit", "breaks off", _again(break_off)),
    ("trail", "lifts now and then", _again(leave_out)),
    ("trail", "takes longer", _again(slow_down)),
    ("trail", "breaks off, stuck", _again(break_off)),
    ("slide", "at another pace", at_another_pace),
    ("trail", "thinks before it begins", _again(think_first)),
)


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
        """Copies below their whole block by more than the floor of the measure."""
        floor = getattr(PRIMARY[self.task], "floor", 0.0)
        return sum(b < a - floor for a, b in zip(self.whole, self.done, strict=True))

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
