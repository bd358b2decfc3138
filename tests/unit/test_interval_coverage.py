"""Intervals hold what people are made of about as often as they say."""

import math

import pytest

from battery.recording import Screen
from battery.recovery.quantities import QUANTITIES
from battery.scoring import score_block
from battery.simulate import Truth
from tests.blocks import simulated_block

N_BLOCKS = 40
PERSON = Truth(overshoot=0.05)
HELD = {
    "tapping": (
        "tapping.reaction_time_s", "tapping.movement_time_s", "tapping.overshoot_percent",
        "tapping.throughput_bit_s",
    ),
    "pursuit": (
        "pursuit.delay_s", "pursuit.gain", "pursuit.delay_predictable_s",
        "pursuit.gain_predictable", "pursuit.jitter_across_mm", "pursuit.tremor_hz",
        "pursuit.contact_loss",
    ),
    "slide": ("slide.tremor_hz", "slide.stops"),
    "trail": ("trail.search_time_s", "trail.n_errors"),
}  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("task", HELD)
def test_intervals_hold_the_truth(task):
    """Of 40 blocks 33 or more: with 95 % each, fewer come by chance once in 1,500 times."""
    true = {q.measure: q.expected(PERSON) for q in QUANTITIES}
    held = dict.fromkeys(HELD[task], 0)
    for seed in range(500, 500 + N_BLOCKS):
        block = simulated_block(task, PERSON, seed=seed)
        for score in score_block(block, screen=Screen(1280, 800, 0.1, 0.1, "virtual")):
            if score.measure in held:
                assert not math.isnan(score.low), score
                held[score.measure] += score.low <= true[score.measure] <= score.high
    assert all(count >= 33 for count in held.values()), held
