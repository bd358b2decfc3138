"""What a simulated pointer tells: stamps, places, contacts; the same every time."""

import dataclasses
import itertools

import numpy as np
import pytest

from battery.recording import KIND_CODES, events_from_array
from battery.recovery import play
from battery.runner import replay, run_block
from battery.simulate import (
    MOUSE_125,
    MOUSE_1000,
    POINTERS,
    TOUCH_60,
    TOUCH_120,
    Person,
    Pointer,
    Truth,
)
from tasks.contract import NS_PER_S
from tasks.registry import TASKS
from tests.people import calm, events
from tests.sparing import share


@pytest.mark.parametrize(("task", "pointer"), share(itertools.product(TASKS, POINTERS), 5))
def test_a_block_is_finished_and_replays_to_the_same_events(task, pointer):
    block = play(task, Truth(palm_per_min=6, lost_contact_per_min=3), POINTERS[pointer], 5)
    assert block.ending == "finished"
    assert events_from_array(block.events)[-1].kind == "end"
    assert repr(replay(block)) == repr(events_from_array(block.events))


@pytest.mark.parametrize("task", TASKS)
def test_the_same_seed_gives_the_same_bytes_and_another_does_not(task):
    first = play(task, Truth(), TOUCH_120, 7)
    again = run_block(first.header, Person(Truth(), TOUCH_120, 7))
    other = run_block(first.header, Person(Truth(), TOUCH_120, 8))
    assert first.samples.tobytes() == again.samples.tobytes()
    assert first.frames.tobytes() == again.frames.tobytes()
    assert first.samples.tobytes() != other.samples.tobytes()


@pytest.mark.parametrize("pointer", POINTERS.values(), ids=POINTERS)
def test_stamps_keep_order_and_places_lie_on_the_grid(pointer):
    samples = play("trail", Truth(), pointer, 2).samples
    assert np.all(np.diff(samples["t_ns"]) >= 0)
    for axis in ("x_mm", "y_mm"):
        steps = samples[axis] / pointer.grid_mm
        assert steps == pytest.approx(np.round(steps), abs=1e-6)


@pytest.mark.parametrize("drain_s", [0.004, 1 / 60], ids=["prompt", "once a frame"])
def test_a_stamp_is_late_by_at_most_its_bound(drain_s):
    """The same hand read at once and read late: each report within (t - gap, t], in order.

    Read once a frame, several reports come together and share a stamp.
    """
    at_once = Pointer(scan_jitter_s=0.0, drain_s=0.0)
    late = dataclasses.replace(at_once, drain_s=drain_s)
    truth = calm(tremor_mm=1.0)
    a, b = (play("pursuit", truth, p, 4).samples[:2000] for p in (at_once, late))
    error_ns = b["t_ns"] - a["t_ns"]
    assert np.all((error_ns >= 0) & (error_ns <= b["stamp_gap_ns"]))
    assert np.all(b["stamp_gap_ns"] == pytest.approx(drain_s * 1e9, abs=1))
    assert error_ns.mean() > 0.45 * drain_s * 1e9


def test_a_panel_sees_nothing_in_the_air_and_a_mouse_hovers():
    touch, mouse = (play("tapping", Truth(), p, 1).samples for p in (TOUCH_60, MOUSE_125))
    assert KIND_CODES["hover"] not in touch["kind"]
    assert set(touch["pointer"].tolist()) == {1}
    assert (mouse["kind"] == KIND_CODES["hover"]).sum() > 1000
    assert set(mouse["pointer"].tolist()) == {0}


def test_a_mouse_is_silent_at_rest_and_a_panel_is_not():
    resting = calm(pursuit_gain=0.0)
    touch = play("pursuit", resting, TOUCH_120, 1).samples
    mouse = play("pursuit", resting, MOUSE_1000, 1).samples
    in_contact_s = (touch["t_ns"][-1] - touch["t_ns"][0]) / NS_PER_S
    assert len(touch) == pytest.approx(120 * in_contact_s, rel=0.01)
    assert (mouse["kind"] == KIND_CODES["move"]).sum() < 20


def test_a_second_contact_comes_beside_the_finger_and_goes_before_it():
    block = play("pursuit", Truth(palm_per_min=20), TOUCH_120, 1)
    assert 8 < len(events(block, "extra")) < 45
    palms = block.samples[block.samples["pointer"] == 2]
    kinds = palms["kind"].tolist()
    assert kinds[::2] == [KIND_CODES["down"]] * len(kinds[::2])
    assert kinds[1::2] == [KIND_CODES["up"]] * len(kinds[1::2])


@pytest.mark.parametrize(
    "wrong", [{"rate_hz": 0.0}, {"scan_jitter_s": 0.01}, {"grid_mm": -1}, {"drain_s": -1}]
)
def test_an_impossible_pointer_is_refused(wrong):
    with pytest.raises(ValueError, match="must"):
        Pointer(**wrong)
