"""What a device does to its reports is read through, or said: bursts, coarse grids, jumps."""

import dataclasses
import math

import numpy as np
import pytest

from battery.recording import KIND_CODES, Screen
from battery.scoring import score_block
from battery.scoring.flags import FLAGS, Value, flag_measures, flags_of
from battery.scoring.signal.path import n_jumps, one_of_a_burst
from tests import makers
from tests.makers import Panel, Shake


def read(block, pixel_mm=0.1):
    screen = Screen(1280, 800, pixel_mm, pixel_mm, "virtual")
    scores = score_block(block, screen=screen)
    values = {s.measure: Value(s.value, s.n, s.reason) for s in scores}
    kept = {name: values[name] for name in flag_measures(block.header.task)}
    raised = flags_of(
        ending="finished", input_type="touch", scale_source="card", audit=block.audit,
        task=block.header.task, n_primary=next(iter(kept.values())).n, scores=kept,
    )  # fmt: skip
    return {s.measure.split(".", 1)[1]: s for s in scores}, set(raised)


@pytest.mark.parametrize(("rate_hz", "burst"), [(120, 4), (240, 4), (240, 3)])
def test_reports_queued_in_bursts_bias_nothing_and_are_flagged(rate_hz, burst):
    """120 Hz in fours used to give a delay of +12 ms, jitter of -4 to -14 %, and no flag."""
    panel = Panel(rate_hz=rate_hz, burst=burst)
    block = makers.pursuit(5, panel=panel, shake=Shake(5, 1.0), delay_s=0.2)
    found, flags = read(block)
    assert found["delay_s"].value == pytest.approx(0.2, abs=0.004)
    clean, _ = read(makers.pursuit(5, shake=Shake(5, 1.0), delay_s=0.2))
    assert found["tracking_rmse_mm"].value == pytest.approx(
        clean["tracking_rmse_mm"].value, rel=0.02
    )
    jitter = found["jitter_across_mm"]
    if rate_hz / burst >= 60:
        assert jitter.value == pytest.approx(1 / math.sqrt(2), rel=0.04)
    else:
        assert "reports a second" in jitter.reason
    assert found["queued_share"].value == pytest.approx(1 - 1 / burst, abs=0.02)
    assert "queued_reports" in flags
    assert FLAGS["queued_reports"].effect == "care"


def test_without_bursts_nothing_is_queued():
    for rate_hz in (60, 120, 1000):
        panel = Panel(rate_hz=rate_hz, irregular=0.3)
        _, flags = read(makers.slide(6, panel=panel))
        assert not {"queued_reports", "position_jumps", "coarse_pixels"} & flags


def test_bursts_that_hold_most_intervals_are_one_report_each():
    """240 reports in 80 bursts of three: all 240 were kept, as their own median is short."""
    t_s = np.sort(np.concatenate([np.arange(80) * 0.0125 + k * 5e-5 for k in range(3)]))
    kept_s, _ = one_of_a_burst((t_s, np.zeros((240, 2))))
    assert len(kept_s) == 80
    assert kept_s == pytest.approx(np.arange(80) * 0.0125 + 1e-4)


def test_a_grid_as_coarse_as_the_tremor_is_flagged_and_in_the_interval():
    """0.3 mm of grid and 0.2 mm of amplitude read 25 to 33 % too much, without a word."""
    holds = []
    for seed in range(6):
        panel = Panel(pixel_mm=0.3)
        block = makers.pursuit(seed, panel=panel, shake=Shake(5.3, 0.2), wander_mm=0.3)
        found, flags = read(block)  # the screen's pixel is finer than the panel's grid
        assert "coarse_pixels" in flags
        jitter = found["jitter_across_mm"]
        holds.append(jitter.low <= 0.2 / math.sqrt(2) <= jitter.high)
    assert all(holds)
    _, flags = read(makers.pursuit(1, panel=Panel(pixel_mm=0.3), shake=Shake(5.3, 2.0)))
    assert "coarse_pixels" not in flags


def test_jumps_of_the_position_are_flagged_and_a_large_tremor_is_none():
    block = makers.pursuit(7, shake=Shake(5, 0.3))
    samples = block.samples.copy()
    at_s = samples["t_ns"] / 1e9
    moved = (samples["kind"] == KIND_CODES["move"]) & (at_s // 3 % 2 == 1)
    samples["y_mm"][moved] += 5.0
    _, flags = read(dataclasses.replace(block, samples=samples))
    assert "position_jumps" in flags
    for hz in (3.0, 8.0):
        _, flags = read(makers.slide(7, shake=Shake(hz, 15.0), way_s=3.0))
        assert "position_jumps" not in flags


def test_a_jump_is_a_step_that_stands_alone():
    """By hand: 5 mm between steps of 0.2 mm is one, 5 mm between steps of 4 mm is none."""
    t_s = np.arange(6) / 120
    alone = np.column_stack([np.cumsum([0, 0.2, 0.2, 5.0, 0.2, 0.2]), np.zeros(6)])
    among = np.column_stack([np.cumsum([0, 3.0, 4.0, 5.0, 4.0, 3.0]), np.zeros(6)])
    assert n_jumps([(t_s, alone)]) == 1
    assert n_jumps([(t_s, among)]) == 0
