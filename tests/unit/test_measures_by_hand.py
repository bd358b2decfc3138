"""Measures of blocks whose every event is known: worked out by hand beside each."""

import dataclasses
import math

import numpy as np
import pytest

from battery.recording import (
    FRAME_DTYPE,
    KIND_CODES,
    SAMPLE_DTYPE,
    Block,
    BlockHeader,
    Screen,
    events_to_array,
)  # fmt: skip
from battery.scoring import score_block
from battery.scoring.pursuit import tracking
from battery.scoring.signal.kinematics import n_reversals
from battery.scoring.signal.path import GRID_HZ
from battery.scoring.slide.passes import n_stops
from battery.scoring.trail.links import search_steps
from tasks.contract import NS_PER_S, Event, settings_to_dict
from tasks.layout import TappingOptions
from tasks.registry import make_settings

SCREEN = Screen(1280, 800, 0.1, 0.1, "virtual")
HOME = (0.0, -38.0)
REACH_MM = 50.0


def tapping_block(trials, others=(), *, home_pad=True, duration_s=60.0):
    """A block from rows of (side, reaction, movement, along, across) and other events.

    Every target lies 50 mm straight to the right or left of home; `along` is beyond it,
    `across` to the left of the reach. A row of None is a trial without an answer.
    """
    options = TappingOptions(duration_s=duration_s, home_pad=home_pad)
    settings = settings_to_dict(make_settings("tapping", options, 1, hand="right"))
    settings |= {"home_x_mm": HOME[0], "home_y_mm": HOME[1], "target_r_mm": 10.0}
    events, t_s = [], 1.0

    def event(kind, label="", x_mm=math.nan, y_mm=math.nan, r_mm=math.nan, trial=0):
        events.append(Event(round(t_s * NS_PER_S), kind, trial, label, x_mm, y_mm, r_mm))

    for number, row in enumerate(trials):
        side = row[0] if row else "left"
        sign = 1.0 if side == "right" else -1.0
        target = (HOME[0] + sign * REACH_MM, HOME[1])
        event("hold", "", *HOME, trial=number)
        event("cue", side, *target, 10.0, number)
        t_s += 1.0
        event("go", side, *target, 10.0, number)
        if row is None:
            t_s += 10.0
            event("no_answer", trial=number)
            continue
        _, reaction_s, movement_s, along_mm, across_mm = row
        t_s += reaction_s
        event("lift", "", *HOME, trial=number)
        t_s += movement_s
        x_mm, y_mm = target[0] + sign * along_mm, target[1] + sign * across_mm
        inside = math.hypot(along_mm, across_mm) <= 10
        event("touch", "hit" if inside else "miss", x_mm, y_mm, 0.0, number)
    for kind, n in others:
        events += [Event(round(t_s * NS_PER_S), kind, 0, "", 0.0, 0.0, 0.0)] * n
    end_ns = round(duration_s * NS_PER_S)
    events.append(Event(end_ns, "end", -1, "", math.nan, math.nan, math.nan))
    header = BlockHeader(
        block_id="00000000-0000-4000-8000-000000000000", visit_id="", index=0, task="tapping",
        hand="right", phase="test", layout_seed=1, layout_hash="", settings=settings,
        started_utc="",
    )  # fmt: skip
    samples = np.zeros(1, dtype=SAMPLE_DTYPE)
    samples["kind"], samples["pointer"] = KIND_CODES["down"], 1
    return Block(
        header, samples, np.zeros(0, dtype=FRAME_DTYPE), events_to_array(events), "finished",
        end_ns,
    )  # fmt: skip


def values(block):
    return {s.measure.split(".", 1)[1]: s.value for s in score_block(block, screen=SCREEN)}


# Twenty reaches: all 3 mm beyond and 4 mm to the left (5 mm off) but two, one 12 mm beyond and
# one 12 mm short. Right ones take 0.4 s, left ones 0.6 s; reactions 0.30 s, one of 0.05 s.
ROWS = [
    ("right" if k % 2 else "left", 0.30, 0.4 if k % 2 else 0.6, 3.0, 4.0) for k in range(20)
]
ROWS[4] = ("left", 0.30, 0.6, 12.0, 0.0)
ROWS[7] = ("right", 0.30, 0.4, -12.0, 0.0)
ROWS[9] = ("right", 0.05, 0.4, 3.0, 4.0)


