"""Blocks of simulated participants, for tests."""

from __future__ import annotations

from battery.plan import STANDARD, planned_blocks
from battery.recording import Block, BlockHeader, short_hash
from battery.runner import run_block
from battery.simulate import TOUCH_120, Person, Pointer, Truth
from tasks.contract import settings_to_dict
from tasks.registry import TASKS


def simulated_block(
    task: str, truth: Truth, pointer: Pointer = TOUCH_120, *, seed: int, hand: str = "right"
) -> Block:
    """Play one test block of the standard plan."""
    planned = next(
        b
        for b in planned_blocks(STANDARD, "right")
        if (b.task, b.hand, b.phase) == (task, hand, "test")
    )
    settings = settings_to_dict(planned.settings(seed))
    header = BlockHeader(
        block_id=f"00000000-0000-4000-8000-{seed:012d}",
        visit_id="00000000-0000-4000-8000-000000000000",
        index=0,
        task=task,
        hand=planned.hand,
        phase="test",
        layout_seed=seed,
        layout_hash=short_hash(settings),
        settings=settings,
        started_utc="2026-03-02T09:00:00.000+00:00",
        task_version=TASKS[task].version,
    )
    return run_block(header, Person(truth, pointer, seed))
