"""Does scoring find what made-up people were made of: ``python -m battery.recovery FILE``.

Every person plays every task on every pointer several times; the scores are set beside the
truth. The page names bias and spread, and marks what lies outside the limits promised.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields
from pathlib import Path
from statistics import fmean, stdev

from battery.plan import STANDARD, planned_blocks
from battery.recording import Block, BlockHeader, Screen, short_hash
from battery.runner import run_block
from battery.scoring import MEASURES, score_block
from battery.scoring.jitter import floor_mm
from battery.scoring.path import GRID_HZ
from battery.simulate import POINTERS, Person, Pointer, Truth
from tasks.contract import settings_to_dict
from tasks.registry import TASKS

N_REPEATS = 5
REACH_MM = 75.0
FLOORS = 5.0  # a tremor is promised to be found where it is so many times the floor
FLOOR = "floor_mm"
ROOT_2 = math.sqrt(2)

PEOPLE: Mapping[str, Truth] = {
    "steady": Truth(
        tremor_hz=7.3, tremor_mm=0.4, aim_noise=0.03, pursuit_delay_s=0.12, pursuit_gain=0.97
    ),
    "no tremor": Truth(tremor_mm=0.0, reaction_s=0.35, movement_s=0.45),
    "small tremor": Truth(tremor_hz=8.2, tremor_mm=0.15, reaction_sd_s=0.08),
    "slow tremor": Truth(tremor_hz=3.7, tremor_mm=2.0, movement_s=0.8),
    "fast tremor": Truth(tremor_hz=10.6, tremor_mm=0.7, pursuit_gain=0.85),
    "large tremor": Truth(tremor_hz=4.6, tremor_mm=5.0, aim_noise=0.06, search_s=1.4),
    "tremor across": Truth(tremor_hz=5.4, tremor_mm=1.0, tremor_direction_deg=90.0),
    "tremor aslant": Truth(tremor_hz=6.1, tremor_mm=1.6, tremor_direction_deg=30.0),
    "unsteady tremor": Truth(tremor_hz=5.2, tremor_mm=1.2, tremor_bandwidth_hz=0.3),
    "late": Truth(
        pursuit_delay_s=0.35,
        pursuit_gain=0.7,
        wander_mm=1.5,
        reaction_s=0.7,
        reaction_tail_s=0.1,
        movement_s=0.9,
        search_s=2.0,
    ),
    "foreseeing": Truth(
        pursuit_delay_s=0.2, pursuit_gain=1.05, predictable_delay_s=0.0, predictable_gain=1.0
    ),
    "overshooting": Truth(overshoot=0.10, aim_noise=0.07, intention=1.0, tremor_mm=1.0),
    "falling short": Truth(overshoot=-0.08, aim_noise=0.09, aim_noise_across=0.5),
    "losing contact": Truth(lost_contact_per_min=5.0, slide_extent_mm=50.0),
    "halting": Truth(slide_halts=2, slide_s=2.4, slide_extent_mm=40.0, error_rate=0.12),
    "crossing nodes": Truth(slip_rate=0.3, error_rate=0.0, search_s=1.2, search_spread=0.2),
}


@dataclass(frozen=True, slots=True)
class Quantity:
    """Something scored whose truth is known.

    Parameters
    ----------
    measure : str
    title : str
    expected : callable
        The truth of a person, nan where this measure does not speak of it.
    limit : float
        How far a block may be off: in the measure's unit, or as a share when `relative`.
        nan where nothing is promised.
    relative : bool
    note : str
        What to know when reading the table.
    """

    measure: str
    title: str
    expected: Callable[[Truth], float]
    limit: float = math.nan
    relative: bool = False
    note: str = ""

    @property
    def of_tremor(self) -> bool:
        """Whether it can be found only where the tremor stands out of the floor."""
        return "tremor" in self.measure or "jitter" in self.measure

    def error(self, value: float, true: float) -> float:
        """Error of a value, as a share of the truth when `relative`."""
        return (value - true) / true if self.relative else value - true

    def shown(self, error: float, *, signed: bool = False) -> str:
        """Write an error, a spread or a limit: in per cent, ms, or the unit of the measure."""
        sign = "+" if signed else ""
        if self.relative:
            return f"{100 * error:{sign}.1f} %"
        if self.measure.endswith("_s"):
            return f"{1000 * error:{sign}.1f} ms"
        return f"{error:{sign}.3f}"


def _across_rms_mm(truth: Truth) -> float:
    """Root mean square of the tremor across a level path."""
    angle = truth.tremor_direction_deg
    share = 1.0 if angle is None else math.sin(math.radians(angle))
    return truth.tremor_mm * abs(share) / ROOT_2 or math.nan


def _across_in_slide_mm(truth: Truth) -> float:
    return math.nan if truth.intention else _across_rms_mm(truth)


def _scatter_mm(truth: Truth) -> float:
    """Scatter of end points: of the aim, and of the tremor at an unforeseen phase.

    Overshoot scatters as well where reaches go in several directions; left out here.
    """
    if truth.overshoot:
        return math.nan
    aim_mm = truth.aim_noise * REACH_MM * math.hypot(1, truth.aim_noise_across)
    axes = 2 if truth.tremor_direction_deg is None else 1
    tremor_mm = truth.tremor_mm * (1 + truth.intention) * math.sqrt(axes / 2)
    return math.hypot(aim_mm, tremor_mm, ROOT_2 * truth.wander_mm)


def _reaction_s(truth: Truth) -> float:
    return math.nan if truth.reaction_tail_s else truth.reaction_s


def _lost_share(truth: Truth) -> float:
    if not truth.lost_contact_per_min:
        return 0.0
    held_s = 60 / truth.lost_contact_per_min
    return truth.lost_contact_s / (held_s + truth.lost_contact_s)


def _frequency_hz(truth: Truth) -> float:
    return truth.tremor_hz if truth.tremor_mm else math.nan


QUANTITIES: tuple[Quantity, ...] = (
    Quantity("pursuit.delay_s", "Delay", lambda t: t.pursuit_delay_s, 0.010),
    Quantity("pursuit.gain", "Gain", lambda t: t.pursuit_gain, 0.03),
    Quantity("pursuit.tremor_hz", "Tremor frequency, pursuit", _frequency_hz, 0.2),
    Quantity("slide.tremor_hz", "Tremor frequency, slide", _frequency_hz, 0.2),
    Quantity(
        "pursuit.jitter_across_mm", "Tremor across, pursuit", _across_rms_mm, 0.10, True,
        "True is the amplitude across the path over the square root of 2. A finger that "
        "wanders slowly, or comes back after a loss of contact, adds to it.",
    ),
    Quantity(
        "slide.jitter_across_mm", "Tremor across, slide", _across_in_slide_mm, 0.10, True,
        "Not for a tremor that grows near the goal: how much of it falls into the slide is "
        "no fixed number.",
    ),
    Quantity(
        "tapping.reaction_time_s", "Reaction time", _reaction_s, note=
        "A panel tells of a lift at its next scan, half an interval late in the mean: 8 ms at "
        "60 Hz, 4 ms at 120 Hz. A median of some 20 reactions wanders by a quarter of their "
        "standard deviation.",
    ),
    Quantity("tapping.movement_time_s", "Movement time", lambda t: t.movement_s),
    Quantity(
        "tapping.variable_error_mm", "Scatter of end points", _scatter_mm, relative=True,
        note="About 20 end points give a scatter to within 11 % (one standard error); their "
        "own mean takes the place of the true one, which makes it 2 to 3 % too small.",
    ),
    Quantity(
        "slide.extent_mm", "Extent", lambda t: t.slide_extent_mm, relative=True,
        note="The farthest place of a finger that shakes lies beyond what it aims at.",
    ),
    Quantity("pursuit.contact_loss", "Time off the glass", _lost_share),
)  # fmt: skip


def play(task: str, truth: Truth, pointer: Pointer, seed: int) -> Block:
    """Play one test block of the standard plan with the right hand."""
    planned = next(
        block
        for block in planned_blocks(STANDARD, "right")
        if (block.task, block.hand, block.phase) == (task, "right", "test")
    )
    settings = settings_to_dict(planned.settings(seed))
    header = BlockHeader(
        block_id=f"00000000-0000-4000-8000-{seed:012d}",
        visit_id="00000000-0000-4000-8000-000000000000",
        index=0,
        task=task,
        hand="right",
        phase="test",
        layout_seed=seed,
        layout_hash=short_hash(settings),
        settings=settings,
        started_utc="2026-03-02T09:00:00.000+00:00",
    )
    return run_block(header, Person(truth, pointer, seed))


def recover(truth: Truth, pointer: Pointer, seed: int) -> dict[str, float]:
    """Play all tasks once; return every score by measure, and the floor of each block."""
    screen = Screen(1280, 800, pointer.grid_mm, pointer.grid_mm, "virtual")
    values: dict[str, float] = {}
    for task in TASKS:
        block = play(task, truth, pointer, seed)
        values |= {score.measure: score.value for score in score_block(block, screen=screen)}
        # A slow pointer crosses few pixels: more reports than these do not thin its rounding.
        rate_hz = min(block.audit.report_rate_hz or pointer.rate_hz, GRID_HZ)
        values[f"{task}.{FLOOR}"] = floor_mm(pointer.grid_mm, rate_hz)
    return values


@dataclass(frozen=True, slots=True)
class Found:
    """One person on one pointer: what was scored of one quantity, repeat by repeat.

    Parameters
    ----------
    quantity : Quantity
    person, pointer : str
    true : float
    values : tuple of float
    floor_mm : float
        Largest floor of these blocks, as a root mean square.
    """

    quantity: Quantity
    person: str
    pointer: str
    true: float
    values: tuple[float, ...]
    floor_mm: float

    @property
    def errors(self) -> list[float]:
        """Errors of the repeats."""
        return [self.quantity.error(value, self.true) for value in self.values]

    @property
    def bias(self) -> float:
        """Mean error."""
        return fmean(self.errors)

    @property
    def spread(self) -> float:
        """Standard deviation of the error over repeats."""
        return stdev(self.errors)

    @property
    def promised(self) -> bool:
        """Whether the limit is promised here: of tremor only well above the floor."""
        if math.isnan(self.quantity.limit):
            return False
        tremor_mm = _across_rms_mm(PEOPLE[self.person])
        return not self.quantity.of_tremor or tremor_mm > FLOORS * self.floor_mm

    @property
    def kept(self) -> bool:
        """Whether the limit was kept: by every block, or by their mean.

        The mean has to where the person differs from block to block by chance alone, so that
        there is no truth of the single block: in the size of a tremor that is no pure sine,
        and in everything followed by a finger that wanders a lot.
        """
        truth = PEOPLE[self.person]
        by_chance = (self.quantity.relative and truth.tremor_bandwidth_hz > 0) or (
            truth.wander_mm > 1
        )
        errors = [self.bias] if by_chance else self.errors
        return all(abs(error) <= self.quantity.limit for error in errors)


def find(
    people: Iterable[str] = tuple(PEOPLE),
    pointers: Iterable[str] = tuple(POINTERS),
    *,
    n_repeats: int = N_REPEATS,
    n_processes: int | None = None,
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> list[Found]:
    """Let people play and set what was scored beside what they are made of.

    Parameters
    ----------
    n_repeats : int
        At least 2, for a spread.
    n_processes : int, optional
        Default: one a core. The figures do not depend on it.

    Returns
    -------
    list of Found
        Only where the truth is a number and every repeat gave a value.
    """
    cells = [(person, pointer) for person in people for pointer in pointers]
    jobs = [(cell, repeat) for cell in cells for repeat in range(n_repeats)]
    scores: dict[tuple[str, str], list[dict[str, float]]] = {cell: [] for cell in cells}
    with ProcessPoolExecutor(n_processes) as pool:
        results = pool.map(_job, jobs, chunksize=2)
        for done, ((cell, _), result) in enumerate(zip(jobs, results, strict=True), start=1):
            scores[cell].append(result)
            progress(done, len(jobs))
    found = []
    for quantity in QUANTITIES:
        if quantity.measure not in MEASURES:
            continue
        for (person, pointer), results_here in scores.items():
            true = quantity.expected(PEOPLE[person])
            values = tuple(result[quantity.measure] for result in results_here)
            if not math.isnan(true) and not any(math.isnan(v) for v in values):
                floor = f"{quantity.measure.split('.')[0]}.{FLOOR}"
                floors = [result[floor] for result in results_here]
                found.append(Found(quantity, person, pointer, true, values, max(floors)))
    return found


def _job(job: tuple[tuple[str, str], int]) -> dict[str, float]:
    (person, pointer), repeat = job
    seed = 1000 * list(PEOPLE).index(person) + repeat + 1
    return recover(PEOPLE[person], POINTERS[pointer], seed)


HEAD = """# Does scoring find what people were made of

