"""How often an interval holds the truth: ``python -m tests.coverage FILE [blocks]``.

Records are made the second way (`tests/makers.py`), with a truth that is a formula. Each block
has a person of its own, so that a share or a count is not judged at one odd value; only of the
trails is it the same one throughout.
"""

from __future__ import annotations

import math
import multiprocessing
import sys
from collections import defaultdict
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from battery.recording import Block, Screen
from battery.scoring import score_block
from battery.scoring.measures import measures_of
from battery.scoring.stats.intervals import of_count, wilson
from tests import makers
from tests.makers import Panel, Shake

Truths = dict[str, float]
Made = tuple[Block, Truths, float]  # the block, what is true of it, pixel in mm
N_BLOCKS = 300
PANEL = Panel()
# What a filter, a rim or a dwell adds to a time, or takes from a size, is found from all blocks
# of a condition together: the chance from block to block is what is judged there.
ADDED = ("trail.", "tapping.reaction", "slide.mean_speed", "slide.extent")
SCALED = ("pursuit.jitter_along", "trail.travel_speed")
BY_CHANCE = 0.25  # of the half width, which the error scatters by at least
LEAST, MOST = 0.93, 0.97
BEYOND = 3.0  # standard errors, of a hundred cells


@dataclass(frozen=True)
class Condition:
    """A task, what is said of it in the table, and how one block of it is made."""

    task: str
    says: str
    make: Callable[[int], Made]
    by_chance: bool = True  # whether anything differs from block to block but the device


def _tremor(random, **fixed):
    return Shake(hz=random.uniform(3, 10), mm=float(np.exp(random.uniform(-0.7, 1.1))), **fixed)


def _jitter(task, shake):
    rms = shake.mm / math.sqrt(2)
    found = {f"{task}.jitter_across_mm": rms}
    return found if shake.mm == 0 else found | {f"{task}.tremor_hz": shake.hz}


def slides(says, *, by_chance=True, panel=PANEL, wander_mm=0.0, **shake):
    def make(seed):
        random = np.random.default_rng((seed, 1))
        own = _tremor(random, **shake)
        pace = random.uniform(1.0, 3.0)
        out_mm, spread = random.uniform(30, 60), 0.12
        block = makers.slide(
            seed, panel=panel, shake=own, way_s=pace, wander_mm=wander_mm, out_mm=out_mm,
            spread=spread,
        )  # fmt: skip
        truths = _jitter("slide", own)
        truths |= dict.fromkeys(
            ("slide.extent_mm", "slide.extent_left_mm", "slide.extent_right_mm"),
            out_mm + own.mm,
        )
        return block, truths, panel.pixel_mm

    return Condition("slide", says, make, by_chance)


def pursuits(says, *, by_chance=True, panel=PANEL, wander_mm=0.0, off=False, **shake):
    def make(seed):
        random = np.random.default_rng((seed, 2))
        own = _tremor(random, **shake)
        delay_s, gain = random.uniform(0.1, 0.35), random.uniform(0.75, 1.0)
        times = []
        if off:
            now = max(random.exponential(8), 1.0)
            while now < 60:
                times.append((now, 0.4))
                now += 0.4 + max(random.exponential(8), 0.15)
        block = makers.pursuit(
            seed, panel=panel, shake=own, delay_s=delay_s, gain=gain, wander_mm=wander_mm,
            off=times,
        )  # fmt: skip
        truths = _jitter("pursuit", own)
        truths |= {"pursuit.delay_s": delay_s, "pursuit.gain": gain,
                   "pursuit.delay_predictable_s": delay_s, "pursuit.gain_predictable": gain,
                   "pursuit.velocity_gain": gain,
                   "pursuit.delay_by_correlation_s": delay_s}  # fmt: skip
        truths |= {f"pursuit.gain_{k}": gain for k in range(1, 6)}
        for part in block.header.settings["parts"]:
            hz = sorted(f for _, f, _ in part["components"])
            names = ["predictable"] if len(hz) == 1 else range(1, len(hz) + 1)
            truths |= {
                f"pursuit.phase_{name}_deg": -360 * f * delay_s
                for name, f in zip(names, hz, strict=True)
            }
        own_mm2 = own.mm**2 + 2 * wander_mm**2
        rmse = makers.pursuit_errors_mm(block, delay_s, gain, own_mm2)
        if off:
            truths["pursuit.contact_loss"] = 0.4 / (0.4 + 8)
            truths["pursuit.lifts_per_min"] = 60 / (0.4 + 8)
        else:
            truths |= {
                "pursuit.tracking_rmse_mm": rmse["whole"],
                "pursuit.rmse_predictable_mm": rmse["predictable"],
                "pursuit.rmse_unpredictable_mm": rmse["unpredictable"],
                "pursuit.rmse_difference_mm": rmse["unpredictable"] - rmse["predictable"],
            }
        if own.hz > 5 and not own.broad_hz:
            truths["pursuit.jitter_along_mm"] = own.mm / math.sqrt(2)
        return block, truths, panel.pixel_mm

    return Condition("pursuit", says, make, by_chance)


