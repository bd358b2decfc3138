"""Is a primary right on any device, for any tremor: ``python -m tests.sweep FILE [repeats]``.

Records are made the second way (`tests/makers.py`): every device meets every tremor, and what
is scored stands beside the formula that made it. Where a number is withheld the page says why.
"""

from __future__ import annotations

import math
import sys
from collections import Counter, defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from battery.recording import Screen
from battery.scoring import PRIMARY, score_block
from battery.scoring.flags import Value, flags_of
from tests import makers
from tests.makers import Panel, Shake

DEVICES = {
    "60 Hz, 0.1 mm": Panel(60, 0.1),
    "60 Hz, 0.3 mm": Panel(60, 0.3),
    "60 Hz, a fifth lost": Panel(60, 0.1, thinned=0.2),
    "90 Hz, 0.2 mm": Panel(90, 0.2),
    "120 Hz, 0.1 mm": Panel(120, 0.1),
    "120 Hz, irregular": Panel(120, 0.1, irregular=0.8),
    "120 Hz, in twos": Panel(120, 0.1, burst=2),
    "120 Hz, a fifth lost": Panel(120, 0.1, thinned=0.2),
    "240 Hz, in fours": Panel(240, 0.1, burst=4),
    "240 Hz, 0.3 mm": Panel(240, 0.3),
    "1000 Hz, 0.1 mm": Panel(1000, 0.1),
}
TREMORS_HZ = (2.0, 2.5, 3.0, 4.0, 5.0, 6.5, 8.0, 10.0, 12.0, 13.0, 14.0)
SIZES_MM = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 15.0)
# What each task is swept over: a tremor, or for tapping the mean error of end points.
GRIDS = {
    "tapping": ((5.0,), (2.0, 5.0, 12.0)),
    "pursuit": (TREMORS_HZ, SIZES_MM),
    "slide": (TREMORS_HZ, SIZES_MM),
    "trail": ((2.0, 4.0, 8.0), (0.05, 1.0, 3.0)),
}
REPEATS = {"tapping": 6, "trail": 4}  # there blocks are few
MAX_ERROR = 0.10
N_STILL = 440  # blocks without a tremor, or without following, of each task


@dataclass(frozen=True)
class Found:
    """One block: what is true of its primary, what was scored, and what was said of it."""

    task: str
    device: str
    hz: float
    mm: float
    true: float
    value: float
    low: float
    high: float
    reason: str
    flags: tuple[str, ...]

    @property
    def error(self):
        return self.value / self.true - 1

    @property
    def withheld(self):
        return math.isnan(self.value)

    @property
    def below(self):
        return self.reason.startswith("below")

    @property
    def wrong(self):
        """Further off than a tenth, outside its interval, and without a word."""
        if self.withheld or self.below or self.flags:
            return False
        return abs(self.error) > MAX_ERROR and not self.low <= self.true <= self.high


def slide(seed, panel, shake):
    return makers.slide(seed, panel=panel, shake=shake, wander_mm=0.3), shake.mm / math.sqrt(2)


def pursuit(seed, panel, shake):
    block = makers.pursuit(seed, panel=panel, shake=shake, wander_mm=0.5)
    own_mm2 = shake.mm**2 + 2 * 0.5**2
    return block, makers.pursuit_errors_mm(block, 0.2, 0.9, own_mm2)["whole"]


def tapping(seed, panel, shake):
    """End points scatter by the given size; true is where those of this block lay.

    How far thirty end points may lie from the person's own mean is asked by the page on
    coverage.
    """
    return makers.tapping(seed, panel=panel, error_mm=shake.mm), None


def trail(seed, panel, shake):
    block = makers.trail(seed, panel=panel, shake=shake, search_s=1.2, speed_mm_s=70.0)
    times = []
    for form in block.header.settings["forms"]:
        ways = np.hypot(*np.diff(np.array(form["nodes_mm"]), axis=0).T)
        times += (1.2 + 0.3 + ways / 70.0).tolist()
    return block, float(np.mean(times)) + 4 * 0.5 / len(times)


MAKERS = {"tapping": tapping, "pursuit": pursuit, "slide": slide, "trail": trail}


def one(task, device, hz, mm, seed):
    panel = DEVICES[device]
    block, true = MAKERS[task](seed, panel, Shake(hz, mm))
    screen = Screen(1280, 800, panel.pixel_mm, panel.pixel_mm, "card")
    scores = {s.measure: s for s in score_block(block, screen=screen)}
    s = scores[PRIMARY[task].name]
    if true is None:
        true = float(np.mean(makers.end_errors_mm(seed, s.n, mm)))
    flags = flags_of(
        ending=block.ending, input_type=block.input_type, scale_source="card",
        audit=block.audit, task=task, n_primary=s.n,
        scores={n: Value(x.value, x.n, x.reason) for n, x in scores.items()},
    )  # fmt: skip
    said = tuple(f for f in flags if f not in ("late_fatigue", "floor_ceiling", "below_floor"))
    return Found(task, device, hz, mm, true, s.value, s.low, s.high, s.reason, said)


HEAD = """# Is a primary right on any device, for any tremor

Made by `python -m tests.sweep battery/recovery/sweep.md`; change the program, not this page.
Records made by formulas apart from `battery.simulate` are scored on {devices} devices, every
task with every tremor (tapping: with every mean error of end points), so often each: {repeats}.
Error is scored over true, less one. **Silently wrong** is a value over a tenth off and outside
its own interval, that is neither below the floor nor flagged with an effect. True is what the
finger did in that very block; what chance between blocks adds is on the page on coverage.
"""