Made by `python -m battery.recovery docs/recovery.md`; change the program, not this page.

Made-up people with known truth play the test blocks of the standard plan through the real
tasks, closed loop, in virtual time; each block is scored as a real one is. {n_people} people,
{n_pointers} pointers, {n_repeats} repeats of every pair, each with a layout of its own. A cell
holds the bias (mean of scored minus true) ± the spread (standard deviation over the repeats);
of sizes both are shares of the truth. Where a limit is promised a cell outside it is marked
**!**; a cell in brackets stands outside the promise, as the tremor is under {floors:g} times the
floor of the pointer. Every block has to keep the limit by itself, or the mean of the repeats
where chance alone makes the person differ from block to block (an unsteady tremor, a finger
that wanders by more than 1 mm).
"""

POINTER_HEAD = """
## Pointers

| pointer | reports a second | grid, mm | in the air | at rest |
|---|---|---|---|---|
"""

PEOPLE_HEAD = """
## People

Everybody is the first line but for what is named.

| person | made of |
|---|---|
"""


def page(found: Sequence[Found], n_repeats: int = N_REPEATS) -> str:
    """Write what was found as a page of Markdown."""
    parts = [
        HEAD.format(
            n_people=len(PEOPLE), n_pointers=len(POINTERS), n_repeats=n_repeats, floors=FLOORS
        ),
        _summary(found),
        POINTER_HEAD,
        *(_pointer_line(name, pointer) for name, pointer in POINTERS.items()),
        PEOPLE_HEAD,
        f"| anybody | {_made_of(Truth(), whole=True)} |\n",
        *(f"| {name} | {_made_of(truth)} |\n" for name, truth in PEOPLE.items()),
    ]
    for quantity in QUANTITIES:
        cells = [f for f in found if f.quantity == quantity]
        if cells:
            parts.append(_table(quantity, cells))
    return "".join(parts)


def _summary(found: Sequence[Found]) -> str:
    lines = [
        "\n## In short\n\n",
        "| | limit | cells under the promise | kept | largest bias | largest spread |\n",
        "|---|---|---|---|---|---|\n",
    ]
    for quantity in QUANTITIES:
        cells = [f for f in found if f.quantity == quantity and f.promised]
        if cells:
            bias = max((f.bias for f in cells), key=abs)
            spread = max(f.spread for f in cells)
            lines.append(
                f"| {quantity.title} | {quantity.shown(quantity.limit)} | {len(cells)} | "
                f"{sum(f.kept for f in cells)} | {quantity.shown(bias, signed=True)} | "
                f"{quantity.shown(spread)} |\n"
            )
    return "".join(lines)


def _pointer_line(name: str, pointer: Pointer) -> str:
    air = "nothing" if pointer.touch else "hovers"
    rest = "reports" if pointer.reports_at_rest else "silent"
    return f"| {name} | {pointer.rate_hz:g} | {pointer.grid_mm:g} | {air} | {rest} |\n"


def _made_of(truth: Truth, *, whole: bool = False) -> str:
    """Name what a person is made of, where it differs from anybody."""
    usual = Truth()
    values = {f.name: getattr(truth, f.name) for f in fields(truth)}
    return ", ".join(
        f"`{name}` {value}"
        for name, value in values.items()
        if (value not in (None, 0.0) if whole else value != getattr(usual, name))
    )


def _table(quantity: Quantity, cells: Sequence[Found]) -> str:
    unit = MEASURES[quantity.measure].unit
    measured = f"`{quantity.measure}`" + (f", {unit}" if unit != "1" else "")
    limit = (
        "" if math.isnan(quantity.limit) else f" Promised: {quantity.shown(quantity.limit)}."
    )
    kind = " Bias and spread in per cent." if quantity.relative else ""
    note = f" {quantity.note}" if quantity.note else ""
    lines = [
        f"\n## {quantity.title}\n\n{measured}.{limit}{kind}{note}\n\n",
        f"| person | true | {' | '.join(POINTERS)} |\n",
        f"|---|---|{'---|' * len(POINTERS)}\n",
    ]
    by_pair = {(f.person, f.pointer): f for f in cells}
    for person in dict.fromkeys(f.person for f in cells):
        row = [by_pair.get((person, pointer)) for pointer in POINTERS]
        true = next(f.true for f in row if f is not None)
        texts = " | ".join("-" if f is None else _cell(f) for f in row)
        lines.append(f"| {person} | {true:.3g} | {texts} |\n")
    return "".join(lines)


def _cell(found: Found) -> str:
    quantity = found.quantity
    text = f"{quantity.shown(found.bias, signed=True)} ± {quantity.shown(found.spread)}"
    if math.isnan(quantity.limit):
        return text
    if not found.promised:
        return f"({text})"
    return text if found.kept else f"**! {text}**"


def main(arguments: Sequence[str]) -> int:
    """Write the page to the file that is named."""
    if len(arguments) != 1:
        sys.stderr.write("name the file to write, as in: docs/recovery.md\n")
        return 2
    path = Path(arguments[0])
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(page(find(progress=_tell)), encoding="utf-8")
    return 0


def _tell(done: int, total: int) -> None:
    if sys.stderr.isatty():
        sys.stderr.write(f"\r{done} of {total}" + ("\n" if done == total else ""))


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
