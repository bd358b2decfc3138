"""Whole visits by a shaking finger on every size of screen, large, in German at 200 percent.

Real touches from another process; every press of a page trembles by 3 mm at 5 Hz, as an
essential tremor does (4 to 12 Hz: Bhatia 2018, table in PMC12219005).
"""

import logging
import math
import random
import time

import pytest

from battery.store import Store
from tests.screen.door import PANELS
from tests.screen.manners import ANSWERS
from tests.screen.servers import Finger, command, enrol, prepare, program, touch_screen
from tests.screen.stranger import STEP_S, Stranger, pause
from tests.screen.test_stranger import PLAN, QUICK, finish

pytestmark = [pytest.mark.needs("xorg"), pytest.mark.timeout(2400)]

TREMOR_MM, TREMOR_HZ, HELD_S = 3.0, 5.0, 0.15
OTHERS = {"2160x1440": (2160, 1440, 8.5)}  # of twelve inches: on less the slide is too wide
LOG = logging.getLogger(__name__)
AWAY = {"stopped", "emergency", "settings", "other", "ended", "unwell", "urgent", "staff"}


class Shaking(Stranger):
    """Trembles on every press of a page."""

    def __init__(self, *arguments, seed):
        super().__init__(*arguments)
        self._source = random.Random(seed)
        self.n_presses = self.n_taps = 0

    def press(self, key, *, last=False):
        self.n_presses += 1
        super().press(key, last=last)

    def tap(self, x, y):
        if self.published.now()["running"]:
            super().tap(x, y)
            return
        self.n_taps += 1
        wide_px = TREMOR_MM * self.published.now()["px_per_mm"]
        turn, phase = (self._source.uniform(0, math.tau) for _ in range(2))
        begun_s = time.monotonic()

        def move():
            shift = math.sin(math.tau * TREMOR_HZ * (time.monotonic() - begun_s) + phase)
            self.move(
                x + wide_px * shift * math.cos(turn), y + wide_px * shift * math.sin(turn)
            )

        move()
        self.hand.down()
        while time.monotonic() < begun_s + HELD_S:
            pause(STEP_S)
            move()
        self.hand.up()


@pytest.mark.parametrize(
    ("name", "whole"),
    [
        ("800x1280", False),
        *(pytest.param(n, True, marks=pytest.mark.long) for n in PANELS if n != "800x1280"),
    ],
)
def test_a_shaking_finger_does_a_visit_on_every_screen(tmp_path, record_property, name, whole):
    width_px, height_px, px_per_mm = PANELS[name] if name not in OTHERS else OTHERS[name]
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN if whole else QUICK)
    code = enrol(tmp_path)
    prepare(tmp_path, "comfort", code, "--language", "de", "--text", "200", "--volume", "40",
            "--by", "AB")  # fmt: skip
    with (
        touch_screen((width_px, height_px)) as (display, socket),
        Finger(socket, (width_px, height_px)) as finger,
    ):
        sides = (width_px / px_per_mm, height_px / px_per_mm)
        measured = ("--width-mm", str(sides[0]), "--height-mm", str(sides[1]))
        done = command(tmp_path, "screen", *measured, display=display)
        assert done.returncode == 0, done.stderr
        arguments = ("visit", code, "--plan", str(plan), "--large")
        with program(display, tmp_path, *arguments) as (process, published):
            stranger = Shaking(finger, published, seed=name)
            if name == "800x1280":
                stranger.visit(until="turn")
            else:
                stranger.visit()
            stranger.press("end", last=True)
            status, out, err = finish(process)
    if name == "800x1280":
        assert (status, err.count("\n")) == (2, 1)
        assert "needs" in err
        return
    assert (status, err) == (0, "")
    assert "complete" in out
    assert not AWAY & set(stranger.pages)
    LOG.info("%s: %d presses in %d taps", name, stranger.n_presses, stranger.n_taps)
    assert stranger.n_presses >= 0.9 * stranger.n_taps
    check_answers(tmp_path)


def check_answers(folder):
    """What is stored is what the person said, and every part was done once and finished."""
    with Store.open(folder / "home", write=False) as store:
        (visit,) = store.visits.all()
        assert visit.ending == "finished"
        answers = store.visits.answers(visit.header.visit_id)
        records = store.records.of_visit(visit.header.visit_id)
    assert {r.ending for r in records} == {"finished"}
    said = {(a.moment, a.question): a.value for a in answers if a.block_id is None}
    assert said["before", "red_flags"] == ANSWERS["red flags"]
    assert said["before", "weight"] == ANSWERS["weight"]
    numbers = [
        v
        for (moment, question), v in said.items()
        if question in ("dizziness", "vision", "pain", "fatigue", "arm", "sickness")
    ]
    assert len(numbers) >= 10
    assert set(numbers) == {"0"}
    hands = {r.header.block_id: r.header.hand for r in records}
    used = [(a.block_id, a.value) for a in answers if a.question == "hand_used"]
    assert used
    assert all(hands[block_id] == value for block_id, value in used)
