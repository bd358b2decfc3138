"""Ways of doing less than a task asks, each made of a whole block that was done.

The same contacts, changed, are put through the same task (`battery.recovery.relive`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from battery.recording import KIND_CODES, Block, SampleArray, events_from_array
from battery.recovery.finding import play
from battery.recovery.relive import relive
from battery.simulate import POINTERS, Truth
from tasks.contract import NS_PER_S

PERSON = Truth(tremor_mm=0.9, pursuit_delay_s=0.25, pursuit_gain=0.85, aim_noise=0.06)
POINTER = POINTERS["touch 60 Hz"]
UP, DOWN, MOVE = (KIND_CODES[kind] for kind in ("up", "down", "move"))

Manner = Callable[[Block, np.random.Generator], Block]
Change = Callable[[Block, np.random.Generator], SampleArray]


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
