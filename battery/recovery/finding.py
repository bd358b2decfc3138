"""Playing, scoring, and setting the scores beside the truth."""

from __future__ import annotations

import math
import multiprocessing
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Any

from battery.plan import STANDARD, planned_blocks
from battery.recording import Block, BlockHeader, Screen, short_hash
from battery.recovery.people import PEOPLE
from battery.recovery.quantities import QUANTITIES, Quantity, across_rms_mm
from battery.runner import run_block
from battery.scoring import MEASURES, score_block
from battery.scoring.jitter.device_floor import floor_mm
from battery.scoring.signal.path import GRID_HZ
from battery.simulate import POINTERS, Person, Pointer, Truth
from tasks.contract import settings_to_dict
from tasks.registry import TASKS

N_REPEATS = 5
FLOORS = 5.0  # a tremor is promised to be found where it is so many times the floor
FLOOR = "floor_mm"


def standard_header(
    task: str, seed: int, *, hand: str = "right", **settings: Any
) -> BlockHeader:
    """Return the header of a test block of the standard plan, its layout drawn by the seed.

    Parameters
    ----------
    task : str
    seed : int
    hand : {"right", "left"}
    **settings
        That are others than those of the plan.
    """
    planned = next(
        block
        for block in planned_blocks(STANDARD, "right")
        if (block.task, block.hand, block.phase) == (task, hand, "test")
    )
    held = settings_to_dict(planned.settings(seed)) | settings
    return BlockHeader(
        block_id=f"00000000-0000-4000-8000-{seed:012d}",
        visit_id="00000000-0000-4000-8000-000000000000",
        index=0,
        task=task,
        hand=planned.hand,
        phase="test",
        layout_seed=seed,
        layout_hash=short_hash(held),
        settings=held,
        started_utc="2026-03-02T09:00:00.000+00:00",
        task_version=TASKS[task].version,
    )


def play(task: str, truth: Truth, pointer: Pointer, seed: int, *, hand: str = "right") -> Block:
    """Play one test block of the standard plan."""
    return run_block(standard_header(task, seed, hand=hand), Person(truth, pointer, seed))


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
        tremor_mm = across_rms_mm(PEOPLE[self.person])
        return not self.quantity.of_tremor or tremor_mm > FLOORS * self.floor_mm

    @property
    def kept(self) -> bool:
        """Whether the limit was kept: by every block, or by their mean.

        The mean has to where the person differs from block to block by chance alone, so that
        there is no truth of the single block: in the size and frequency of a tremor that is
        no pure sine, and in everything followed by a finger that wanders a lot.
        """
        truth = PEOPLE[self.person]
        drifting = truth.tremor_bandwidth_hz > 0
        by_chance = (drifting and (self.quantity.relative or self.quantity.of_tremor)) or (
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
    with ExitStack() as stack:
        results: Iterable[dict[str, float]] = map(_job, jobs)
        if n_processes != 1:
            spawn = multiprocessing.get_context("spawn")
            pool = stack.enter_context(ProcessPoolExecutor(n_processes, mp_context=spawn))
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
