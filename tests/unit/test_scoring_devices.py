"""What a device adds: scores of one movement as told by devices of 60 to 1,000 reports."""

import dataclasses
import itertools
import math

import numpy as np
import pytest

from battery.errors import ScoringError
from battery.recording import Screen
from battery.scoring import score_block, trial_rows
from battery.scoring.jitter.band import band_rms_mm
from battery.scoring.signal.filters import speed_mm_s
from battery.scoring.signal.path import even, followed_path, one_of_a_burst, pieces, split_gaps
from battery.scoring.signal.smoothness import sparc
from battery.scoring.slide.passes import TAKES
from battery.simulate import Pointer, Truth
from tests.blocks import simulated_block
from tests.people import EXACT
from tests.sparing import share

SCREEN = Screen(1280, 800, 0.1, 0.1, "virtual")
DEVICES = {
    f"{rate} Hz, {grid} mm": Pointer(rate_hz=rate, grid_mm=grid, scan_jitter_s=0.1 / rate)
    for rate, grid in ((60.0, 0.25), (60.0, 0.1), (120.0, 0.25), (120.0, 0.1), (240.0, 0.15))
}
PERSON = Truth(tremor_mm=1.0, tremor_hz=6.0, search_spread=0.0, reaction_sd_s=0.02)
# How far a score may lie from that of an exact device of 1,000 reports: in its unit, or as a
# share of it. People differ a little from device to device: they see and lift at its scans.
WITHIN = {
    "tapping.radial_error_mm": ("share", 0.10),
    "tapping.movement_time_s": ("unit", 0.020),
    "tapping.reaction_time_s": ("unit", 0.020),
    "pursuit.tracking_rmse_mm": ("share", 0.03),
    "pursuit.delay_s": ("unit", 0.006),
    "pursuit.gain": ("unit", 0.01),
    "pursuit.velocity_gain": ("unit", 0.015),
    "pursuit.time_on_target": ("unit", 0.03),
    "pursuit.jitter_across_mm": ("share", 0.05),
    "pursuit.tremor_hz": ("unit", 0.05),
    "slide.jitter_across_mm": ("share", 0.08),
    "slide.extent_mm": ("share", 0.05),
    "slide.mean_speed_mm_s": ("share", 0.05),
    "slide.sparc": ("unit", 0.25),
    "slide.stops": ("unit", 0.2),
    "trail.path_efficiency": ("unit", 0.05),
    "trail.travel_speed_mm_s": ("share", 0.08),
}


def scores_of(task, pointer):
    block = simulated_block(task, PERSON, pointer, seed=11)
    return {s.measure: s.value for s in score_block(block, screen=SCREEN)}


@pytest.fixture(scope="module")
def exact():
    return {task: scores_of(task, EXACT) for task in ("tapping", "pursuit", "slide", "trail")}


@pytest.mark.parametrize(
    ("device", "task"),
    share(itertools.product(DEVICES, ("tapping", "pursuit", "slide", "trail")), 3),
)
def test_rate_jitter_and_grid_bias_no_score(device, task, exact):
    found = scores_of(task, DEVICES[device])
    for name, (kind, limit) in WITHIN.items():
        if name.startswith(task):
            true = exact[task][name]
            apart = abs(found[name] - true) / (abs(true) if kind == "share" else 1.0)
            assert apart <= limit, (name, found[name], true)


