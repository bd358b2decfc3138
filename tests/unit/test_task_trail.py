"""Trails, node by node: every expected event was worked out by hand from the rules."""

import pytest

from tasks.contract import NS_PER_MS, Contact, Event, Tick
from tasks.trail import TRAIL, TrailForm, TrailSettings, first_link
from tests.doers import play

# 1 - 2 - 3 - 4 along a line 30 mm apart, then A - B - C upwards.
LINE = TrailForm("numbers", ((0, 0), (30, 0), (60, 0), (90, 0)), ("1", "2", "3", "4"))
STAIR = TrailForm("alternating", ((0, -30), (0, 0), (0, 30)), ("1", "A", "2"))
SETTINGS = TrailSettings((LINE, STAIR), node_r_mm=7.0, dwell_s=0.15, limit_s=60.0)
N1, N2, N3, N4 = LINE.nodes_mm


def at(ms, kind, place, pointer=1):
    return Contact(round(ms * NS_PER_MS), kind, *place, pointer)


def down(ms, place, pointer=1):
    return at(ms, "down", place, pointer)


def move(ms, place, pointer=1):
    return at(ms, "move", place, pointer)


def up(ms, place, pointer=1):
    return at(ms, "up", place, pointer)


GRABBED = [down(0, N1), move(500, (10, 0))]  # grab at 0, release at 500


def told(signals, until_ms=20_000):
    """Everything after the first `form`."""
    events = play(TRAIL, SETTINGS, [*signals, Tick(round(until_ms * NS_PER_MS))])
    return [(e.t_ns / NS_PER_MS, e.kind, e.trial, e.label) for e in events][1:]


def after_release(signals, until_ms=20_000):
    return told([*GRABBED, *signals], until_ms)[2:]


def test_first_link_in_full():
    events = play(TRAIL, SETTINGS, [*GRABBED, move(900, (24, 1)), Tick(1_050_000_000)])
    ns = NS_PER_MS
    assert repr(events) == repr(
        [
            Event(0, "form", 0, "numbers"),
            Event(0, "grab", 0, "", 0, 0),
            Event(500 * ns, "release", 0, "", 10, 0),
            Event(1050 * ns, "capture", 0, "2", 30, 0, 7.0),
        ]
    )


def test_a_whole_block():
    """Two forms; links run on over the block: 0 1 2, then 3 4."""
    signals = [
        *GRABBED, move(900, N2), move(1200, N3), move(1500, N4), up(1800, N4),
        down(3000, STAIR.nodes_mm[0]), move(3500, (0, -15)),
        move(4000, STAIR.nodes_mm[1]), move(4500, STAIR.nodes_mm[2]),
    ]  # fmt: skip
    assert told(signals) == [
        (0, "grab", 0, ""),
        (500, "release", 0, ""),
        (1050, "capture", 0, "2"),
        (1350, "capture", 1, "3"),
        (1650, "capture", 2, "4"),
        (1650, "form_done", 0, "numbers"),
        (1650, "form", 1, "alternating"),
        (3000, "grab", 3, ""),
        (3500, "release", 3, ""),
        (4150, "capture", 3, "A"),
        (4650, "capture", 4, "2"),
        (4650, "form_done", 1, "alternating"),
        (4650, "end", -1, ""),
    ]
    assert [first_link(SETTINGS, form) for form in (0, 1, 2)] == [0, 3, 5]


@pytest.mark.parametrize(("leave_ms", "captured"), [(1049.999999, False), (1050, True)])
def test_a_node_is_captured_after_150_ms_in_it(leave_ms, captured):
    """Due at the stamp of the contact that leaves: the capture comes first."""
    kinds = [e[1] for e in after_release([move(900, N2), move(leave_ms, (45, 0))])]
    assert kinds == (["capture"] if captured else [])


def test_a_right_node_left_too_soon_starts_its_dwell_anew():
    signals = [move(900, N2), move(1000, (45, 0)), move(1100, N2)]
    assert after_release(signals) == [(1250, "capture", 0, "2")]


def test_moving_about_inside_a_node_does_not_start_its_dwell_anew():
    signals = [move(900, (24, 0)), move(1000, (36, 0)), move(1040, (30, 6))]
    assert after_release(signals) == [(1050, "capture", 0, "2")]