def tappings(says, *, offset_mm=4.0):
    def make(seed):
        random = np.random.default_rng((seed, 3))
        sides = random.uniform(2.0, 8.0, 2)
        beyond, aside = offset_mm * random.normal(size=2)
        reaction_s, movement_s = random.uniform(0.3, 0.7), random.uniform(0.4, 1.2)
        spread = random.uniform(0.1, 0.3)
        block = makers.tapping(
            seed, reaction_s=reaction_s, movement_s=movement_s, spread=spread,
            scatter=(beyond, aside, *sides),
        )  # fmt: skip
        s = block.header.settings
        home = np.array([s["home_x_mm"], s["home_y_mm"]])
        ways = np.hypot(*(np.array(s["targets_mm"]) - home).T)
        grown = math.exp(spread**2 / 2)
        drawn = np.random.default_rng(5).normal((beyond, aside), sides, (20000, 2))
        radial = np.hypot(*drawn.T)
        area = 2 * np.log(20) * np.pi * sides[0] * sides[1]
        normal = 0.5 * (1 + math.erf((beyond - s["target_r_mm"]) / sides[0] / math.sqrt(2)))
        short = 0.5 * (1 + math.erf((-beyond - s["target_r_mm"]) / sides[0] / math.sqrt(2)))
        both, far_mm, mean_s = math.hypot(*sides), ways.mean() + beyond, movement_s * grown
        truths = {
            "radial_error_mm": radial.mean(), "movement_time_s": movement_s,
            "reaction_time_s": reaction_s,
            "hit_rate": np.mean(radial <= s["target_r_mm"]),
            "variable_error_mm": both, "constant_error_mm": math.hypot(beyond, aside),
            "constant_error_along_mm": beyond, "constant_error_across_mm": aside,
            "bcea95_mm2": area, "overshoot_percent": 100 * beyond / ways.mean(),
            "overshoot_rate": normal, "undershoot_rate": short,
            "fatigue_slope_ms": 0.0,
            "throughput_bit_s": math.log2(far_mm / (4.133 * sides[0]) + 1) / mean_s,
            "throughput_xy_bit_s": math.log2(far_mm / (4.133 * both) + 1) / mean_s,
        }  # fmt: skip
        for side in ("left", "right"):
            truths |= {f"{name}_{side}{unit}": truths[f"{name}{unit}"] for name, unit in SIDES}
        return block, {f"tapping.{k}": float(v) for k, v in truths.items()}, 0.1

    return Condition("tapping", says, make)


SIDES = (
    ("radial_error", "_mm"),
    ("movement_time", "_s"),
    ("reaction_time", "_s"),
    ("hit_rate", ""),
)


def trails(says, *, spread):
    def make(seed):
        search_s, speed, start_s = 1.2, 70.0, 2.0
        block = makers.trail(
            seed, search_s=search_s, speed_mm_s=speed, start_s=start_s, spread=spread
        )
        grown, grown_way = math.exp(spread**2 / 2), math.exp(spread**2 / 8)
        links = {"numbers": [], "alternating": [], "pairs": []}
        starts = {}
        for form in block.header.settings["forms"]:
            nodes = np.array(form["nodes_mm"])
            ways = np.hypot(*np.diff(nodes, axis=0).T)
            starts[form["kind"]] = starts.get(form["kind"], 0) + 1
            links[form["kind"]] += (search_s * grown + ways / speed * grown_way).tolist()
        return block, _of_trail(links, starts, start_s * grown, search_s * grown), 0.1

    return Condition("trail", says, make)


