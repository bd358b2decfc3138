"""Slide, pass by pass: every expected event was worked out by hand from the rules."""

import pytest

from tasks.contract import NS_PER_MS, Contact, Event, Tick
from tasks.slide import SLIDE, SlideSettings
from tests.doers import play

SETTINGS = SlideSettings(
    fixed_x_mm=0.0,
    fixed_y_mm=30.0,
    fixed_r_mm=10.0,
    chip_x_mm=0.0,
    chip_y_mm=-20.0,
    chip_r_mm=10.0,
    reach_mm=80.0,
    first_side="left",
    duration_s=30.0,
    least_out_mm=20.0,
)
FIXED, CHIP = (0.0, 30.0), (0.0, -20.0)


def at(ms, kind, place, pointer=1):
    return Contact(round(ms * NS_PER_MS), kind, *place, pointer)


def tap(ms, place):
    return [at(ms, "down", place), at(ms + 50, "up", place)]


def drag(begin_ms, *xs_mm, y_mm=-20.0):
    """Positions 100 ms apart."""
    return [at(begin_ms + 100 * k, "move", (x, y_mm)) for k, x in enumerate(xs_mm)]


def told(signals, until_ms=10_000):
    events = play(SLIDE, SETTINGS, [*signals, Tick(round(until_ms * NS_PER_MS))])
    return [(e.t_ns / NS_PER_MS, e.kind, e.trial, e.label) for e in events][1:]  # after the cue


def test_one_pass_in_full():
    """Taken 4 mm right of its centre, out to finger -61 (chip -65), back within 10 mm."""
    signals = [
        *tap(100, (2.0, 31.0)),
        at(500, "down", (4.0, -22.0)),
        *drag(600, -16.0, -61.0, -40.0, -6.5, -6.0),
    ]
    events = play(SLIDE, SETTINGS, signals)
    ns = NS_PER_MS
    assert repr(events) == repr(
        [
            Event(0, "cue", 0, "left", 0.0, 30.0, 10.0),
            Event(100 * ns, "touch", 0, "hit", 2.0, 31.0),
            Event(500 * ns, "grab", 0, "left", 4.0, -22.0),
            Event(1000 * ns, "pass", 0, "left", -65.0, -20.0, 0.0),
            Event(1000 * ns, "cue", 1, "right", 0.0, 30.0, 10.0),
        ]
    )


def test_sides_alternate_and_every_pass_wants_its_touch_and_grab():
    one = [*tap(0, FIXED), at(200, "down", CHIP), *drag(300, -30.0, 0.0), at(600, "up", CHIP)]
    two = [*tap(1000, FIXED), at(1200, "down", CHIP), *drag(1300, 50.0, 0.0)]
    assert [(e[1], e[3]) for e in told([*one, *two]) if e[1] in ("grab", "pass", "cue")] == [
        ("grab", "left"),
        ("pass", "left"),
        ("cue", "right"),
        ("grab", "right"),
        ("pass", "right"),
        ("cue", "left"),
    ]


def test_the_chip_without_the_touch_before_is_a_miss():
    assert told([at(100, "down", CHIP), *drag(200, -50.0, 0.0)]) == [(100, "touch", 0, "miss")]


@pytest.mark.parametrize(("place", "label"), [((6, 38), "hit"), ((6, 38.01), "miss")])
def test_the_rim_belongs_to_the_fixed_target(place, label):
    assert told(tap(100, place)) == [(100, "touch", 0, label)]


def test_a_pass_counts_from_20_mm_on():
    """19.9 mm out and back is nothing; the same grasp may go out again."""
    begun = [*tap(0, FIXED), at(200, "down", CHIP)]
    assert [e[1] for e in told([*begun, *drag(300, -19.9, 0.0)])] == ["touch", "grab"]
    again = told([*begun, *drag(300, -19.9, 0.0, -20.0, -10.0)])
    assert again[2][:2] == (600, "pass")


def test_a_pass_is_done_on_the_rim_of_the_start_and_not_before():
    begun = [*tap(0, FIXED), at(200, "down", CHIP), *drag(300, -40.0, -10.01)]
    assert [e[1] for e in told(begun)] == ["touch", "grab"]
    assert told([*begun, *drag(600, -10.0)])[2][:2] == (600, "pass")


def extents(signals):
    return [e.x_mm for e in play(SLIDE, SETTINGS, signals) if e.kind == "pass"]


def test_the_chip_stops_at_the_end_of_the_track_and_keeps_to_its_side():
    begun = [*tap(0, FIXED), at(200, "down", CHIP)]
    assert extents([*begun, *drag(300, -200.0, 0.0)]) == [-80.0]
    assert extents([*begun, *drag(300, 60.0, 0.0)]) == []