@pytest.mark.parametrize(("place", "inside"), [((37, 0), True), ((37.01, 0), False)])
def test_the_rim_belongs_to_the_node(place, inside):
    assert bool(after_release([move(900, place)])) == inside


def test_a_wrong_node_is_an_error_after_the_dwell_and_a_slip_before():
    assert after_release([move(900, N3), move(1050, (75, 0))]) == [(1050, "error", 0, "3")]
    assert after_release([move(900, N3), move(1049, (75, 0))]) == [(1049, "slip", 0, "3")]


def test_the_same_wrong_node_counts_again_only_after_leaving_it():
    stayed = [move(900, N3), move(2000, (62, 0)), move(4000, (58, 0))]
    assert after_release(stayed) == [(1050, "error", 0, "3")]
    again = [*stayed, move(4100, (45, 0)), move(4200, N3)]
    assert after_release(again)[1:] == [(4350, "error", 0, "3")]


def test_a_node_taken_too_early_has_to_be_left_and_entered_again():
    """3 is wrong before 2; after 2 it is right."""
    signals = [move(900, N3), move(1200, N2), move(1500, N3)]
    assert after_release(signals) == [
        (1050, "error", 0, "3"),
        (1350, "capture", 0, "2"),
        (1650, "capture", 1, "3"),
    ]


def test_captured_nodes_are_nothing():
    signals = [move(900, N2), move(1100, N1), move(2000, N2), move(3000, (15, 0))]
    assert after_release(signals) == [(1050, "capture", 0, "2")]


def test_from_one_wrong_node_straight_into_another():
    """One report in 3, the next in 4: both are left too soon."""
    signals = [move(900, N3), move(1000, N4), move(1100, (45, 0))]
    assert after_release(signals) == [(1000, "slip", 0, "3"), (1100, "slip", 0, "4")]


@pytest.mark.parametrize(("place", "taken"), [((0, 12), True), ((0, 12.01), False)])
def test_the_first_node_is_taken_up_to_5_mm_beside_it(place, taken):
    assert bool(told([down(0, place)])) == taken


def test_taking_up_beside_the_first_node_starts_no_clock():
    """The clock starts when the ring is left, or the node once it was entered."""
    beside = [down(0, (0, 11)), move(300, (0, 10)), move(400, (0, 11.9))]
    assert told(beside) == [(0, "grab", 0, "")]
    assert told([*beside, move(600, (0, 12.1))])[1:] == [(600, "release", 0, "")]
    assert told([*beside, move(600, (0, 6)), move(700, (0, 8))])[1:] == [
        (700, "release", 0, "")
    ]
    assert told([*beside, move(600, N2)])[1:] == [
        (600, "release", 0, ""),
        (750, "capture", 0, "2"),
    ]


def test_the_clock_starts_once():
    signals = [move(700, N1), move(800, (10, 0)), move(900, N1), move(1000, (-10, 0))]
    assert after_release(signals) == []


def test_drag_without_the_first_node_is_nothing():
    assert told([down(0, (15, 0)), move(200, N1), move(400, N2), up(900, N2)]) == []


def test_contact_lost_in_a_node_before_the_dwell_captures_nothing():
    signals = [move(900, N2), up(1049, N2)]
    assert after_release(signals) == [(1049, "lost", 0, "")]
    assert after_release([move(900, N3), up(1000, N3)]) == [
        (1000, "slip", 0, "3"),
        (1000, "lost", 0, ""),
    ]


def test_a_lift_at_the_stamp_of_the_capture_comes_after_it():
    assert after_release([move(900, N2), up(1050, N2)]) == [
        (1050, "capture", 0, "2"),
        (1050, "lost", 1, ""),
    ]


LOST = [move(900, N2), move(1200, (45, 0)), up(1300, (45, 20))]  # 2 captured at 1050


@pytest.mark.parametrize(
    ("place", "taken"),
    [
        ((45, 32), True),  # 12 mm from where it was lost: radius 7 and 5 more
        ((45, 32.01), False),
        ((30, -12), True),  # 12 mm from the last captured node
        ((30, -12.01), False),
        (N1, False),
        (N3, False),
    ],
)
def test_the_chip_is_taken_up_where_it_was_lost_or_at_the_last_captured_node(place, taken):
    told_then = after_release([*LOST, down(2000, place)])[2:]
    assert told_then == ([(2000, "regained", 1, "")] if taken else [])


