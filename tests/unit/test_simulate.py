"""Simulated participants do what they are made to do, and see no future."""

import math

import numpy as np
import pytest

from battery.plan import STANDARD
from battery.recording import KIND_CODES, shown_ns
from battery.recovery import play
from battery.simulate import POINTERS, TOUCH_120, Truth, at_visit, better
from battery.simulate.hand import FLIP_NS, MIN_REACTION_S
from tasks.contract import NS_PER_S, settings_from_dict
from tasks.pursuit import PursuitSettings, chip_mm
from tasks.registry import OPTIONS, TASKS
from tests.people import EXACT, block_of, calm, events, seconds


def test_frames_come_sixty_times_a_second_and_flips_later():
    frames = play("slide", Truth(), TOUCH_120, 1).frames
    assert np.diff(frames["drawn_ns"]) / 1e6 == pytest.approx(1000 / 60, abs=0.6)
    assert np.all(frames["flip_ns"] - frames["drawn_ns"] == FLIP_NS)


@pytest.mark.parametrize("pointer", POINTERS.values(), ids=POINTERS)
def test_nobody_lifts_before_a_cue_was_on_the_screen_and_seen(pointer):
    """The shortest reaction is that of the person, from the return of the flip on."""
    block = play("tapping", Truth(reaction_s=0.05, reaction_sd_s=0.2), pointer, 6)
    go = {e.trial: shown_ns(block.frames, e.t_ns) for e in events(block, "go")}
    lifts = events(block, "lift")
    assert len(lifts) > 15
    for lift in lifts:
        assert lift.t_ns - go[lift.trial] >= MIN_REACTION_S * NS_PER_S


def test_reaction_and_movement_take_the_time_they_should():
    """On a pointer without errors: to one scan of 1 ms."""
    block = play("tapping", calm(reaction_s=0.37, movement_s=0.61), EXACT, 2)
    go = {e.trial: shown_ns(block.frames, e.t_ns) for e in events(block, "go")}
    lift = {e.trial: e.t_ns for e in events(block, "lift")}
    for touch in events(block, "touch"):
        reaction_s = (lift[touch.trial] - go[touch.trial]) / NS_PER_S
        movement_s = (touch.t_ns - lift[touch.trial]) / NS_PER_S
        assert reaction_s == pytest.approx(0.37, abs=0.0011)
        assert movement_s == pytest.approx(0.61, abs=0.002)
        assert touch.label == "hit"


@pytest.mark.parametrize("n_blocks", [2, pytest.param(6, marks=pytest.mark.long)])
def test_end_points_overshoot_and_scatter_as_they_should(n_blocks):
    """Along the reach: mean 8 % of 75 mm; scatter 4 % along and half of that across."""
    truth = calm(overshoot=0.08, aim_noise=0.04, aim_noise_across=0.5)
    along, across = [], []
    for seed in range(n_blocks):
        block = play("tapping", truth, EXACT, seed)
        home = np.array([0.0, block.header.settings["home_y_mm"]])
        go = {e.trial: np.array([e.x_mm, e.y_mm]) for e in events(block, "go")}
        for touch in events(block, "touch"):
            way = (go[touch.trial] - home) / np.hypot(*(go[touch.trial] - home))
            off = np.array([touch.x_mm, touch.y_mm]) - go[touch.trial]
            along.append(off @ way)
            across.append(off @ np.array([-way[1], way[0]]))
    n = len(along)
    assert n > 16 * n_blocks
    assert np.mean(along) == pytest.approx(0.08 * 75, abs=4 * 3.0 / math.sqrt(n))
    assert np.std(along) == pytest.approx(0.04 * 75, rel=0.25)
    assert np.std(across) == pytest.approx(0.02 * 75, rel=0.25)


