"""A block in the window: the same outcome as without one, and every way out of it."""

import itertools
import math
from typing import ClassVar

import pytest

from battery.plan import STANDARD, PlannedBlock, planned_blocks
from battery.recording import BlockHeader, events_from_array
from battery.runner import Run, run_block
from battery.simulate import MOUSE_125, TOUCH_120, Person, Truth
from battery.stage.drawing.canvas import Canvas
from battery.stage.pages.live import FRAMES_PER_S, Deadlines, LiveSource
from battery.stage.screen.pointer import Key, Report
from tasks.contract import NS_PER_S, settings_to_dict
from tasks.layout import PursuitOptions, SlideOptions, TappingOptions, TrailOptions
from tasks.registry import TASKS
from tests.screen.pilot import Replayed, Scripted, open_window
from tests.sparing import share

BRIEF = {
    "tapping": TappingOptions(duration_s=6.0),
    "slide": SlideOptions(duration_s=6.0),
    "pursuit": PursuitOptions(predictable_s=4.0, unpredictable_s=0.0),
    "trail": TrailOptions(kinds=("numbers",), n_nodes=5),
}


def header(task, hand="right", seed=4):
    settings = PlannedBlock(task, hand, "test", BRIEF[task]).settings(seed)
    return BlockHeader(
        "block", "visit", 0, task, hand, "test", seed, "", settings_to_dict(settings), ""
    )


def played(task, pointer):
    return run_block(header(task), Person(Truth(), pointer, 5))


@pytest.mark.parametrize("task", list(TASKS))
@pytest.mark.parametrize("pointer", [MOUSE_125, TOUCH_120], ids=["mouse", "touch"])
def test_the_window_and_the_made_up_person_are_the_same_kind_of_source(headless, task, pointer):
    """The contacts of a simulated block, given through the window, lead to the same events."""
    window, clock = headless
    alone = played(task, pointer)
    window.reader = Replayed(clock, alone)
    run = Run(header(task))
    assert LiveSource(window, hand="right", name=task).play(run) == ("finished", "")
    block = run.block("finished", "")
    assert repr(events_from_array(block.events)) == repr(events_from_array(alone.events))
    names = ["t_ns", "kind", "pointer", "x_mm", "y_mm"]
    seen = block.samples[names]
    assert (seen == alone.samples[names][: len(seen)]).all()
    assert len(seen) >= (alone.samples["t_ns"] < block.ended_ns).sum()


def test_frames_are_recorded_at_sixty_a_second(headless):
    window, clock = headless
    window.reader = Replayed(clock, played("tapping", TOUCH_120))
    run = Run(header("tapping"))
    LiveSource(window, hand="right", name="tapping").play(run)
    frames = run.block("finished", "").frames
    assert len(frames) == pytest.approx(6.0 * FRAMES_PER_S, abs=2)
    assert (frames["flip_ns"] >= frames["drawn_ns"]).all()
    assert (frames["drawn_ns"][1:] > frames["drawn_ns"][:-1]).all()


def test_a_late_frame_does_not_delay_the_others():
    """Frames are due at whole sixtieths from the beginning; one that is past is left out."""
    frames = Deadlines(1_000)
    frames.step(1_000)
    assert frames.due_ns == 1_000 + NS_PER_S // 60
    frames.step(frames.due_ns + 9_000_000)  # drawn late, still within its own time
    assert frames.due_ns == 1_000 + 2 * NS_PER_S // 60
    frames.step(1_000 + 500_000_000)  # half a second later: 30 sixtieths
    assert frames.due_ns == 1_000 + 31 * NS_PER_S // 60
    for _ in range(29):
        frames.step(frames.due_ns + 100)
    assert frames.due_ns == 1_000 + NS_PER_S


def report(clock, kind, x_mm, y_mm, after_ms, pointer=1):
    t_ns = clock.now + after_ms * 1_000_000
    return t_ns, Report(t_ns, 0, kind, x_mm, y_mm, pointer)


def stop_middle_mm(window, hand):
    rect = Canvas(window, large=False).stop_area(hand).rect
    return window.scale.to_mm(*rect.center)


def ends(headless, script, hand="right"):
    window, clock = headless
    window.reader = Scripted(clock, script)
    run = Run(header("tapping", hand))
    return LiveSource(window, hand=hand, name="tapping").play(run), run


@pytest.mark.parametrize("hand", ["left", "right"])
def test_one_tap_on_stop_ends_the_block_and_is_recorded(headless, hand):
    window, clock = headless
    place = stop_middle_mm(window, hand)
    script = [report(clock, "down", *place, 500), report(clock, "up", *place, 560)]
    (ending, reason), run = ends(headless, script, hand)
    assert (ending, reason) == ("stopped", "the person tapped Stop")
    assert run.block("stopped", reason).samples["kind"].tolist() == [1, 3]


