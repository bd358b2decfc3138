"""What every registered task must keep. A new task joins by standing in the registry."""

import dataclasses
import functools
import json
import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from battery.recording import BlockHeader, events_from_array
from battery.runner import Run, replay
from tasks.contract import (
    NS_PER_S,
    Contact,
    Disc,
    Line,
    Tick,
    mirror_contact,
    mirror_event,
    settings_from_dict,
    settings_to_dict,
)
from tasks.registry import OPTIONS, TASKS, extent_mm, make_settings
from tests.doers import (
    ANYTHING,
    CALM,
    CHOICES,
    SHAKY,
    Doer,
    aimed,
    anywhere,
    play,
    with_nasty_ticks,
    with_ticks,
)

# Short blocks, and further forms of a task. A task that is not named here joins with its
# defaults.
FORMS = {
    "tapping": [
        {"duration_s": 15.0, "answer_limit_s": 4.0},
        {"duration_s": 12.0, "answer_limit_s": 4.0, "home_pad": False},
    ],
    "slide": [{"duration_s": 15.0}],
    "pursuit": [{"predictable_s": 8.0, "unpredictable_s": 0.0}],
    "trail": [{"kinds": ("numbers", "alternating"), "n_nodes": 5, "limit_s": 40.0}],
}
CASES = [(name, n) for name in TASKS for n in range(len(FORMS.get(name, [{}])))]
DEEP = {  # what a calm doer reaches
    ("tapping", 0): {"hold", "cue", "go", "lift", "touch", "end"},
    ("tapping", 1): {"cue", "lift", "touch", "end"},
    ("slide", 0): {"cue", "touch", "grab", "pass", "end"},
    ("pursuit", 0): {"start", "part", "part_end", "end"},
    ("trail", 0): {"form", "grab", "release", "capture", "form_done", "end"},
}
END_NS = 1000 * NS_PER_S  # later than any block or stream here
few = settings(max_examples=15, deadline=None)
pytestmark = pytest.mark.parametrize(("name", "form"), CASES)


@functools.cache
def made(name, form, hand="right"):
    options = dataclasses.replace(OPTIONS[name](), **FORMS.get(name, [{}])[form])
    return make_settings(name, options, 5, hand=hand)


@functools.cache
def done(name, form, seed=3):
    """Contacts of a block that a shaky doer really did."""
    return tuple(Doer(TASKS[name], made(name, form), seed, SHAKY).do())


def ended(contacts):
    return [*contacts, Tick(END_NS)]


def run(name, form, signals, hand="right"):
    return play(TASKS[name], made(name, form, hand), signals)


def told(events):
    """Events as text: nan is not equal to itself, and every digit counts."""
    return [repr(event) for event in events]


def streams_of(name, form, anything, choices, seed):
    """Three streams: any contacts, aimed ones, and a block really done."""
    task, own = TASKS[name], made(name, form)
    return (
        anywhere(anything),
        aimed(task, own, choices),
        Doer(task, own, seed, dataclasses.replace(SHAKY, palm_first=seed % 4 == 0)).do(60.0),
    )


SEEDS = st.integers(0, 10_000)


def test_a_calm_doer_gets_through(name, form):
    """The doer reaches what the checks below are about."""
    contacts = Doer(TASKS[name], made(name, form), 1, CALM).do()
    kinds = {event.kind for event in run(name, form, ended(contacts))}
    assert kinds >= DEEP.get((name, form), {"end"})


def test_a_palm_that_rests_all_along_locks_nobody_out(name, form):
    """The palm came first and never leaves; the block is done all the same.

    Not asked of the self-paced form: any contact answers its cue, and the hand leaves the glass
    between two of them.
    """
    if (name, form) == ("tapping", 1):
        pytest.skip("any contact answers here")
    resting = dataclasses.replace(CALM, palm_first=True)
    contacts = Doer(TASKS[name], made(name, form), 1, resting).do()
    palm = [c for c in contacts if c.pointer == 7 and c.kind == "up"]
    kept = [c for c in contacts if c not in palm]
    kinds = {event.kind for event in run(name, form, ended(kept))}
    assert kinds >= DEEP.get((name, form), {"end"}) | {"extra"}


def test_shaky_doers_bring_every_kind_of_event_about(name, form):
    """Nothing in the vocabulary is out of reach, over the forms of a task."""
    del form
    kinds = set()
    for each in range(len(FORMS.get(name, [{}]))):
        for seed in range(20):
            kinds |= {event.kind for event in run(name, each, ended(done(name, each, seed)))}
        kinds |= {event.kind for event in run(name, each, [Tick(END_NS)])}
    assert kinds == TASKS[name].event_kinds


