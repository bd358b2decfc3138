"""Whatever a record looks like, each measure has a value with a sound interval, or a reason."""

import dataclasses
import functools
import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from battery.recording import KIND_CODES, Screen
from battery.scoring import MEASURES, score_block, trial_rows
from battery.simulate import POINTERS, Truth
from tests.blocks import simulated_block

SCREEN = Screen(1280, 800, 0.1, 0.1, "virtual")
TASKS = ("tapping", "pursuit", "slide", "trail")
MOVES = (KIND_CODES["move"], KIND_CODES["hover"])


@functools.cache
def played(task, pointer):
    return simulated_block(task, Truth(lost_contact_per_min=4), POINTERS[pointer], seed=1)


def frozen(block, random):
    samples = block.samples.copy()
    samples["x_mm"], samples["y_mm"] = 0.0, 0.0
    return dataclasses.replace(block, samples=samples)


def coarse(block, random):
    samples = block.samples.copy()
    for axis in ("x_mm", "y_mm"):
        samples[axis] = np.round(samples[axis] / 5) * 5
    return dataclasses.replace(block, samples=samples)


def thinned(block, random):
    moves = np.isin(block.samples["kind"], MOVES)
    kept = ~moves | (random.random(len(moves)) < random.choice([0.01, 0.1, 0.5]))
    return dataclasses.replace(block, samples=block.samples[kept])


def cut_short(block, random):
    n = int(random.integers(0, len(block.samples)))
    end_ns = int(block.samples["t_ns"][n])
    events = block.events[block.events["t_ns"] <= end_ns]
    return dataclasses.replace(block, samples=block.samples[:n], events=events)


def without_samples(block, random):
    return dataclasses.replace(block, samples=block.samples[:0])


def without_events(block, random):
    return dataclasses.replace(block, events=block.events[:0])


def without_frames(block, random):
    return dataclasses.replace(block, frames=block.frames[:0])


def at_one_moment(block, random):
    samples = block.samples.copy()
    samples["t_ns"] = 10**9
    return dataclasses.replace(block, samples=samples)


def stamps_of_a_frame(block, random):
    samples = block.samples.copy()
    samples["t_ns"] = samples["t_ns"] // 16_666_667 * 16_666_667
    return dataclasses.replace(block, samples=samples)


DAMAGE = (
    frozen, coarse, thinned, cut_short, without_samples, without_events, without_frames,
    at_one_moment, stamps_of_a_frame,
)  # fmt: skip


def check(block):
    scores = score_block(block, screen=SCREEN)
    task = block.header.task
    assert [s.measure for s in scores] == [n for n in MEASURES if n.startswith(f"{task}.")]
    for score in scores:
        assert not math.isinf(score.value), score
        assert score.n >= 0
        assert math.isnan(score.low) == math.isnan(score.high), score
        if math.isnan(score.value):
            assert score.reason, score
            assert math.isnan(score.low), score
        elif math.isnan(score.low):
            assert score.reason, score
        else:
            assert score.low <= score.value <= score.high, score
    trial_rows(block)


@pytest.mark.parametrize("pointer", ["touch 120 Hz", "mouse 125 Hz"])
@pytest.mark.parametrize("task", TASKS)
@pytest.mark.parametrize("damage", DAMAGE, ids=lambda f: f.__name__)
def test_a_damaged_record_is_scored_or_says_why_not(damage, task, pointer):
    check(damage(played(task, pointer), np.random.default_rng(1)))


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(TASKS), st.sampled_from(("touch 60 Hz", "mouse 125 Hz")),
    st.lists(st.sampled_from(DAMAGE), min_size=1, max_size=3), st.integers(0, 2**32 - 1),
)  # fmt: skip
@example("slide", "touch 60 Hz", [cut_short], 48)  # once found by search: one window only
def test_so_is_one_damaged_in_several_ways(task, pointer, damages, seed):
    random = np.random.default_rng(seed)
    block = played(task, pointer)
    for damage in damages:
        if len(block.samples):
            block = damage(block, random)
    check(block)