@pytest.fixture(scope="module")
def tapped():
    return values(tapping_block(ROWS, [("extra", 3), ("bounce", 2), ("early", 1)]))


def test_times_and_hits(tapped):
    assert tapped["reaction_time_s"] == pytest.approx(0.30, abs=1e-6)  # 0.05 s left out
    assert tapped["movement_time_s"] == pytest.approx(0.5, abs=1e-6)  # between .4 and .6
    assert tapped["movement_time_left_s"] == pytest.approx(0.6, abs=1e-6)
    assert tapped["movement_time_right_s"] == pytest.approx(0.4, abs=1e-6)
    assert tapped["hit_rate"] == 18 / 20
    assert (tapped["hit_rate_left"], tapped["hit_rate_right"]) == (0.9, 0.9)
    # Over 20 s before the end nothing was done: one more trial, with the way of 50 mm.
    assert tapped["radial_error_mm"] == pytest.approx((18 * 5 + 2 * 12 + 50) / 21)
    assert tapped["radial_error_left_mm"] == pytest.approx((9 * 5 + 12) / 10)


def test_offsets_and_scatter(tapped):
    along, across = 18 * 3 / 20, 18 * 4 / 20  # 12 and -12 cancel
    assert tapped["constant_error_along_mm"] == pytest.approx(along)
    assert tapped["constant_error_across_mm"] == pytest.approx(across)
    assert tapped["constant_error_mm"] == pytest.approx(math.hypot(along, across))
    squares = (18 * 25 + 2 * 144) / 20
    assert tapped["variable_error_mm"] == pytest.approx(
        math.sqrt(squares - along**2 - across**2)
    )
    assert tapped["overshoot_percent"] == pytest.approx(100 * along / REACH_MM)
    assert (tapped["overshoot_rate"], tapped["undershoot_rate"]) == (1 / 20, 1 / 20)


def test_throughput_of_these_reaches(tapped):
    """Scatter about the mean: sum of squares 18 * 9 + 2 * 144 less 20 * 2.7²."""
    spread_mm = math.sqrt((18 * 9 + 288 - 20 * 2.7**2) / 19)
    bits = math.log2((REACH_MM + 2.7) / (4.133 * spread_mm) + 1)
    assert tapped["throughput_bit_s"] == pytest.approx(bits / 0.5, rel=1e-6)


def test_counts(tapped):
    assert tapped["anticipation_rate"] == pytest.approx(2 / 21)  # one early, one of 0.05 s
    assert tapped["no_answer_rate"] == 0
    assert tapped["extra_contacts_per_min"] == 3
    assert tapped["bounces_per_min"] == 2
    assert tapped["fatigue_slope_ms"] == pytest.approx(0, abs=1e-6)


def test_slowing_of_ten_milliseconds_a_trial():
    rows = [(side, r, 0.4 + 0.01 * k, a, c) for k, (side, r, _, a, c) in enumerate(ROWS)]
    assert values(tapping_block(rows))["fatigue_slope_ms"] == pytest.approx(10, abs=1e-4)


def test_rhythm_leaves_the_foreperiod_out():
    """From touch to touch less the second of waiting: .30 + .4 and .30 + .6 in turn."""
    rows = [*ROWS, *ROWS[:2]]
    rows[9] = ROWS[11]
    intervals_s = np.array([r[1] + r[2] for r in rows][1:])
    found = values(tapping_block(rows))
    expected = 100 * intervals_s.std(ddof=1) / intervals_s.mean()
    assert found["interval_cv_percent"] == pytest.approx(expected, rel=1e-6)
    steps = np.diff(intervals_s)
    assert found["interval_rmssd_percent"] == pytest.approx(
        100 * math.sqrt(np.mean(steps**2)) / intervals_s.mean(), rel=1e-6
    )


def test_a_trial_without_answer_counts_and_has_no_end():
    found = values(tapping_block([*ROWS[:10], None, *ROWS[10:]]))
    assert found["no_answer_rate"] == pytest.approx(1 / 21)
    # The finger stayed at home, 50 mm away.
    assert found["radial_error_mm"] == pytest.approx((18 * 5 + 2 * 12 + 50) / 21)