def sweep(repeats=1, tell=lambda _: None):
    """Make and score every block."""
    found = []
    for task, (tremors_hz, sizes_mm) in GRIDS.items():
        for device in DEVICES:
            tell(f"{task}, {device}")
            found += [
                one(task, device, hz, mm, 700 + number)
                for hz in tremors_hz
                for mm in sizes_mm
                for number in range(repeats * REPEATS.get(task, 1))
            ]
    return found


def false_frequencies(n=N_STILL):
    """Count the frequencies given where there is no tremor, over all devices."""
    given = {}
    for task, make in (("slide", makers.slide), ("pursuit", makers.pursuit)):
        given[task] = 0
        for number in range(n):
            panel = list(DEVICES.values())[number % len(DEVICES)]
            wander_mm = (0.3, 1.0, 3.0)[number % 3]
            block = make(90_000 + number, panel=panel, shake=Shake(mm=0.0), wander_mm=wander_mm)
            given[task] += not math.isnan(_value(block, panel, f"{task}.tremor_hz"))
    return given


def false_delays(n=N_STILL):
    """Count the delays given where a finger moves without regard to the chip."""
    given = 0
    for number in range(n):
        panel = list(DEVICES.values())[number % len(DEVICES)]
        block = makers.pursuit(
            80_000 + number, panel=panel, shake=Shake(mm=0.5), gain=0.0, wander_mm=20.0
        )
        given += not math.isnan(_value(block, panel, "pursuit.delay_s"))
    return given


def _value(block, panel, name):
    screen = Screen(1280, 800, panel.pixel_mm, panel.pixel_mm, "card")
    return next(s.value for s in score_block(block, screen=screen) if s.measure == name)


def page(found, repeats, n_still=N_STILL):
    """Write the page as Markdown."""
    parts = [HEAD.format(devices=len(DEVICES), repeats=repeats)]
    for task in GRIDS:
        own = [f for f in found if f.task == task]
        name = PRIMARY[task].name
        parts.append(
            f"\n## {task.capitalize()}: `{name}`\n\n| device | blocks | withheld | below the "
            "floor | flagged | bias | spread | largest error unsaid | silently wrong |\n"
            "|---|---|---|---|---|---|---|---|---|\n"
        )
        parts += [_device(device, [f for f in own if f.device == device]) for device in DEVICES]
        if task in ("pursuit", "slide"):
            parts.append(_map(task, own))
        reasons = Counter(_kind(f.reason) for f in own if f.withheld or f.below)
        reasons.update(f"flag `{flag}`" for f in own for flag in f.flags)
        parts.append("\nWithheld, below the floor, or flagged:\n\n")
        parts += [f"* {why}: {n} blocks\n" for why, n in reasons.most_common()] or ["* none\n"]
    parts.append(
        f"\n## Where there is nothing to find\n\nOf {n_still} blocks without a tremor, of "
        "people who wander by 0.3 to 3 mm on these devices, a frequency is given in:\n\n"
    )
    parts += [
        f"* {task}: {k} ({100 * k / n_still:.2f} %)\n"
        for task, k in false_frequencies(n_still).items()
    ]
    k = false_delays(n_still)
    parts.append(
        f"\nOf {n_still} in which the finger wanders by 20 mm without regard to the chip, a "
        f"delay is given in {k} ({100 * k / n_still:.2f} %). Tapping and trail give neither.\n"
    )
    return "".join(parts)


def _kind(reason):
    """A reason without its numbers."""
    words = [w for w in reason.replace(":", " ").split() if not any(c.isdigit() for c in w)]
    return " ".join(words)


def _device(device, own):
    plain = [f for f in own if not (f.withheld or f.below or f.flags)]
    errors = np.array([f.error for f in plain])
    told = [f"{100 * errors.mean():+.1f} %", f"{100 * errors.std():.1f} %",
            f"{100 * np.abs(errors).max():.0f} %"] if plain else ["–"] * 3  # fmt: skip
    counts = [sum(f.withheld for f in own), sum(f.below for f in own),
              sum(bool(f.flags) and not f.withheld and not f.below for f in own)]  # fmt: skip
    cells = [device, str(len(own)), *map(str, counts), *told, str(sum(f.wrong for f in own))]
    return f"| {' | '.join(cells)} |\n"


def _map(task, own):
    """By tremor: the largest error of a value without a word, over all devices."""
    unit = "jitter" if task == "slide" else "tracking error"
    lines = [
        f"\nLargest error of the {unit} over all devices, by frequency and size of the tremor; "
        "in brackets how many devices give a value that is neither below the floor nor "
        "flagged:\n\n",
        f"| Hz | {' | '.join(f'{mm:g} mm' for mm in SIZES_MM)} |\n",
        f"|{'---|' * (len(SIZES_MM) + 1)}\n",
    ]
    cells = defaultdict(list)
    for f in own:
        if not (f.withheld or f.below or f.flags):
            cells[f.hz, f.mm].append(f)
    for hz in TREMORS_HZ:
        row = []
        for mm in SIZES_MM:
            here = cells[hz, mm]
            n = len({f.device for f in here})
            worst = max((abs(f.error) for f in here), default=0.0)
            row.append(f"{100 * worst:.0f} % ({n})" if here else "– (0)")
        lines.append(f"| {hz:g} | {' | '.join(row)} |\n")
    return "".join(lines)


def main(arguments):
    repeats = int(arguments[1]) if len(arguments) > 1 else 1
    found = sweep(repeats, lambda text: sys.stderr.write(f"{text}\n"))
    Path(arguments[0]).write_text(page(found, repeats), encoding="utf-8")
    for f in found:
        if f.wrong:
            sys.stderr.write(f"silently wrong: {f}\n")


if __name__ == "__main__":
    main(sys.argv[1:])
