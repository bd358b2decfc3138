"""Real touches: panel, X server, XInput 2, toolkit, window. No touch counts twice."""

import json
from pathlib import Path

import numpy as np
import pytest

from battery.recording import CONTACT_KINDS
from tests.screen.servers import Finger, program, touch_screen
from tests.screen.stranger import Stranger
from tests.screen.test_stranger import QUICK, TASKS, check_visit, clinic, finish, stored

pytestmark = pytest.mark.needs("xorg")

__all__ = ["clinic"]  # a fixture of both files
WIDTH_PX, HEIGHT_PX = 1280, 800
MM_PER_PX = 25.4 / 96  # of an unmeasured screen


@pytest.fixture
def panel():
    """A fresh server for every test: its panel takes one connection in its life."""
    with touch_screen() as (display, socket), Finger(socket) as finger:
        yield display, finger


def kinds(samples):
    return [CONTACT_KINDS[kind] for kind in samples["kind"]]


@pytest.mark.timeout(600)
@pytest.mark.parametrize("whole", [False, pytest.param(True, marks=pytest.mark.long)])
def test_a_whole_visit_with_a_finger(panel, clinic, whole):
    """With one hand; with the quick plan in every run, with all tasks by hand."""
    display, finger = panel
    folder, code, plan = clinic
    one_hand = folder / "one-hand.toml"
    one_hand.write_text('hands = "right"\n' + Path(plan).read_text() if whole else QUICK)
    tasks = TASKS if whole else ("slide",)
    arguments = ("visit", code, "--plan", str(one_hand))
    with program(display, folder, *arguments) as (process, published):
        stranger = Stranger(finger, published)
        stranger.visit()
        stranger.press("end", last=True)
        status, out, err = finish(process)
    assert (status, err) == (0, "")
    assert "complete" in out
    check_visit(folder, "touch", stranger, tasks=tasks, hands=("right",))
    _, _, blocks = stored(folder)
    for block in blocks:
        assert "hover" not in kinds(block.samples)  # a finger in the air is not seen
        assert np.isnan(block.samples["pressure"]).all()  # what arrives as such is not one


def test_every_touch_is_read_once_where_it_was(panel, clinic):
    """Two fingers at 120 reports a second for three seconds, in a real block."""
    display, finger = panel
    folder, code, _ = clinic
    sent_path = folder / "sent.json"
    plan = folder / "long.toml"
    plan.write_text(
        'name = "long"\n[[tasks]]\ntask = "tapping"\npractice = { duration_s = 60.0 }\n'
    )
    arguments = ("visit", code, "--plan", str(plan))
    with program(display, folder, *arguments) as (process, published):
        stranger = Stranger(finger, published)
        state = stranger.to_block()
        finger.tell(f"stream 120 3 {sent_path}")
        left, top, width, height = state["buttons"][0]["rect_px"]
        stranger.tap(left + width / 2, top + height / 2)
        published.wait(lambda s: s["page"] == "stopped")
        stranger.press("end")
        stranger.press("end", last=True)
        finish(process)
    _, _, (block,) = stored(folder)
    sent = json.loads(sent_path.read_text())
    samples = block.samples
    columns = np.round(samples["x_mm"] / MM_PER_PX + WIDTH_PX / 2 - 0.5).astype(int)
    rows = np.round(HEIGHT_PX / 2 - samples["y_mm"] / MM_PER_PX - 0.5).astype(int)
    for number in (1, 2):
        own = samples["pointer"] == number
        words = kinds(samples[own])
        assert (words[0], words[-1]) == ("down", "up")
        assert set(words[1:-1]) == {"move"}
        read = list(zip(columns[own].tolist(), rows[own].tolist(), strict=True))
        assert read[:-1] == [(x, y) for _, which, x, y in sent if which == number]
        assert read[-1] == read[-2]
    assert kinds(samples[samples["pointer"] == 3]) == ["down", "up"]  # the tap on Stop
    assert set(samples["pointer"].tolist()) == {1, 2, 3}  # 0 would be a mouse
    assert block.events["kind"].tolist().count("extra") >= 1  # one finger too many is told