def test_fatigue_makes_the_end_of_a_block_slower():
    block = play("tapping", calm(fatigue=0.5), EXACT, 1)
    touches = events(block, "touch")
    lifts = {e.trial: e.t_ns for e in events(block, "lift")}
    times = [(t.t_ns - lifts[t.trial]) / NS_PER_S for t in touches]
    first_s, last_s = seconds(touches[0]), seconds(touches[-1])
    grown = (1 + 0.5 * last_s / 60) / (1 + 0.5 * first_s / 60)
    assert times[-1] / times[0] == pytest.approx(grown, rel=0.02)


def test_on_a_neglected_side_everything_is_slower():
    truth = calm(neglected_side="left", neglect=0.4)
    block = play("tapping", truth, EXACT, 1)
    lift = {e.trial: e.t_ns for e in events(block, "lift")}
    side = {e.trial: e.label for e in events(block, "go")}
    times = {"left": [], "right": []}
    for touch in events(block, "touch"):
        times[side[touch.trial]].append((touch.t_ns - lift[touch.trial]) / NS_PER_S)
    assert np.median(times["left"]) == pytest.approx(1.4 * 0.55, abs=0.005)
    assert np.median(times["right"]) == pytest.approx(0.55, abs=0.005)


def test_who_guesses_lets_go_before_the_cue():
    block = play("tapping", calm(guess_rate=0.8), TOUCH_120, 1)
    assert len(events(block, "early")) >= 5
    assert not events(play("tapping", calm(), TOUCH_120, 1), "early")


def test_the_self_paced_form_is_played():
    options = OPTIONS["tapping"](home_pad=False)
    touches = events(block_of("tapping", options, Truth(), seed=3), "touch")
    assert len(touches) > 15


def test_who_misses_the_pad_tries_again():
    """A tremor wider than the pads: the block goes on and trials are done."""
    truth = Truth(tremor_mm=9.0, aim_noise=0.15)
    assert len(events(play("tapping", truth, TOUCH_120, 1), "touch")) >= 5
    assert events(play("pursuit", truth, TOUCH_120, 1), "start")
    assert events(play("slide", truth, TOUCH_120, 1), "pass")


@pytest.mark.parametrize("hand", ["left", pytest.param("right", marks=pytest.mark.long)])
def test_the_finger_follows_each_part_with_its_own_delay_and_gain(hand):
    """By cross-correlation on the recorded path, apart from what scoring does."""
    truth = calm(
        pursuit_delay_s=0.25, pursuit_gain=0.8, predictable_delay_s=-0.05, predictable_gain=1.1
    )
    block = block_of("pursuit", OPTIONS["pursuit"](), truth, EXACT, hand=hand)
    settings = settings_from_dict(PursuitSettings, block.header.settings)
    started_s = seconds(events(block, "start")[0])
    begins, ends = events(block, "part"), events(block, "part_end")
    for begin, end, delay_s, gain in zip(begins, ends, (-0.05, 0.25), (1.1, 0.8), strict=True):
        t_s = np.arange(seconds(begin), seconds(end), 0.01)
        finger = np.interp(t_s, block.samples["t_ns"] / NS_PER_S, block.samples["x_mm"])
        lags_s = np.arange(-0.3, 0.5, 0.005)
        products = []
        for lag_s in lags_s:
            chip = np.array([chip_mm(settings, t - started_s - lag_s)[0] for t in t_s[::10]])
            products.append(np.dot(chip, finger[::10]) / np.dot(chip, chip))
        best = int(np.argmax(np.abs(products)))
        assert lags_s[best] == pytest.approx(delay_s, abs=0.0051)
        assert products[best] == pytest.approx(gain, rel=0.01)


def test_contact_is_lost_as_often_and_as_long_as_it_should_be():
    """A renewal process: held 10 s, off 0.5 s in the mean over many blocks."""
    truth = calm(lost_contact_per_min=6.0, lost_contact_s=0.5)
    off_s = []
    for seed in range(5):
        block = play("pursuit", truth, TOUCH_120, seed)
        lost, back = (
            np.array([seconds(e) for e in events(block, k)]) for k in ("lost", "regained")
        )
        off_s += (back - lost[: len(back)]).tolist()
    assert len(off_s) == pytest.approx(5 * 66 / 10.5, abs=3 * math.sqrt(31))
    assert off_s == pytest.approx([0.5] * len(off_s), abs=0.01)


