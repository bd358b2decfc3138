"""Tapping, trial by trial: every expected event was worked out by hand from the rules."""

import pytest

from tasks.contract import NS_PER_MS, Contact, Disc, Event, Tick
from tasks.tapping import TAPPING, TappingSettings
from tests.doers import play

SETTINGS = TappingSettings(
    home_x_mm=0.0,
    home_y_mm=-40.0,
    home_r_mm=10.0,
    targets_mm=((50.0, 0.0), (-50.0, 0.0), (0.0, 30.0)),
    foreperiods_s=(0.5, 1.0, 0.75),
    target_r_mm=10.0,
    duration_s=20.0,
    answer_limit_s=3.0,
)
NOSE = TappingSettings(
    0.0, -40.0, 10.0, SETTINGS.targets_mm, SETTINGS.foreperiods_s, 10.0,
    duration_s=20.0, answer_limit_s=3.0, home_pad=False,
)  # fmt: skip
HOME = (0.0, -40.0)
RIGHT, LEFT, TOP = SETTINGS.targets_mm


def ns(ms):
    return round(ms * NS_PER_MS)


def at(ms, kind, place, pointer=1):
    return Contact(ns(ms), kind, *place, pointer)


def down(ms, place, pointer=1):
    return at(ms, "down", place, pointer)


def up(ms, place, pointer=1):
    return at(ms, "up", place, pointer)


def told(signals, until_ms, settings=SETTINGS):
    """Time in ms, kind, trial and label of every event."""
    events = play(TAPPING, settings, [*signals, Tick(ns(until_ms))])
    return [(e.t_ns / NS_PER_MS, e.kind, e.trial, e.label) for e in events]


def test_one_trial_in_full():
    """Press at 1.0 s; foreperiod 0.5 s; lift 300 ms after go; touch 400 ms after the lift."""
    signals = [down(1000, (3, -44)), up(1800, (2, -43)), down(2200, (56, 8))]
    events = play(TAPPING, SETTINGS, [*signals, Tick(ns(2300))])
    assert repr(events) == repr(
        [
            Event(ns(1000), "hold", 0, "", 3, -44),
            Event(ns(1000), "cue", 0, "right", 50.0, 0.0, 10.0),
            Event(ns(1500), "go", 0, "right", 50.0, 0.0, 10.0),
            Event(ns(1800), "lift", 0, "", 2, -43),
            Event(ns(2200), "touch", 0, "hit", 56, 8, 0.0),
        ]
    )


def test_next_trial_begins_with_the_next_press_of_home():
    signals = [
        down(0, HOME),
        up(800, HOME),
        down(1200, RIGHT),
        up(1300, RIGHT),
        down(2000, HOME),
    ]
    assert told(signals, 3000)[5:] == [
        (2000, "hold", 1, ""),
        (2000, "cue", 1, "left"),
        (3000, "go", 1, "left"),
    ]


@pytest.mark.parametrize(
    ("place", "label"),
    [
        ((60, 0), "hit"),
        ((50, 10), "hit"),
        ((60.001, 0), "miss"),
        (HOME, "miss"),
        (LEFT, "miss"),
    ],
)
def test_the_first_contact_after_the_lift_is_the_answer(place, label):
    """The rim belongs to the target. Home is 64 mm from it and counts as a miss."""
    signals = [down(0, HOME), up(800, HOME), down(1200, place), down(1300, RIGHT, 2)]
    touches = [e for e in told(signals, 1400) if e[1] == "touch"]
    assert touches == [(1200, "touch", 0, label)]


def test_a_lift_at_the_stamp_of_go_comes_after_go():
    signals = [down(0, HOME), up(500, HOME)]
    assert told(signals, 500)[2:] == [(500, "go", 0, "right"), (500, "lift", 0, "")]


def test_an_early_lift_starts_the_trial_over_with_the_same_target_and_foreperiod():
    """Early is known once the finger stayed away for the bounce time, 80 ms."""
    signals = [down(0, HOME), up(499, HOME), down(900, HOME)]
    assert told(signals, 1400)[2:] == [
        (579, "early", 0, "right"),
        (900, "hold", 0, ""),
        (900, "cue", 0, "right"),
        (1400, "go", 0, "right"),
    ]


def test_an_early_reach_for_the_target_is_no_touch():
    signals = [down(0, HOME), up(450, HOME), down(500, RIGHT)]
    assert told(signals, 600)[2:] == [(500, "early", 0, "right")]


def test_a_bounce_on_home_leaves_go_where_it_was():
    signals = [down(0, HOME), up(200, HOME), down(260, HOME)]
    assert told(signals, 600)[2:] == [(260, "bounce", 0, ""), (500, "go", 0, "right")]