def test_a_shaking_tap_that_slips_a_little_off_stop_still_counts(headless):
    window, clock = headless
    x_mm, y_mm = stop_middle_mm(window, "right")
    script = [
        report(clock, "down", x_mm + 14, y_mm - 14, 500),
        report(clock, "up", x_mm + 20, y_mm - 22, 560),
    ]
    assert ends(headless, script)[0][0] == "stopped"


def test_a_drag_that_passes_over_stop_is_no_tap(headless):
    window, clock = headless
    place = stop_middle_mm(window, "right")
    script = [
        report(clock, "down", 0.0, 0.0, 300),
        report(clock, "move", *place, 400),
        report(clock, "up", *place, 450),
        report(clock, "down", *place, 600),
        report(clock, "up", 60.0, 0.0, 700),
    ]
    assert ends(headless, script)[0] == ("finished", "")


def test_a_second_hand_may_tap_stop_while_the_first_is_busy(headless):
    window, clock = headless
    place = stop_middle_mm(window, "right")
    script = [
        report(clock, "down", 0.0, -38.0, 300),
        report(clock, "down", *place, 500, pointer=2),
        report(clock, "up", *place, 550, pointer=2),
    ]
    assert ends(headless, script)[0][0] == "stopped"


def test_any_key_stops(headless):
    _, clock = headless
    at_ns = clock.now + 400_000_000
    (ending, reason), _ = ends(headless, [(at_ns, Key("q"))])
    assert (ending, reason) == ("stopped", "the person pressed a key")


def test_a_lost_window_breaks_the_block_off(headless):
    window, clock = headless
    (ending, _), run = ends(headless, [(clock.now + 400_000_000, "hidden")])
    assert ending == "interrupted"
    assert not window.closing
    assert len(run.block(ending, "").frames) > 20


def test_a_closed_window_breaks_the_block_off_and_ends_the_visit(headless):
    window, clock = headless
    (ending, _), _ = ends(headless, [(clock.now + 400_000_000, "quit")])
    assert ending == "interrupted"
    assert window.closing


def test_the_go_cue_sounds_when_it_is_due(headless):
    """Once a trial, at the frame that follows it at the latest."""
    window, clock = headless

    class Noted:
        times_ns: ClassVar[list[int]] = []

        def play(self):
            self.times_ns.append(clock.now)

        def close(self):
            pass

    window.sound = Noted()
    alone = played("tapping", TOUCH_120)
    window.reader = Replayed(clock, alone)
    source = LiveSource(window, hand="right", name="tapping")
    source.play(Run(header("tapping")))
    due_ns = alone.events["t_ns"][alone.events["kind"] == "go"] + source.begun_ns
    assert len(window.sound.times_ns) == len(due_ns) > 1
    for heard_ns, gone_ns in zip(window.sound.times_ns, due_ns, strict=True):
        assert 0 <= heard_ns - gone_ns <= NS_PER_S / FRAMES_PER_S + 1_000_000


@pytest.mark.parametrize("hand", ["left", "right"])
def test_stop_is_large_and_in_the_corner_away_from_the_hand(monkeypatch, any_tablet, hand):
    with open_window(monkeypatch, any_tablet) as (window, _):
        rect = Canvas(window, large=False).stop_area(hand).rect
        assert min(rect.size) * any_tablet.mm_per_px_x >= 29.9
        assert rect.top == 0
        assert (rect.left == 0) == (hand == "right")
        assert window.surface.get_rect().contains(rect)


class Shown:
    """Keeps every disc that was on the screen."""

    on = True

    def __init__(self):
        self.discs = set()

    def show(self, state):
        self.discs |= {(d["x_px"], d["y_px"], d["r_px"]) for d in state["discs"]}


@pytest.mark.parametrize(
    ("task", "hand"),
    [
        *share(itertools.product(TASKS, ["left"]), 2),
        *share(itertools.product(TASKS, ["right"]), 2, start=1),
    ],
)
def test_nothing_of_a_task_comes_under_stop(headless, task, hand):
    window, clock = headless
    planned = next(
        b for b in planned_blocks(STANDARD, hand) if (b.task, b.phase) == (task, "test")
    )
    settings = settings_to_dict(planned.settings(11))
    whole = BlockHeader("block", "visit", 0, task, hand, "test", 11, "", settings, "")
    window.reader = Replayed(clock, run_block(whole, Person(Truth(), TOUCH_120, 2)))
    window.publisher = shown = Shown()
    LiveSource(window, hand=hand, name=task).play(Run(whole))
    stop = Canvas(window, large=False).stop_area(hand).rect
    assert len(shown.discs) > 2
    for x_px, y_px, r_px in shown.discs:
        near_x_px = min(max(x_px, stop.left), stop.right)
        near_y_px = min(max(y_px, stop.top), stop.bottom)
        assert math.hypot(x_px - near_x_px, y_px - near_y_px) > r_px
