"""Nothing that is shown flashes more than three times in a second."""

import itertools

import numpy as np
import pytest

from battery.plan import STANDARD, planned_blocks
from battery.recording import BlockHeader, contacts
from battery.runner import Run, run_block
from battery.simulate import TOUCH_60, Person, Truth
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.demonstration import Demonstration
from battery.stage.pages.live import LiveSource
from battery.stage.screen.pointer import Report
from battery.stage.screen.theme import THEMES
from tasks.contract import settings_to_dict
from tests.screen.flashes import LIMIT_MM2, Changes, watched
from tests.screen.pilot import Scripted, open_window, tablet
from tests.sparing import only

TESTS = [b for b in planned_blocks(STANDARD, "right") if (b.phase, b.hand) == ("test", "right")]
TASKS = {b.task: b for b in TESTS}
SHOWN_S = 6.0  # a flash is counted over one second


def flicker(low, high, per_s, changes, seconds=2.0, frames_per_s=120):
    """A field that goes between two values, half and half."""
    for frame in range(int(seconds * frames_per_s)):
        is_high = int(2 * per_s * frame / frames_per_s) % 2
        changes.show(frame / frames_per_s, np.full((2, 2), high if is_high else low))
    return changes.most_points


@pytest.mark.parametrize(
    ("low", "high", "per_s", "allowed"),
    [
        # By the definition: three flashes in a second are allowed, four are not; a change
        # below 10 % is none; one between two light pictures is none.
        (0.1, 0.3, 3.0, True),
        (0.1, 0.3, 4.0, False),
        (0.1, 0.3, 12.0, False),
        (0.10, 0.19, 12.0, True),
        (0.82, 0.99, 12.0, True),
        (0.70, 0.99, 12.0, False),
    ],
)
def test_flashes_are_counted_as_the_guideline_says(low, high, per_s, allowed):
    assert (flicker(low, high, per_s, Changes(0.1, 0.8)) == 0) == allowed


def header(planned, **options):
    settings = settings_to_dict(planned.settings(3)) | options
    return BlockHeader("", "", 0, planned.task, planned.hand, "test", 3, "", settings, "")


@pytest.mark.parametrize(
    ("task", "theme"),
    only(
        list(itertools.product(TASKS, THEMES)),
        [("tapping", "dark"), ("pursuit", "light"), ("slide", "dark"), ("trail", "dark")],
    ),
)
def test_a_task_does_not_flash(monkeypatch, task, theme):
    block_header = header(TASKS[task])
    done = run_block(block_header, Person(Truth(), TOUCH_60, 3))
    moves = [(m.t_ns, m.kind, m.x_mm, m.y_mm) for m in contacts(done.samples)]
    watcher = played(monkeypatch, block_header, moves, theme)
    assert watcher.n_pictures > 5
    assert watcher.area_mm2(5.88) < LIMIT_MM2 / 4


def played(monkeypatch, block_header, moves, theme):
    with open_window(monkeypatch, tablet("1280x800")) as (window, clock):
        window.theme = THEMES[theme]
        window.reader = Until(clock, moves)
        watcher = watched(monkeypatch, window)
        source = LiveSource(window, hand=block_header.hand, name=block_header.task)
        source.play(Run(block_header))
    return watcher


class Until(Scripted):
    """Contacts from the moment of the first question, left after a while."""

    def __init__(self, clock, moves):
        super().__init__(clock)
        self._moves = moves
        self._begun_ns = clock.now

    def forget(self):
        for t_ns, kind, x_mm, y_mm in self._moves:
            at_ns = self.clock.now + t_ns
            self.add((at_ns, Report(at_ns, 0, kind, x_mm, y_mm, 1)))

    def drain(self):
        over = self.clock.now - self._begun_ns > SHOWN_S * 1e9
        return ["hidden"] if over else super().drain()


def bouncing(block, per_s):
    """The same block with a finger that leaves the glass so many times a second."""
    rows = []
    down = False
    for move in contacts(block.samples):
        on = move.kind in ("down", "move") and (move.t_ns / 1e9 * per_s) % 1.0 < 0.6
        if on != down:
            rows.append((move.t_ns, "down" if on else "up", move.x_mm, move.y_mm))
        elif on:
            rows.append((move.t_ns, "move", move.x_mm, move.y_mm))
        down = on
    return rows


@pytest.mark.parametrize(
    ("task", "per_s"),
    only(list(itertools.product(TASKS, (4.0, 8.0, 12.0))), [("slide", 8.0), ("tapping", 8.0)]),
)
def test_a_task_does_not_flash_under_a_finger_that_bounces(monkeypatch, task, per_s):
    """Tremor of 4 to 12 Hz that lifts the finger from the glass."""
    block_header = header(TASKS[task])
    done = run_block(block_header, Person(Truth(), TOUCH_60, 3))
    watcher = played(monkeypatch, block_header, bouncing(done, per_s), "dark")
    assert watcher.area_mm2(5.88) < LIMIT_MM2 / 4


@pytest.mark.parametrize("task", only(list(TASKS), ["tapping", "slide"]))
def test_a_demonstration_does_not_flash(monkeypatch, task):
    with open_window(monkeypatch, tablet("1280x800")) as (window, clock):
        canvas = Canvas(window, large=False)
        canvas.clear()
        watcher = watched(monkeypatch, window)
        shown = Demonstration(TASKS[task], 3)
        shown.begin(canvas, window.surface.get_rect().inflate(-100, -250))
        for frame in range(15 * 60):
            clock.now += 1_000_000_000 // 60
            shown.step(frame / 60)
            watcher.look()
    assert watcher.n_pictures > 10
    assert watcher.area_mm2(5.88) < LIMIT_MM2 / 3  # a hand is drawn, as large as the task