def test_go_waits_for_a_finger_that_is_bouncing():
    """Nobody is asked to go while away: go falls due when the finger is back."""
    signals = [down(0, HOME), up(480, HOME), down(550, HOME), up(900, HOME)]
    assert told(signals, 950)[2:] == [
        (550, "bounce", 0, ""),
        (550, "go", 0, "right"),
        (900, "lift", 0, ""),
    ]


@pytest.mark.parametrize(("lift_ms", "before_go"), [(300, True), (700, False)])
def test_back_after_just_under_80_ms_is_a_bounce_and_after_80_ms_is_not(lift_ms, before_go):
    """Tremor of 12 Hz has a period of 83 ms (12 Hz: upper end of essential tremor)."""
    base = [down(0, HOME), up(lift_ms, HOME)]
    just = play(TAPPING, SETTINGS, [*base, Contact(ns(lift_ms + 80) - 1, "down", *HOME, 1)])
    assert just[-1].kind == "bounce"
    late = play(TAPPING, SETTINGS, [*base, down(lift_ms + 80, HOME)])
    expected = ["early", "hold", "cue"] if before_go else ["lift", "touch"]
    assert [e.kind for e in late][-len(expected) :] == expected


def test_after_a_bounce_at_go_the_last_lift_counts():
    signals = [
        down(0, HOME), up(800, HOME), down(850, HOME), up(900, HOME), down(1300, RIGHT),
    ]  # fmt: skip
    assert told(signals, 1300)[3:] == [
        (800, "lift", 0, ""),
        (850, "bounce", 0, ""),
        (900, "lift", 0, ""),
        (1300, "touch", 0, "hit"),
    ]


def test_a_target_touched_within_the_bounce_time_is_a_touch():
    """Only home can bounce: a quick hand is not held back."""
    signals = [down(0, HOME), up(800, HOME), down(850, RIGHT)]
    assert told(signals, 900)[-1] == (850, "touch", 0, "hit")


def test_a_bounce_on_the_target_is_nothing():
    signals = [
        down(0, HOME), up(800, HOME), down(1200, RIGHT), up(1210, RIGHT), down(1240, RIGHT),
        up(1300, RIGHT), down(2000, HOME),
    ]  # fmt: skip
    assert [e[1] for e in told(signals, 2100)[4:]] == ["touch", "hold", "cue"]


@pytest.mark.parametrize("lifted", [False, True])
def test_no_answer_at_its_limit_and_the_next_trial_wants_a_new_press(lifted):
    """Go at 0.5 s, limit 3 s. A finger that never left home has to leave it first."""
    signals = [down(0, HOME), *([up(800, HOME)] if lifted else []), at(3600, "move", HOME)]
    signals += [] if lifted else [up(3700, HOME)]
    signals += [down(3800, HOME)]
    assert told(signals, 3900)[-3:] == [
        (3500, "no_answer", 0, "right"),
        (3800, "hold", 1, ""),
        (3800, "cue", 1, "left"),
    ]


def test_a_touch_at_the_stamp_of_the_limit_is_too_late():
    signals = [down(0, HOME), up(800, HOME), down(3500, RIGHT)]
    assert [e[1] for e in told(signals, 3600)][-2:] == ["lift", "no_answer"]


def test_the_block_ends_on_time_in_whatever_trial():
    signals = [down(0, HOME), up(800, HOME), down(1200, RIGHT), up(1300, RIGHT)]
    signals += [down(19_500, HOME), up(20_000, HOME), down(21_000, LEFT)]
    assert told(signals, 30_000)[5:] == [
        (19_500, "hold", 1, ""),
        (19_500, "cue", 1, "left"),
        (20_000, "end", -1, ""),
    ]


def test_go_that_falls_due_with_the_end_is_not_given():
    """Press at 19.5 s, foreperiod 0.5 s: both are due at 20 s."""
    assert [e[1] for e in told([down(19_500, HOME)], 20_000)] == ["hold", "cue", "end"]


def test_no_more_targets_end_the_block():
    signals = []
    for trial, place in enumerate(SETTINGS.targets_mm):
        t_ms = 3000 * trial
        signals += [down(t_ms, HOME), up(t_ms + 1500, HOME), down(t_ms + 2000, place)]
        signals += [up(t_ms + 2100, place)]
    told_all = told(signals, 20_000)
    assert told_all[-2:] == [(8000, "touch", 2, "hit"), (8000, "end", -1, "")]
    assert [e[3] for e in told_all if e[1] == "cue"] == ["right", "left", "middle"]


def test_a_second_finger_cannot_answer_and_is_reported():
    signals = [down(0, HOME), down(800, RIGHT, 2), up(900, RIGHT, 2), up(1000, HOME)]
    assert told(signals, 1000)[3:] == [(800, "extra", 0, ""), (1000, "lift", 0, "")]