def _of_trail(links, starts, start_s, search_s):
    """Times to be expected; what a rim, a dwell and a filter add is found from all blocks."""
    every = [time for own in links.values() for time in own]
    n_forms = sum(starts.values())
    found = {
        "travel_speed_mm_s": 70.0,
        "time_per_link_s": (sum(every) + n_forms * start_s) / len(every),
        "completion_time_s": sum(every) - n_forms * search_s,
        "search_time_s": (len(every) - n_forms) * search_s,
        "travel_time_s": sum(every) - len(every) * search_s,
    }  # fmt: skip
    found |= {
        f"{kind}_time_per_link_s": (sum(own) + starts[kind] * start_s) / len(own)
        for kind, own in links.items()
        if own
    }
    if links["numbers"] and links["alternating"]:
        hard, easy = (
            sum(links[kind]) / starts[kind] - search_s for kind in ("alternating", "numbers")
        )
        found |= {
            "alternating_minus_numbers_s": hard - easy,
            "alternating_to_numbers": hard / easy,
        }
    return {f"trail.{name}": value for name, value in found.items()}


CONDITIONS = (
    tappings("normal end points"),
    tappings("the same about the target", offset_mm=0.0),
    slides("steady sine", by_chance=False),
    slides("waxing and waning", wax_hz=0.15),
    slides("line 1 Hz wide", broad_hz=0.5),
    slides("narrow line", broad_hz=0.15),
    slides("narrow line, 60 Hz, 0.3 mm, a fifth lost", broad_hz=0.15, wander_mm=1.0,
           panel=Panel(60, 0.3, thinned=0.2)),
    pursuits("steady sine", by_chance=False),
    pursuits("steady sine, wandering", wander_mm=1.0),
    pursuits("waxing and waning", wax_hz=0.15, wander_mm=1.0),
    pursuits("line 1 Hz wide", broad_hz=0.5, wander_mm=1.0),
    pursuits("narrow line", broad_hz=0.15, wander_mm=1.5),
    pursuits("narrow line, losing contact", broad_hz=0.15, wander_mm=1.0, off=True),
    trails("times a third apart", spread=0.3),
    trails("half to double", spread=0.6),
)  # fmt: skip


@dataclass(frozen=True)
class Held:
    """One interval in one condition: how many blocks, share held, width, by chance or not."""

    n: int
    share: float
    half: float  # mean half width over what 95 % of the errors' spread would be
    by_chance: bool

    @property
    def mark(self):
        """Whether it holds the truth too seldom or too often, beyond the chance of n blocks."""
        low, high = wilson(round(self.share * self.n), self.n, BEYOND)
        return "too narrow" if high < LEAST else "too wide" if low > MOST else ""


def judged(condition, n_blocks, first_seed):
    """Make blocks and say of every interval with a truth how often it holds it."""
    rows = defaultdict(list)
    for seed in range(first_seed, first_seed + n_blocks):
        block, truths, pixel_mm = condition.make(seed)
        for s in score_block(block, screen=Screen(1280, 800, pixel_mm, pixel_mm, "virtual")):
            if s.measure in truths and not math.isnan(s.low):
                rows[s.measure].append((s.value, s.low, s.high, truths[s.measure]))
    return {name: _held(name, np.array(own), condition) for name, own in rows.items()}


def _held(name, rows, condition):
    value, low, high, truth = rows.T
    if name.startswith(ADDED):
        truth = truth + np.mean(value - truth)
    if name.startswith(SCALED):
        truth = truth * math.sqrt(np.mean((value / truth) ** 2))
    half = float(np.mean(high - low)) / 2
    spread = float(np.std(value - truth))
    ratio = half / (1.96 * spread) if spread else math.inf
    by_chance = condition.by_chance and spread > BY_CHANCE * half
    return Held(len(rows), float(np.mean((low <= truth) & (truth <= high))), ratio, by_chance)