def test_lost_contact_in_slide_and_trail_is_taken_up_again():
    truth = Truth(lost_contact_per_min=20.0)
    for task, done in (("slide", "pass"), ("trail", "form_done")):
        block = play(task, truth, TOUCH_120, 2)
        assert len(events(block, "regained")) >= 3
        assert len(events(block, done)) >= 3


def test_the_chip_goes_as_far_as_is_comfortable():
    block = play("slide", calm(slide_extent_mm=48.0), EXACT, 1)
    extents = [abs(e.x_mm) for e in events(block, "pass")]
    assert np.mean(extents) == pytest.approx(48.0, rel=0.03)
    assert len({e.label for e in events(block, "pass")}) == 2


def test_halts_stand_still_on_the_way():
    """Two halts of 0.4 s on each way: the finger rests about 0.8 s a way between its ends."""
    truth = calm(slide_halts=2, slide_extent_mm=60.0)
    block = play("slide", truth, EXACT, 1)
    samples = block.samples
    down = samples[samples["kind"] == KIND_CODES["move"]]
    speed = np.abs(np.diff(down["x_mm"])) * 1000
    out = np.abs(down["x_mm"][1:])
    between = (out > 5) & (out < 55)
    still_s = (speed[between] < 0.5).sum() / 1000
    n_ways = 2 * len(events(block, "pass"))
    assert still_s / n_ways == pytest.approx(0.8, abs=0.15)


def test_searching_takes_the_time_it_should():
    """From seeing the capture to leaving the node; the rest is way and dwell."""
    times = {}
    for search_s in (0.5, 1.5):
        block = play("trail", calm(search_s=search_s), EXACT, 1)
        times[search_s] = seconds(events(block, "end")[0])
    assert times[1.5] - times[0.5] == pytest.approx(28, rel=0.01)


def test_wrong_nodes_are_captured_and_crossed_as_often_as_they_should_be():
    calm_block = play("trail", calm(), TOUCH_120, 3)
    assert not events(calm_block, "error", "slip")
    assert len(events(calm_block, "capture")) == 28
    erring = play("trail", calm(error_rate=1.0), TOUCH_120, 3)
    assert len(events(erring, "error")) >= 24  # every link but the last of a trail
    crossing = play("trail", calm(slip_rate=1.0), TOUCH_120, 3)
    assert len(events(crossing, "slip")) >= 20
    assert len(events(crossing, "error")) <= 2


# Days and visits


def test_better_and_worse_scale_what_they_say():
    truth = Truth(overshoot=0.1, pursuit_gain=0.8)
    half = better(truth, 0.5)
    assert half.tremor_mm == truth.tremor_mm / 2
    assert half.movement_s == truth.movement_s / 2
    assert half.pursuit_gain == pytest.approx(0.9)
    assert half.tremor_hz == truth.tremor_hz
    assert better(truth, -0.5).reaction_s == pytest.approx(1.5 * truth.reaction_s)


def test_learning_falls_exponentially_and_is_gone_after_six_visits():
    truth = Truth(learning=0.3)
    worse = [at_visit(truth, k).movement_s / truth.movement_s - 1 for k in range(8)]
    assert worse[0] == pytest.approx(0.3)
    ratios = np.array(worse[1:]) / np.array(worse[:-1])
    assert ratios == pytest.approx(math.exp(-1 / 1.8))
    assert worse[6] < 0.3 / 25
    assert at_visit(Truth(), 0) == Truth()


def test_people_of_the_standard_plan_do_enough_trials():
    """The plan is made for 15 kept trials and more (tapping) and complete trails."""
    assert {t.task for t in STANDARD.tasks} == set(TASKS)
    assert len(events(play("tapping", Truth(), TOUCH_120, 1), "touch")) >= 15
    assert len(events(play("trail", Truth(), TOUCH_120, 1), "form_done")) == 4