@pytest.mark.parametrize("rate_hz", [60, 120, 240, 1000])
@pytest.mark.parametrize("grid_mm", [0.1, 0.25])
def test_resampling_alone_keeps_a_moving_tremor(rate_hz, grid_mm):
    """6 Hz of 1 mm on a drag, at jittered stamps: within 1 %, and what rounding adds.

    A steady sine is rounded alike in every cycle: 4 % of four steps of the grid, 1.6 % of ten.
    """
    random = np.random.default_rng(2)
    t_s = np.arange(0, 12, 1 / rate_hz)
    t_s = np.sort(t_s + random.uniform(-0.2, 0.2, len(t_s)) / rate_hz)
    place = np.column_stack([15 * np.sin(2 * np.pi * 0.4 * t_s), np.sin(2 * np.pi * 6 * t_s)])
    grid_s, path = even((t_s, np.round(place / grid_mm) * grid_mm))
    true = np.sin(2 * np.pi * 6 * grid_s)
    inside = (grid_s > 0.5) & (grid_s < 11.5)
    assert math.sqrt(2) * band_rms_mm([path[:, 1]]) == pytest.approx(1.0, abs=0.16 * grid_mm)
    assert np.corrcoef(path[inside, 1], true[inside])[0, 1] > 0.985


def test_reports_read_in_bursts_count_as_one():
    """Two of three reports are read together with the third: its place and stamp hold."""
    t_s = np.sort(np.concatenate([np.arange(0, 2, 0.025) + late for late in (0, 1e-4, 2e-4)]))
    path = np.column_stack([50 * t_s, 0 * t_s])
    kept_s, kept = one_of_a_burst((t_s, path))
    assert len(kept_s) >= len(t_s) // 3
    assert np.all(np.diff(kept_s) > 0)
    assert kept[-1].tolist() == path[-1].tolist()


def test_a_gap_splits_and_a_rest_does_not():
    t_s = np.concatenate([np.arange(0, 1, 0.01), np.arange(1.2, 2.2, 0.01)])
    moving = np.column_stack([30 * t_s, 0 * t_s])
    assert len(split_gaps((t_s, moving))) == 2
    assert len(pieces([(t_s, moving)])) == 2
    still = np.column_stack([np.where(t_s < 1.1, 30 * t_s, 29.7 + 30 * (t_s - 1.2)), 0 * t_s])
    (piece,) = pieces([(t_s, still)])
    assert piece[0][-1] - piece[0][0] == pytest.approx(2.19, abs=0.02)


def test_gaps_in_a_record_shorten_it_and_do_not_bend_it():
    """A tenth of a second lost every second, while the finger moves: the size stays."""
    block = simulated_block("pursuit", PERSON, seed=11)
    at_s = block.samples["t_ns"] / 1e9
    move = block.samples["kind"] == 2
    lost = move & (np.mod(at_s, 3.0) < 0.1)
    gappy = dataclasses.replace(block, samples=block.samples[~lost])
    whole, cut = ({s.measure: s for s in score_block(b, screen=SCREEN)} for b in (block, gappy))
    for name, limit in (
        ("pursuit.tracking_rmse_mm", 0.03), ("pursuit.gain", 0.01),
        ("pursuit.jitter_across_mm", 0.06), ("pursuit.tremor_hz", 0.01),
    ):  # fmt: skip
        assert cut[name].value == pytest.approx(whole[name].value, rel=limit), name
    assert cut["pursuit.gap_share"].value > 0


@pytest.mark.parametrize("task", ["tapping", "pursuit", "slide", "trail"])
def test_disordered_stamps_are_an_error_for_scores_and_trials(task):
    block = simulated_block(task, PERSON, seed=11)
    samples = block.samples.copy()
    samples["t_ns"][[40, 41]] = samples["t_ns"][[41, 40]]
    bad = dataclasses.replace(block, samples=samples)
    with pytest.raises(ScoringError, match=r"backwards by .* ms at sample 41"):
        score_block(bad, screen=SCREEN)
    with pytest.raises(ScoringError, match="kept as they are"):
        trial_rows(bad)


def test_smoothness_is_that_of_each_way_and_not_of_the_block():
    """Pauses between the ways would make any block unsmooth: a trap."""
    block = simulated_block("slide", Truth(tremor_mm=0.1), seed=11)
    scores = {s.measure: s.value for s in score_block(block, screen=SCREEN)}
    whole = np.concatenate([p for _, p in pieces(followed_path(block, TAKES))])
    assert sparc(speed_mm_s(whole), 120.0) < -5
    assert scores["slide.sparc"] > -2
