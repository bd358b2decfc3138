"""What follows from events and presses alone, added up from them a second time."""

import dataclasses
import math

import numpy as np
import pytest

from battery.recording import KIND_CODES, Screen
from battery.scoring import score_block
from battery.scoring.trail.links import Form, Link
from battery.scoring.trail.scores import cost_of_alternating
from battery.simulate import Truth
from tasks.contract import NS_PER_S
from tests.blocks import simulated_block
from tests.people import events

SCREEN = Screen(1280, 800, 0.1, 0.1, "virtual")
PERSON = Truth(error_rate=0.35, slip_rate=0.1, lost_contact_per_min=6, palm_per_min=4)


def played(task, **differences):
    block = simulated_block(task, PERSON if not differences else Truth(**differences), seed=21)
    scores = score_block(block, screen=SCREEN)
    return block, {s.measure.split(".", 1)[1]: s.value for s in scores}


@pytest.fixture(scope="module")
def trail():
    return played("trail")


def seconds(event):
    return event.t_ns / NS_PER_S


def test_completion_runs_from_leaving_the_first_node_to_the_last_capture(trail):
    block, found = trail
    left, done = events(block, "release"), events(block, "form_done")
    assert len(left) == len(done) == 4
    times_s = [seconds(b) - seconds(a) for a, b in zip(left, done, strict=True)]
    kinds = [e.label for e in events(block, "form")]
    assert kinds == ["numbers", "alternating", "alternating", "numbers"]
    assert found["completion_time_s"] == pytest.approx(sum(times_s), abs=1e-6)
    shown = [seconds(d) - seconds(s) for s, d in zip(events(block, "form"), done, strict=True)]
    assert found["time_per_link_s"] == pytest.approx(sum(shown) / 28, abs=1e-6)
    easy, hard = times_s[0] + times_s[3], times_s[1] + times_s[2]
    assert found["alternating_minus_numbers_s"] == pytest.approx((hard - easy) / 2, abs=1e-6)
    assert found["alternating_to_numbers"] == pytest.approx(hard / easy, rel=1e-6)
    easy, hard = shown[0] + shown[3], shown[1] + shown[2]
    assert found["numbers_time_per_link_s"] == pytest.approx(easy / 14, abs=1e-6)
    assert found["alternating_time_per_link_s"] == pytest.approx(hard / 14, abs=1e-6)


def test_cost_of_alternating_as_others_print_it():
    """Ashendorf 2008, 55 to 74 years: 33.2 s and 80.8 s, so 47.6 s and 2.43373."""

    def form(number, kind, whole_s):
        parts = {"search_time_s": whole_s / 8, "travel_time_s": whole_s / 8}
        others = dict.fromkeys((f.name for f in dataclasses.fields(Link)), 0)
        links = [Link(**(others | parts)) for _ in range(4)]
        return Form(number, kind, links, done=True)

    scores = cost_of_alternating([form(0, "numbers", 33.2), form(1, "alternating", 80.8)])
    difference, ratio = (score.value for score in scores)
    assert difference == pytest.approx(47.6, abs=5e-7)
    assert ratio == pytest.approx(2.43373, abs=0.000005)


def test_errors_of_a_trail_by_kind(trail):
    block, found = trail
    wrong = events(block, "error")
    assert len(wrong) > 2
    assert found["n_errors"] == len(wrong)
    assert found["n_slips"] == len(events(block, "slip"))
    labels = {
        (e.trial): e.label for e in events(block, "capture")
    }  # what was due on the link that an error belongs to
    forms = events(block, "form")
    n_set = 0
    for error in wrong:
        kind = [f.label for f in forms if f.t_ns <= error.t_ns][-1]
        due = labels[error.trial]
        n_set += kind == "alternating" and due.isdigit() != error.label.isdigit()
    assert found["n_set_errors"] == n_set
    assert found["n_sequence_errors"] == len(wrong) - n_set


def test_extent_is_the_median_of_the_farthest_places():
    block, found = played("slide", slide_extent_mm=60)
    far = [
        (e.label, abs(e.x_mm - block.header.settings["chip_x_mm"]))
        for e in events(block, "pass")
    ]
    assert found["extent_mm"] == pytest.approx(np.median([mm for _, mm in far]))
    reach_mm = block.header.settings["reach_mm"]
    assert found["extent_percent"] == pytest.approx(100 * found["extent_mm"] / reach_mm)
    for side in ("left", "right"):
        own = [mm for label, mm in far if label == side]
        assert found[f"extent_{side}_mm"] == pytest.approx(np.median(own))
    assert found["n_passes"] == len(far)


def test_contact_loss_is_the_time_between_lift_and_press():
    """Off the glass within the scored parts; reports come 120 times a second."""
    block, found = played("pursuit", lost_contact_per_min=8, lost_contact_s=0.5)
    kind, at_s = block.samples["kind"], block.samples["t_ns"] / NS_PER_S
    begins, ends = ([seconds(e) for e in events(block, name)] for name in ("part", "part_end"))
    off_s = 0.0
    for up in np.flatnonzero(kind == KIND_CODES["up"]):
        later = np.flatnonzero((kind == KIND_CODES["down"]) & (at_s > at_s[up]))
        back_s = at_s[later[0]] if len(later) else math.inf
        for begin, end in zip(begins, ends, strict=True):
            off_s += max(0.0, min(back_s, end) - max(at_s[up], begin))
    whole_s = sum(ends) - sum(begins)
    assert off_s > 1
    assert found["contact_loss"] == pytest.approx(off_s / whole_s, abs=0.002)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_neglected_side_is_slower_and_less_exact(side):
    """Half as slow and scattered again on one side: told apart, side by side."""
    _, found = played("tapping", neglected_side=side, neglect=0.8, aim_noise=0.05)
    other = "right" if side == "left" else "left"
    assert found[f"movement_time_{side}_s"] > 1.4 * found[f"movement_time_{other}_s"]
    assert found[f"radial_error_{side}_mm"] > 1.2 * found[f"radial_error_{other}_mm"]