def test_taken_up_inside_the_next_node_dwells_from_then_on():
    signals = [move(900, (20, 0)), up(1000, (20, 0)), down(2000, (24, 0))]
    assert after_release(signals)[1:] == [(2000, "regained", 0, ""), (2150, "capture", 0, "2")]


def test_no_node_is_captured_while_contact_is_lost():
    signals = [*LOST, move(1400, N3), at(1500, "hover", N3, 0)]
    assert [e[1] for e in after_release(signals)] == ["capture", "lost"]


def test_after_a_form_the_finger_must_leave_the_glass():
    """The finger still rests on node 4 and is dragged over the next form: nothing."""
    signals = [move(900, N2), move(1200, N3), move(1500, N4)]
    dragged = [move(2000, STAIR.nodes_mm[0]), move(2500, STAIR.nodes_mm[1])]
    assert [e[1] for e in after_release([*signals, *dragged])][-2:] == ["form_done", "form"]


def test_the_limit_ends_the_block():
    assert told([], 59_999) == []
    assert told([], 60_000) == [(60_000, "limit", -1, ""), (60_000, "end", -1, "")]
    late = [down(59_000, N1), move(59_800, N2), move(59_900, N3), move(60_000, (45, 0))]
    assert [e[1] for e in told(late, 70_000)] == ["grab", "release", "limit", "end"]


def test_everything_due_between_two_signals_happens():
    """Nothing is heard after 59.5 s: the dwell is over at 59.65 s, the block at 60 s."""
    assert told([down(59_000, N1), move(59_500, N2)], 70_000)[-3:] == [
        (59_650, "capture", 0, "2"),
        (60_000, "limit", -1, ""),
        (60_000, "end", -1, ""),
    ]


def test_a_capture_due_with_the_limit_is_too_late():
    assert [e[1] for e in told([down(59_000, N1), move(59_850, N2)], 70_000)][-2:] == [
        "limit",
        "end",
    ]


def test_a_second_finger_is_reported_and_drags_nothing():
    signals = [down(600, N3, 2), move(700, N2, 2), up(900, N2, 2), move(1000, (45, 0))]
    assert after_release(signals) == [(600, "extra", 0, "")]


def test_a_palm_that_came_first_does_not_lock_the_finger_out():
    signals = [down(0, (60, -45), 2), down(100, N1, 3), move(400, N2, 3)]
    assert told(signals) == [
        (100, "extra", 0, ""),
        (100, "grab", 0, ""),
        (400, "release", 0, ""),
        (550, "capture", 0, "2"),
    ]


def seen(signals, until_ms):
    state = TRAIL.start(SETTINGS)
    for signal in [*signals, Tick(round(until_ms * NS_PER_MS))]:
        state, _ = TRAIL.advance(SETTINGS, state, signal)
    marks = TRAIL.view(SETTINGS, state, round(until_ms * NS_PER_MS))
    nodes = {m.label: m.role for m in marks if getattr(m, "label", "")}
    chips = [(m.role, m.x_mm, m.y_mm) for m in marks if getattr(m, "label", None) == ""]
    lines = [m.points_mm for m in marks if hasattr(m, "points_mm")]
    return nodes, chips, lines


def test_only_the_first_node_is_lit():
    """Finding the next node is the task, so it looks like all the others."""
    assert seen([], 0) == ({"1": "go", "2": "target", "3": "target", "4": "target"}, [], [])
    nodes, chips, lines = seen([*GRABBED, move(900, N2), move(1100, (45, 9))], 1200)
    assert nodes == {"1": "done", "2": "done", "3": "target", "4": "target"}
    assert chips == [("held", 45, 9)]
    assert lines == [((0, 0), (30, 0))]


def test_an_error_is_shown_while_it_lasts():
    wrong = [*GRABBED, move(900, N4)]
    assert seen(wrong, 1000)[0]["4"] == "target"
    assert seen(wrong, 1100)[0]["4"] == "wrong"
    assert seen([*wrong, move(1200, (45, 0))], 1300)[0]["4"] == "target"
    assert seen([*wrong, up(1200, N4)], 1300)[0]["4"] == "target"


def test_a_lost_chip_stays_where_it_was():
    assert seen([*GRABBED, *LOST], 1400)[1] == [("chip", 45, 20)]
    assert seen([], 60_000) == ({}, [], [])