def test_a_palm_that_rests_before_the_finger_comes_does_not_lock_it_out():
    palm = (60.0, -45.0)
    signals = [down(0, palm, 2), down(100, HOME, 3), up(900, HOME, 3), down(1300, RIGHT, 4)]
    assert told(signals, 1300) == [
        (100, "extra", 0, ""),
        (100, "hold", 0, ""),
        (100, "cue", 0, "right"),
        (600, "go", 0, "right"),
        (900, "lift", 0, ""),
        (1300, "extra", 0, ""),
        (1300, "touch", 0, "hit"),
    ]


def test_the_palm_leaving_is_not_the_lift():
    signals = [down(0, (60, -45), 2), down(100, HOME, 3), up(800, (60, -45), 2)]
    assert [e[1] for e in told(signals, 900)] == ["extra", "hold", "cue", "go"]


def test_a_palm_that_answered_does_not_keep_the_finger_from_home():
    palm = (60.0, -45.0)
    signals = [down(0, HOME), up(800, HOME), down(900, palm, 2), down(2000, HOME, 3)]
    assert [e[1] for e in told(signals, 2000)[4:]] == ["touch", "extra", "hold", "cue"]


def test_lifts_without_presses_hover_and_presses_beside_home_are_nothing():
    signals = [
        up(0, HOME), at(10, "hover", HOME, 0), at(20, "move", HOME), down(30, (0, -29.9)),
        at(40, "move", HOME), up(50, HOME), up(60, HOME, 5),
    ]  # fmt: skip
    assert told(signals, 100) == []


def test_a_press_without_a_lift_between_is_nothing_while_home_is_held():
    signals = [down(0, HOME), down(300, HOME), down(800, RIGHT)]
    assert [e[1] for e in told(signals, 900)] == ["hold", "cue", "go"]


def test_a_lift_that_was_never_reported_does_not_stop_the_block():
    """After an answer the next press of home counts, whatever was missed in between."""
    signals = [down(0, HOME), up(800, HOME), down(1200, RIGHT), down(2000, HOME)]
    assert [e[1] for e in told(signals, 2000)[4:]] == ["touch", "hold", "cue"]


def test_self_paced_form_asks_at_once_and_after_every_touch():
    signals = [down(700, RIGHT), up(900, RIGHT), down(1500, (0, 0)), up(1700, (0, 0))]
    assert told(signals, 2000, NOSE) == [
        (0, "cue", 0, "right"),
        (700, "touch", 0, "hit"),
        (700, "cue", 1, "left"),
        (900, "lift", 1, ""),
        (1500, "touch", 1, "miss"),
        (1500, "cue", 2, "middle"),
        (1700, "lift", 2, ""),
    ]


def test_self_paced_form_takes_no_bounce_for_an_answer():
    """A finger back within 80 ms never left; the last lift counts."""
    signals = [down(700, RIGHT), up(900, RIGHT), down(950, RIGHT), up(1000, RIGHT)]
    signals += [down(1600, LEFT)]
    assert told(signals, 1600, NOSE)[3:-1] == [
        (900, "lift", 1, ""),
        (950, "bounce", 1, ""),
        (1000, "lift", 1, ""),
        (1600, "touch", 1, "hit"),
    ]


def test_self_paced_form_goes_on_without_an_answer():
    """Limit 3 s from each cue; three targets, then the end."""
    assert told([], 20_000, NOSE) == [
        (0, "cue", 0, "right"),
        (3000, "no_answer", 0, "right"),
        (3000, "cue", 1, "left"),
        (6000, "no_answer", 1, "left"),
        (6000, "cue", 2, "middle"),
        (9000, "no_answer", 2, "middle"),
        (9000, "end", -1, ""),
    ]


def seen(signals, settings=SETTINGS):
    state = TAPPING.start(settings)
    for signal in signals:
        state, _ = TAPPING.advance(settings, state, signal)
    return [(m.role, m.x_mm, m.filled) for m in TAPPING.view(settings, state, signals[-1].t_ns)]


def test_what_is_to_be_seen():
    """The target is a ring until go, then a disc; home asks, is held, and steps back."""
    holding = down(100, HOME)
    assert seen([Tick(0)]) == [("home", 0, True)]
    assert seen([holding]) == [("held", 0, True), ("target", 50, False)]
    assert seen([holding, up(200, HOME)]) == [("held", 0, True), ("target", 50, False)]
    assert seen([holding, Tick(ns(600))]) == [("idle", 0, True), ("go", 50, True)]
    assert seen([holding, up(700, HOME)]) == [("idle", 0, True), ("go", 50, True)]
    assert seen([holding, up(700, HOME), down(900, RIGHT)]) == [("home", 0, True)]
    assert seen([Tick(ns(20_000))]) == []
    assert seen([Tick(0)], NOSE) == [("go", 50, True)]
    assert all(isinstance(m, Disc) for m in TAPPING.view(NOSE, TAPPING.start(NOSE), 0))
