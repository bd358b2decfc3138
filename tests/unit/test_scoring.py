"""Scores on cases solved by hand, and the traps they must not fall into."""

import dataclasses
import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from battery.errors import ScoringError
from battery.recording import Screen
from battery.scoring import MEASURES, PRIMARY, score_block, trial_rows
from battery.scoring.jitter.band import band_rms_mm
from battery.scoring.pursuit.tracking import delay_s
from battery.scoring.signal.filters import speed_mm_s
from battery.scoring.signal.path import check_order, even, split_gaps
from battery.scoring.stats.resampling import Bootstrap, mean
from battery.simulate import POINTERS, Truth
from tests.blocks import simulated_block
from tests.sparing import share

SCREEN = Screen(1280, 800, 0.1, 0.1, "virtual")


def scores_of(block):
    return {s.measure: s for s in score_block(block, screen=SCREEN)}


@pytest.mark.parametrize(("task", "pointer"), share(itertools.product(PRIMARY, POINTERS), 5))
def test_every_measure_of_a_task_is_there_and_none_besides(task, pointer):
    scores = scores_of(simulated_block(task, Truth(), POINTERS[pointer], seed=1))
    assert set(scores) == {name for name in MEASURES if name.startswith(task)}
    for score in scores.values():
        assert score.n >= 0
        assert not math.isnan(score.value) or score.reason
        if not math.isnan(score.low):
            assert score.low <= score.value <= score.high


def test_same_record_gives_the_same_bits():
    block = simulated_block("tapping", Truth(), seed=4)
    assert score_block(block, screen=SCREEN) == score_block(block, screen=SCREEN)


@pytest.mark.parametrize("pointer", POINTERS.values(), ids=POINTERS)
def test_pursuit_recovers_delay_and_gain(pointer):
    """Within 10 ms and 0.03 of what the finger was made to do."""
    truth = Truth(pursuit_delay_s=0.23, pursuit_gain=0.85)
    scores = scores_of(simulated_block("pursuit", truth, pointer, seed=2))
    assert scores["pursuit.delay_s"].value == pytest.approx(0.23, abs=0.010)
    assert scores["pursuit.gain"].value == pytest.approx(0.85, abs=0.03)


@pytest.mark.parametrize(
    ("hz", "pointer"), share(itertools.product([4.3, 6.1, 9.7], POINTERS), 5)
)
def test_jitter_recovers_the_amplitude_of_tremor(pointer, hz):
    """A sine of amplitude A has RMS A / sqrt(2); within 10 %."""
    truth = Truth(tremor_hz=hz, tremor_mm=1.2)
    for task in ("pursuit", "slide"):
        scores = scores_of(simulated_block(task, truth, POINTERS[pointer], seed=3))
        value = scores[f"{task}.jitter_across_mm"].value
        assert value == pytest.approx(1.2 / math.sqrt(2), rel=0.10)


def test_tapping_recovers_reaction_and_movement_time():
    truth = Truth(reaction_s=0.5, reaction_sd_s=0.0, movement_s=0.6, tremor_mm=0.0)
    scores = scores_of(simulated_block("tapping", truth, seed=5))
    # The cue is seen at the next report after its frame, the finger lifts at the one after.
    assert scores["tapping.reaction_time_s"].value == pytest.approx(0.5, abs=0.02)
    assert scores["tapping.movement_time_s"].value == pytest.approx(0.6, abs=0.02)


def test_trail_search_and_travel_add_up_exactly():
    scores = scores_of(simulated_block("trail", Truth(), seed=6))
    whole = scores["trail.completion_time_s"].value
    parts = scores["trail.search_time_s"].value + scores["trail.travel_time_s"].value
    assert parts == pytest.approx(whole, abs=1e-12)
    assert 0 < scores["trail.search_time_s"].value < whole


def test_links_add_up_to_the_time_between_captures():
    block = simulated_block("trail", Truth(), seed=7)
    rows = trial_rows(block)
    for row in rows:
        whole = row["end_s"] - row["start_s"]
        assert row["search_time_s"] + row["travel_time_s"] == pytest.approx(whole, abs=1e-12)