def test_across_the_track_nothing_is_asked():
    begun = [*tap(0, FIXED), at(200, "down", CHIP)]
    assert extents([*begun, *drag(300, -40.0, 0.0, y_mm=50.0)]) == [-40.0]


def test_contact_lost_on_the_way_and_taken_up_again_near_the_chip():
    """The chip rests at -50; its rim is 10 mm, and 5 mm beside it still take it up."""
    begun = [*tap(0, FIXED), at(200, "down", CHIP), *drag(300, -50.0)]
    signals = [
        *begun, at(400, "up", (-50, -20)), *tap(600, (-34.9, -20)), at(800, "down", (-35, -20)),
        *drag(900, -5.0, 30.0),
    ]  # fmt: skip
    assert told(signals)[2:] == [
        (400, "lost", 0, "left"),
        (800, "regained", 0, "left"),
        (1000, "pass", 0, "left"),
        (1000, "cue", 1, "right"),
    ]
    assert extents(signals) == [-50.0]  # taken up 15 mm beside its centre: no jump outwards


def test_the_first_grasp_must_be_on_the_chip():
    begun = tap(0, FIXED)
    assert [e[1] for e in told([*begun, at(200, "down", (10.01, -20))])] == ["touch"]
    assert [e[1] for e in told([*begun, at(200, "down", (10.0, -20))])] == ["touch", "grab"]


def test_after_a_pass_the_finger_must_leave_the_glass():
    signals = [*tap(0, FIXED), at(200, "down", CHIP), *drag(300, -50.0, 0.0)]
    signals += [at(600, "move", FIXED), at(700, "move", CHIP), *drag(800, 50.0, 0.0)]
    assert [e[1] for e in told(signals)] == ["touch", "grab", "pass", "cue"]


def test_the_other_hand_cannot_take_the_chip_while_the_first_holds_the_target():
    signals = [
        at(0, "down", FIXED, 1),
        at(200, "down", CHIP, 2),
        at(300, "move", (-50, -20), 2),
    ]
    assert [e[1] for e in told(signals)] == ["touch", "extra"]


def test_a_second_finger_on_the_way_changes_nothing():
    begun = [*tap(0, FIXED), at(200, "down", CHIP), *drag(300, -50.0)]
    second = [
        at(350, "down", (60, -45), 2),
        at(360, "move", (0, -20), 2),
        at(370, "up", CHIP, 2),
    ]
    assert [e[1] for e in told([*begun, *second, *drag(400, 0.0)])] == [
        "touch", "grab", "extra", "pass", "cue",
    ]  # fmt: skip


def test_a_palm_that_missed_the_target_does_not_lock_the_finger_out():
    signals = [at(0, "down", (60, -45), 2), at(100, "down", FIXED, 3), at(200, "up", FIXED, 3)]
    signals += [at(300, "down", CHIP, 4)]
    assert told(signals) == [
        (0, "touch", 0, "miss"),
        (100, "extra", 0, ""),
        (100, "touch", 0, "hit"),
        (300, "extra", 0, ""),
        (300, "grab", 0, "left"),
    ]


def test_hover_and_lifts_without_presses_are_nothing():
    assert told([at(0, "up", FIXED), at(10, "hover", FIXED, 0), at(20, "move", FIXED)]) == []


def test_the_block_ends_on_time_and_an_unfinished_pass_does_not_count():
    signals = [*tap(29_000, FIXED), at(29_500, "down", CHIP), *drag(29_600, -50.0)]
    signals += [at(30_000, "move", CHIP)]
    assert told(signals, 40_000)[2:] == [(30_000, "end", -1, "")]


def seen(signals):
    state = SLIDE.start(SETTINGS)
    for signal in signals:
        state, _ = SLIDE.advance(SETTINGS, state, signal)
    track, fixed, chip = SLIDE.view(SETTINGS, state, signals[-1].t_ns)
    return track.points_mm[-1][0], fixed.role, chip.role, chip.x_mm


def test_what_is_to_be_seen():
    begun = [*tap(0, FIXED), at(200, "down", CHIP)]
    assert seen([Tick(0)]) == (-80, "go", "idle", 0)
    assert seen(begun[:2]) == (-80, "done", "go", 0)
    assert seen([*begun, *drag(300, -33.0)]) == (-80, "done", "held", -33)
    assert seen([*begun, *drag(300, -33.0), at(400, "up", CHIP)]) == (-80, "done", "go", -33)
    assert seen([*begun, *drag(300, -33.0, 0.0)]) == (80, "go", "idle", 0)