def of_numbers(n):
    """Shares and counts of numbers that are drawn: the rest of the intervals."""
    random = np.random.default_rng(9)
    rows = {}
    for low, high in ((0.02, 0.2), (0.2, 0.8), (0.8, 0.98)):
        held = 0
        for _ in range(n):
            true = random.uniform(low, high)
            ends = wilson(random.binomial(22, true), 22)
            held += ends[0] <= true <= ends[1]
        rows[f"a share of {low:g}-{high:g}, 22 trials"] = held / n
    for low, high in ((0.5, 4), (4, 20)):
        held = 0
        for _ in range(n):
            true = random.uniform(low, high)
            ends = of_count(random.poisson(true))
            held += ends[0] <= true <= ends[1]
        rows[f"a count of {low:g}-{high:g}"] = held / n
    return rows


HEAD = """# What the intervals hold

Made by `python -m tests.coverage battery/recovery/coverage.md`; change the program, not this
page. {n} blocks a condition, made by formulas apart from `battery.simulate`: in how many of
them the 95 % interval holds the truth. Of 300 blocks, 95 % are 92.5 to 97.5 % by chance.

After the share stands how wide the interval is beside what 95 % of the errors would take: 1 is
as wide as it has to be. "Too narrow" and "too wide" are marked where the share is below 93 % or
above 97 % by over three standard errors. In brackets: nothing differs from block to block by
chance but what the device adds, and the width is what a device may add (3 % of a jitter,
0.02 Hz, and more where its grid is coarse).

What a filter, a rim or a dwell adds to times and to what the chip does not explain is taken
from all blocks together; there the table judges the chance alone.
"""


def _job(job):
    number, n_blocks = job
    return judged(CONDITIONS[number], n_blocks, 10_000 * (1 + number))


def page(n_blocks):
    """Write the page as Markdown; conditions on all cores, the same figures on any number."""
    jobs = [(number, n_blocks) for number in range(len(CONDITIONS))]
    with ProcessPoolExecutor(mp_context=multiprocessing.get_context("spawn")) as pool:
        every = dict(zip(CONDITIONS, pool.map(_job, jobs), strict=True))
    parts = [HEAD.format(n=n_blocks)]
    for task in dict.fromkeys(c.task for c in CONDITIONS):
        own = [c for c in CONDITIONS if c.task == task]
        found = {condition.says: every[condition] for condition in own}
        parts.append(f"\n## {task.capitalize()}\n\n| | {' | '.join(found)} |\n")
        parts.append(f"|{'---|' * (len(found) + 1)}\n")
        for measure in measures_of(task):
            cells = [_cell(held.get(measure.name)) for held in found.values()]
            if measure.width == "interval" and any(cell != "–" for cell in cells):
                parts.append(f"| `{measure.name}` | {' | '.join(cells)} |\n")
    parts.append("\n## Shares and counts, of numbers that are drawn\n\n| | held |\n|---|---|\n")
    parts += [f"| {k} | {100 * v:.1f} % |\n" for k, v in of_numbers(20 * n_blocks).items()]
    parts.append("\n## Without an interval\n\n")
    for task in dict.fromkeys(c.task for c in CONDITIONS):
        for width, says in (
            ("spread", "the middle half of ways, reaches or links"),
            ("none", "nothing"),
        ):
            names = [f"`{m.name}`" for m in measures_of(task) if m.width == width]
            if names:
                parts.append(f"* {task}, {says} beside the value: {', '.join(names)}\n")
    return "".join(parts)


def _cell(held):
    if held is None or held.n < 20:
        return "–"
    words = (
        f"{100 * held.share:.1f} % ×{held.half:.2g}"
        if held.by_chance
        else f"({100 * held.share:.1f} %)"
    )
    mark = held.mark if held.by_chance or held.share < LEAST else ""
    return f"**{words} {mark}**" if mark else words


def main(arguments):
    n_blocks = int(arguments[1]) if len(arguments) > 1 else N_BLOCKS
    Path(arguments[0]).write_text(page(n_blocks), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