def test_without_a_home_pad_what_needs_one_is_missing_with_the_reason():
    block = tapping_block(ROWS, home_pad=False)
    scores = {s.measure.split(".", 1)[1]: s for s in score_block(block, screen=SCREEN)}
    for name in ("reaction_time_s", "overshoot_percent", "throughput_bit_s"):
        assert math.isnan(scores[name].value)
        assert "home pad" in scores[name].reason
    assert scores["radial_error_mm"].value == pytest.approx((18 * 5 + 2 * 12 + 50) / 21)


def test_a_finger_that_slid_off_the_pad_has_an_end_point_and_no_times():
    block = tapping_block(ROWS)
    events = block.events.copy()
    at = np.flatnonzero(events["kind"] == "lift")[3]
    events["x_mm"][at] += 40.0
    slid = {
        s.measure.split(".", 1)[1]: s
        for s in score_block(dataclasses.replace(block, events=events), screen=SCREEN)
    }
    assert slid["movement_time_s"].n == 19
    assert slid["radial_error_mm"].n == 20 + 1  # and over 20 s without any


def speed_bumps(n, size_mm_s, width_s=0.08):
    t_s = np.arange(0, 10, 1 / GRID_HZ)
    centres = 10 * (np.arange(n) + 0.5) / max(n, 1)
    return sum(
        (size_mm_s * np.exp(-0.5 * ((t_s - c) / width_s) ** 2) for c in centres), 0 * t_s
    )


def test_catch_ups_are_counted_and_small_or_quick_ones_are_not():
    assert tracking.n_catch_ups(speed_bumps(5, 60.0)) == 5
    assert tracking.n_catch_ups(-speed_bumps(7, 60.0)) == 7
    assert tracking.n_catch_ups(speed_bumps(5, 10.0)) == 0
    t_s = np.arange(0, 10, 1 / GRID_HZ)
    assert tracking.n_catch_ups(60 * np.sin(2 * np.pi * 25 * t_s)) == 0
    # 5 Hz of 0.8 mm swings by 25 mm/s: a peak for each half of a cycle.
    shaken = 2 * np.pi * 5 * 0.8 * np.cos(2 * np.pi * 5 * t_s)
    assert tracking.n_catch_ups(shaken) == pytest.approx(100, abs=4)


def test_search_is_the_time_before_pauses_and_ways_back():
    """1 s still, 1 s at 50 mm/s, 0.3 s still, 0.2 s back, 0.5 s on: 1.5 s of 3 s search."""
    per_s = [(0.0, 1.0), (50.0, 1.0), (0.0, 0.3), (-50.0, 0.2), (50.0, 0.5)]
    speed = np.concatenate([np.full(round(s * GRID_HZ), v) for v, s in per_s])
    x_mm = np.concatenate([[0.0], np.cumsum(speed) / GRID_HZ])
    searching = search_steps(np.column_stack([x_mm, 0 * x_mm]), (200.0, 0.0))
    assert len(searching) == 3 * GRID_HZ
    assert searching.sum() / GRID_HZ == pytest.approx(1.5, abs=0.02)
    # A halt shorter than 0.15 s is no pause.
    short = np.concatenate([np.full(60, 50.0), np.zeros(12), np.full(60, 50.0)])
    x_mm = np.concatenate([[0.0], np.cumsum(short) / GRID_HZ])
    assert search_steps(np.column_stack([x_mm, 0 * x_mm]), (200.0, 0.0)).sum() == 0


def test_stops_and_turns_back():
    moving, still = np.full(60, 50.0), np.zeros(30)
    assert n_stops(np.concatenate([moving, still, moving, still, moving])) == 2
    assert n_stops(np.concatenate([moving, still[:15], moving])) == 0  # 0.125 s
    unrest = np.concatenate([still, np.full(6, 8.0), still])  # a twitch in one rest
    assert n_stops(np.concatenate([moving, unrest, moving])) == 1
    assert n_reversals(np.array([0.0, 10.0, 6.0, 20.0, 19.0, 30.0]), 2.0) == 1
    assert n_reversals(np.array([30.0, 10.0, 13.0, 5.0, 9.0, 0.0]), 2.0) == 2
    assert n_reversals(np.empty(0), 2.0) == 0