@given(anything=ANYTHING, choices=CHOICES, seed=SEEDS)
@example(  # home pressed at once; a contact at the very moment something falls due
    anything=[(0, "down", 1, 0.0, -38.0)],
    choices=[(0, "down", 1, 0, 0.0, (1.0, 0.0)), ("due", "up", 1, 0, 0.0, (1.0, 0.0))],
    seed=0,
)
@few
def test_outcome_does_not_depend_on_ticks(name, form, anything, choices, seed):
    for contacts in streams_of(name, form, anything, choices, seed):
        alone = run(name, form, ended(contacts))
        ticked = with_nasty_ticks(contacts, alone, seed, END_NS)
        assert told(run(name, form, ended(ticked))) == told(alone)


def test_a_block_left_anywhere_ends_by_itself(name, form):
    """Nothing more is heard after any of its contacts: one late tick or many, one `end`."""
    contacts = done(name, form)
    for heard in range(1, len(contacts), max(1, len(contacts) // 40)):
        left = contacts[:heard]
        events = run(name, form, ended(left))
        assert [e.kind for e in events].count("end") == 1
        ticks = [Tick(e.t_ns) for e in events if e.t_ns >= left[-1].t_ns]
        assert told(run(name, form, ended([*left, *ticks]))) == told(events)


@pytest.mark.parametrize("frame_ns", [NS_PER_S // 240, NS_PER_S // 60, NS_PER_S // 7])
def test_outcome_of_a_done_block_does_not_depend_on_the_frame_rate(name, form, frame_ns):
    contacts = done(name, form)
    framed = with_ticks(contacts, frame_ns, contacts[-1].t_ns + NS_PER_S)
    assert told(run(name, form, ended(framed))) == told(run(name, form, ended(contacts)))


@given(anything=ANYTHING, choices=CHOICES, seed=SEEDS)
@few
def test_events_keep_to_vocabulary_order_and_one_end(name, form, anything, choices, seed):
    """Stamps never decrease and lie between two signals; `end` comes last and once."""
    task, own = TASKS[name], made(name, form)
    for contacts in streams_of(name, form, anything, choices, seed):
        state, before_ns, events = task.start(own), 0, []
        for signal in ended(contacts):
            state, new = task.advance(own, state, signal)
            assert all(before_ns <= e.t_ns <= signal.t_ns for e in new)
            events += new
            before_ns = signal.t_ns
            assert task.finished(state) == (bool(events) and events[-1].kind == "end")
        assert {e.kind for e in events} <= task.event_kinds
        assert [e.t_ns for e in events] == sorted(e.t_ns for e in events)
        assert [e.kind for e in events].count("end") == 1
        assert events[-1].kind == "end"
        assert events[-1].trial == -1
        assert all(e.trial >= -1 for e in events)
        assert all(not math.isinf(v) for e in events for v in (e.x_mm, e.y_mm, e.r_mm))


@given(anything=ANYTHING, choices=CHOICES, seed=SEEDS)
@few
def test_final_states_absorb(name, form, anything, choices, seed):
    task, own = TASKS[name], made(name, form)
    for contacts in streams_of(name, form, anything, choices, seed):
        state = task.start(own)
        for signal in ended(contacts):
            state, _ = task.advance(own, state, signal)
        assert task.finished(state)
        assert task.view(own, state, END_NS) == ()
        for signal in contacts:
            later = dataclasses.replace(signal, t_ns=signal.t_ns + END_NS)
            assert task.advance(own, state, later) == (state, ())


@given(anything=ANYTHING, choices=CHOICES, seed=SEEDS)
@few
def test_mirrored_contacts_give_mirrored_events(name, form, anything, choices, seed):
    """Left and right are exchanged everywhere and nothing else changes."""
    mirrored = TASKS[name].mirror(made(name, form))
    for contacts in streams_of(name, form, anything, choices, seed):
        right = run(name, form, ended(contacts))
        left = play(TASKS[name], mirrored, ended([mirror_contact(c) for c in contacts]))
        assert told(left) == told(mirror_event(e) for e in right)


def test_mirrored_block_looks_mirrored(name, form):
    task, right = TASKS[name], made(name, form)
    left = task.mirror(right)
    state, other = task.start(right), task.start(left)
    for contact in done(name, form):
        state, _ = task.advance(right, state, contact)
        other, _ = task.advance(left, other, mirror_contact(contact))
        mirrored = [mirror_mark(m) for m in task.view(left, other, contact.t_ns)]
        seen = [undirected(m) for m in task.view(right, state, contact.t_ns)]
        assert [undirected(m) for m in mirrored] == seen


def mirror_mark(mark):
    if isinstance(mark, Disc):
        return dataclasses.replace(mark, x_mm=-mark.x_mm)
    return dataclasses.replace(mark, points_mm=tuple((-x, y) for x, y in mark.points_mm))


def undirected(mark):
    """A line is the same from either end."""
    if isinstance(mark, Line):
        return dataclasses.replace(mark, points_mm=tuple(sorted(mark.points_mm)))
    return mark


def test_left_hand_meets_the_mirror_image(name, form):
    assert made(name, form, "left") == TASKS[name].mirror(made(name, form))
    assert TASKS[name].mirror(made(name, form, "left")) == made(name, form)
    with pytest.raises(ValueError, match="'both' must be 'left' or 'right'"):
        make_settings(name, OPTIONS[name](), 1, hand="both")


@pytest.mark.parametrize("hand", ["left", "right"])
@pytest.mark.parametrize("seed", [3, 4])
def test_a_record_replays_to_the_same_events_byte_for_byte(name, form, hand, seed):
    """Through the record's own number types; with frames when recorded, without in replay."""
    own = made(name, form, hand)
    contacts = Doer(TASKS[name], own, seed, SHAKY).do()
    values = json.loads(json.dumps(settings_to_dict(own)))
    live = Run(BlockHeader("block", "visit", 0, name, hand, "test", 5, "", values, ""))
    for signal in with_ticks(contacts, NS_PER_S // 60, contacts[-1].t_ns + NS_PER_S):
        if isinstance(signal, Contact):
            live.contact(signal.t_ns, signal.kind, signal.x_mm, signal.y_mm, signal.pointer)
        else:
            live.tick(signal.t_ns)
    record = live.block("finished", "")
    assert len(record.events) > 3
    assert told(replay(record)) == told(events_from_array(record.events))
    assert told(replay(record)) == told(play(TASKS[name], own, ended(contacts)))


@pytest.mark.parametrize("hand", ["left", "right"])
def test_settings_survive_json(name, form, hand):
    own = made(name, form, hand)
    again = settings_from_dict(type(own), json.loads(json.dumps(settings_to_dict(own))))
    assert again == own
    assert repr(again) == repr(own)


def test_settings_with_a_missing_or_unknown_field_are_refused(name, form):
    own = made(name, form)
    values = settings_to_dict(own)
    with pytest.raises(ValueError, match="unknown=\\['colour'\\]"):
        settings_from_dict(type(own), {**values, "colour": 1})
    gone = sorted(values)[0]
    del values[gone]
    with pytest.raises(ValueError, match=f"missing=\\['{gone}'\\]"):
        settings_from_dict(type(own), values)


def test_same_seed_gives_the_same_layout_and_others_differ(name, form):
    del form
    layouts = [make_settings(name, OPTIONS[name](), seed, hand="right") for seed in range(40)]
    assert layouts[7] == make_settings(name, OPTIONS[name](), 7, hand="right")
    assert len(set(layouts)) == len(layouts)


def test_advance_is_a_function_of_its_arguments_alone(name, form):
    """Same state and signal, same answer, however often and in whatever order it is asked."""
    task, own = TASKS[name], made(name, form)
    states = [task.start(own)]
    answers = []
    for signal in done(name, form):
        answers.append(task.advance(own, states[-1], signal))
        states.append(answers[-1][0])
    asked = list(zip(states, done(name, form), answers, strict=False))
    for state, signal, answer in reversed(asked):
        assert repr(task.advance(own, state, signal)) == repr(answer)


def test_everything_drawn_lies_in_the_stated_extent(name, form):
    """All but the chip of a trail, which is wherever the finger is."""
    task, own = TASKS[name], made(name, form)
    half_x_mm, half_y_mm = extent_mm(own)
    state = task.start(own)
    for signal in done(name, form):
        state, _ = task.advance(own, state, signal)
        for mark in task.view(own, state, signal.t_ns):
            if isinstance(mark, Line):
                assert all(abs(x_mm) <= half_x_mm for x_mm, _ in mark.points_mm)
            elif name != "trail" or mark.role not in ("held", "chip"):
                assert abs(mark.x_mm) + mark.r_mm <= half_x_mm + 1e-9
                assert abs(mark.y_mm) + mark.r_mm <= half_y_mm + 1e-9


def test_default_block_leaves_a_ten_inch_tablet_its_margin(name, form):
    """217 x 136 mm less 15 mm all round; the size is arithmetic on 10.1 inches at 16:10."""
    del form
    for seed in range(20):
        drawn = make_settings(name, OPTIONS[name](), seed, hand="left")
        half_x_mm, half_y_mm = extent_mm(drawn)
        assert half_x_mm <= 217 / 2 - 15
        assert half_y_mm <= 136 / 2 - 15
