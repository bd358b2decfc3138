"""Blocks of simulated participants, for tests."""

from __future__ import annotations

from battery.recording import Block
from battery.recovery.finding import play
from battery.simulate import TOUCH_120, Pointer, Truth


def simulated_block(
    task: str, truth: Truth, pointer: Pointer = TOUCH_120, *, seed: int, hand: str = "right"
) -> Block:
    """Play one test block of the standard plan."""
    return play(task, truth, pointer, seed, hand=hand)
