"""What every registered task must keep. A new task joins by standing in the registry."""

import dataclasses
import functools
import json
import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tasks.contract import (
    CONTACT_KINDS,
    NS_PER_S,
    Contact,
    Tick,
    mirror_contact,
    mirror_event,
    settings_from_dict,
    settings_to_dict,
)
from tasks.registry import OPTIONS, TASKS, extent_mm, make_settings
from tests.doers import done_block, play, with_ticks

SHORT = {
    "tapping": {"duration_s": 20.0},
    "slide": {"duration_s": 20.0},
    "pursuit": {"predictable_s": 8.0, "unpredictable_s": 0.0},
    "trail": {"kinds": ("numbers", "alternating"), "n_nodes": 5, "limit_s": 60.0},
}
pytestmark = pytest.mark.parametrize("name", TASKS)


def options(name):
    return dataclasses.replace(OPTIONS[name](), **SHORT[name])


@functools.cache
def settings(name, hand="right"):
    return make_settings(name, options(name), 5, hand=hand)


@functools.cache
def done(name):
    """Contacts of a block that was really done, and the last moment of it."""
    contacts = done_block(TASKS[name], settings(name), seed=3)
    return tuple(contacts), contacts[-1].t_ns + 100 * NS_PER_S


def run(name, signals, own=None):
    return play(TASKS[name], own or settings(name), list(signals))


def to_the_end(contacts, end_ns):
    return [*contacts, Tick(end_ns)]


def nan_safe(events):
    return [repr(event) for event in events]


STEPS = st.integers(0, 3 * NS_PER_S)
PLACES = st.floats(-100, 100)


@st.composite
def streams(draw):
    """Any stream of contacts: any order of kinds, several pointers, equal stamps."""
    t_ns, contacts = 0, []
    for _ in range(draw(st.integers(1, 25))):
        t_ns += draw(STEPS)
        kind = draw(st.sampled_from(CONTACT_KINDS))
        contacts.append(
            Contact(t_ns, kind, draw(PLACES), draw(PLACES), draw(st.integers(0, 2)))
        )
    return contacts


def test_doer_gets_through(name):
    """The scripted doer reaches every deep state, so the checks below mean something."""
    contacts, end_ns = done(name)
    kinds = {event.kind for event in run(name, to_the_end(contacts, end_ns))}
    deep = {
        "tapping": {"hold", "cue", "go", "lift", "touch"},
        "slide": {"cue", "touch", "grab", "pass"},
        "pursuit": {"start", "part", "part_end", "lost", "regained"},
        "trail": {"form", "grab", "release", "capture", "form_done"},
    }[name]
    assert deep <= kinds


@pytest.mark.parametrize("frame_ns", [NS_PER_S // 240, NS_PER_S // 60, NS_PER_S // 7])
def test_outcome_of_a_done_block_does_not_depend_on_the_frame_rate(name, frame_ns):
    contacts, end_ns = done(name)
    alone = run(name, to_the_end(contacts, end_ns))
    framed = run(name, with_ticks(list(contacts), frame_ns, end_ns))
    assert nan_safe(framed) == nan_safe(alone)


@given(contacts=streams(), frames=st.lists(st.integers(0, 80 * NS_PER_S), max_size=20))
@example(contacts=[Contact(0, "down", 0, -38, 1)], frames=[NS_PER_S])
def test_outcome_of_any_stream_does_not_depend_on_ticks(name, contacts, frames):
    end_ns = 100 * NS_PER_S + contacts[-1].t_ns
    merged = sorted(
        [*(Tick(t) for t in frames if t <= end_ns), *contacts], key=lambda s: s.t_ns
    )
    with_frames = run(name, [*merged, Tick(end_ns)])
    assert nan_safe(with_frames) == nan_safe(run(name, to_the_end(contacts, end_ns)))


@given(contacts=streams(), after=streams())
def test_final_states_absorb(name, contacts, after):
    task = TASKS[name]
    state = task.start(settings(name))
    for signal in to_the_end(contacts, 1000 * NS_PER_S):
        state, _ = task.advance(settings(name), state, signal)
    assert task.finished(state)
    later = [dataclasses.replace(c, t_ns=c.t_ns + 1000 * NS_PER_S) for c in after]
    for signal in later:
        same, events = task.advance(settings(name), state, signal)
        assert same == state
        assert events == ()


@given(contacts=streams())
def test_mirrored_contacts_give_mirrored_events(name, contacts):
    """Left and right are exchanged everywhere and nothing else changes."""
    mirrored = TASKS[name].mirror(settings(name))
    end_ns = contacts[-1].t_ns + 200 * NS_PER_S
    right = run(name, to_the_end(contacts, end_ns))
    left = run(name, to_the_end([mirror_contact(c) for c in contacts], end_ns), mirrored)
    assert nan_safe(left) == nan_safe([mirror_event(e) for e in right])


def test_mirrored_done_block_gives_mirrored_events(name):
    contacts, end_ns = done(name)
    mirrored = TASKS[name].mirror(settings(name))
    right = run(name, to_the_end(contacts, end_ns))
    left = run(name, to_the_end([mirror_contact(c) for c in contacts], end_ns), mirrored)
    assert [e.t_ns for e in left] == [e.t_ns for e in right]
    assert nan_safe(left) == nan_safe([mirror_event(e) for e in right])


def test_left_hand_meets_the_mirror_image(name):
    assert settings(name, "left") == TASKS[name].mirror(settings(name))
    assert TASKS[name].mirror(settings(name, "left")) == settings(name)


@given(contacts=streams())
def test_events_keep_to_the_vocabulary_the_order_and_one_end(name, contacts):
    events = run(name, to_the_end(contacts, contacts[-1].t_ns + 1000 * NS_PER_S))
    assert {e.kind for e in events} <= TASKS[name].event_kinds
    assert [e.t_ns for e in events] == sorted(e.t_ns for e in events)
    assert [e.kind for e in events].count("end") == 1
    assert events[-1].kind == "end"
    assert all(not math.isinf(v) for e in events for v in (e.x_mm, e.y_mm, e.r_mm))


def test_settings_survive_json(name):
    own = settings(name)
    again = settings_from_dict(type(own), json.loads(json.dumps(settings_to_dict(own))))
    assert again == own


def test_same_seed_gives_the_same_layout_and_others_differ(name):
    made = [make_settings(name, OPTIONS[name](), seed, hand="right") for seed in range(40)]
    assert made[7] == make_settings(name, OPTIONS[name](), 7, hand="right")
    assert len(set(made)) == len(made)


def test_everything_drawn_lies_in_the_stated_extent(name):
    task, own = TASKS[name], settings(name)
    half_x_mm, half_y_mm = extent_mm(own)
    state = task.start(own)
    for signal in done(name)[0]:
        state, _ = task.advance(own, state, signal)
        for mark in task.view(own, state, signal.t_ns):
            if hasattr(mark, "r_mm") and mark.role not in ("held", "chip"):
                assert abs(mark.x_mm) + mark.r_mm <= half_x_mm + 1e-9
                assert abs(mark.y_mm) + mark.r_mm <= half_y_mm + 1e-9