def test_more_search_is_found_as_search():
    slow = scores_of(simulated_block("trail", Truth(search_s=1.6, slip_rate=0), seed=8))
    quick = scores_of(simulated_block("trail", Truth(search_s=0.6, slip_rate=0), seed=8))
    more = slow["trail.search_time_s"].value - quick["trail.search_time_s"].value
    travel = slow["trail.travel_time_s"].value - quick["trail.travel_time_s"].value
    assert more == pytest.approx(28 * 1.0, rel=0.25)  # 28 links, a second more for each
    assert abs(travel) < 0.15 * more


def test_stopped_block_has_no_scores_but_reasons():
    block = dataclasses.replace(simulated_block("slide", Truth(), seed=9), ending="stopped")
    for score in score_block(block, screen=SCREEN):
        assert math.isnan(score.value)
        assert score.reason == "the block was stopped"


def test_disordered_stamps_are_an_error_and_never_sorted():
    samples = simulated_block("slide", Truth(), seed=9).samples.copy()
    samples["t_ns"][10:12] = samples["t_ns"][11:9:-1]
    with pytest.raises(ScoringError, match="backwards"):
        check_order(samples)


def test_gap_over_50_ms_splits_a_segment():
    t_s = np.array([0, 0.01, 0.02, 0.08, 0.09])
    pieces = split_gaps((t_s, np.zeros((5, 2))))
    assert [len(p[0]) for p in pieces] == [3, 2]


@pytest.mark.parametrize("rate_hz", [60, 120, 240])
@pytest.mark.parametrize("hz", [4, 8, 12])
def test_resampling_keeps_amplitude(rate_hz, hz):
    """Cubic spline on jittered stamps (4 ms at 60 a second): at most 1 % lost up to 12 Hz."""
    generator = np.random.default_rng(1)
    t_s = np.arange(0, 10, 1 / rate_hz)
    t_s = np.sort(t_s + generator.uniform(-0.24, 0.24, len(t_s)) / rate_hz)
    path = np.column_stack([np.sin(2 * np.pi * hz * t_s), 0 * t_s])
    grid_s, smooth = even((t_s, path))
    inside = (grid_s > 0.5) & (grid_s < 9.5)
    amplitude = np.sqrt(2) * np.sqrt(np.mean(smooth[inside, 0] ** 2))
    assert amplitude == pytest.approx(1, rel=0.01 if hz < 12 or rate_hz > 60 else 0.03)


@given(scale=st.floats(0.01, 100), shift=st.floats(-50, 50))
def test_jitter_scales_and_ignores_the_place(scale, shift):
    t_s = np.arange(0, 6, 1 / 120)
    wave = np.sin(2 * np.pi * 5 * t_s) + 0.3 * np.sin(2 * np.pi * 9 * t_s)
    once = band_rms_mm([wave])
    assert band_rms_mm([scale * wave + shift]) == pytest.approx(scale * once, rel=1e-6)


def test_slow_drag_over_whole_pixels_stays_below_the_practical_floor():
    """The staircase of a slow drag looks like tremor; it must not pass 0.1 mm."""
    for pixel_mm in (0.1, 0.25):
        t_s = np.arange(0, 20, 1 / 60)
        stairs = np.round(16.5 * t_s / pixel_mm) * pixel_mm
        assert band_rms_mm([stairs], rate_hz=60) < 0.1


def test_speed_of_a_straight_even_movement():
    path = np.column_stack([np.arange(0, 2, 1 / 120) * 50.0, np.zeros(240)])
    assert speed_mm_s(path) == pytest.approx(50.0)


@given(st.lists(st.floats(0.02, 0.25), min_size=1, max_size=5))
def test_delay_from_exact_phases_is_exact(delays):
    f_hz = np.array([3, 7, 11, 17, 29]) / 40
    for delay in delays:
        phase = np.angle(np.exp(-2j * np.pi * f_hz * delay))
        assert delay_s(f_hz, phase)[0] == pytest.approx(delay, abs=1e-9)


def test_bootstrap_says_nothing_on_few_values_and_repeats_itself():
    assert math.isnan(Bootstrap(1).interval(np.arange(4.0), mean)[0])
    values = np.random.default_rng(3).normal(10, 2, 50)
    low, high = Bootstrap(1).interval(values, mean)
    assert (low, high) == Bootstrap(1).interval(values, mean)
    assert low < values.mean() < high
