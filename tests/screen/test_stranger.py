"""A stranger does a visit in the real window with the X server's pointer."""

import math
import signal

import numpy as np
import pytest

from battery.recording import events_from_array
from battery.runner import replay
from battery.stage.screen.scale import GUESS_MM_PER_PX
from battery.store import Store
from battery.verify import verify
from tests.screen.servers import command, enrol, program
from tests.screen.stranger import Stranger
from tests.sparing import only

pytestmark = pytest.mark.needs("xvfb")

PLAN = """
name = "brief"
rest_s = 1.0

[[tasks]]
task = "tapping"
options = { duration_s = 13.0 }
practice = { duration_s = 3.0 }

[[tasks]]
task = "slide"
options = { duration_s = 7.0 }
practice = { duration_s = 4.0 }

[[tasks]]
task = "pursuit"
options = { predictable_s = 8.0, unpredictable_s = 0.0 }

[[tasks]]
task = "trail"
options = { kinds = ["alternating"], n_nodes = 6 }
practice = { kinds = ["numbers"], n_nodes = 5 }
"""
TASKS = ("tapping", "slide", "pursuit", "trail")
QUICK = """
name = "quick"
hands = "right"
rest_s = 0.0

[[tasks]]
task = "slide"
options = { duration_s = 7.0 }
practice = { duration_s = 4.0 }
"""


@pytest.fixture
def clinic(tmp_path):
    """A home with one person, and a short plan."""
    plan = tmp_path / "brief.toml"
    plan.write_text(PLAN)
    return tmp_path, enrol(tmp_path), str(plan)


def stored(folder):
    with Store.open(folder / "home", write=False) as store:
        (visit,) = store.visits.all()
        records = store.records.of_visit(visit.header.visit_id)
        return visit, records, [store.records.load(r.header.block_id) for r in records]


def finish(process):
    out, err = process.communicate(timeout=180)
    return process.returncode, out, err


def check_visit(folder, input_type, stranger, *, tasks=TASKS, hands=("right", "left")):
    """Everything is stored where the hand was, replays to the same events, and is scored."""
    visit, records, blocks = stored(folder)
    assert visit.ending == "finished"
    done = [(r.header.task, r.header.hand, r.header.phase, r.ending) for r in records]
    assert done == [
        (task, hand, phase, "finished")
        for task in tasks for hand in hands for phase in ("practice", "test")
    ]  # fmt: skip
    for block in blocks:
        assert block.input_type == input_type
        assert repr(replay(block)) == repr(events_from_array(block.events))
        assert (block.samples["stamp_gap_ns"] >= 0).all()
        assert (block.frames["flip_ns"] >= block.frames["drawn_ns"]).all()
        assert block.header.versions["theme"] == "light"
        assert unmoved(block, stranger.sent_px) == []
    with Store.open(folder / "home", write=False) as store:
        values = {}
        for block in blocks:
            for row in store.scores.of_block(block.header.block_id):
                values.setdefault(row.measure, []).append(row.value)
        assert verify(store).findings == ()
    assert {name.partition(".")[0] for name in values} >= set(tasks)
    assert all(0.5 < v < 3.0 for v in values.get("tapping.radial_error_mm", ()))
    assert all(v == 1.0 for v in values.get("tapping.hit_rate", ()))
    assert all(not math.isnan(v) for v in values.get("slide.extent_mm", ()))
    assert all(not math.isnan(v) for v in values.get("pursuit.tracking_rmse_mm", ()))
    assert all(v == 0.0 for v in values.get("trail.n_errors", ()))


def unmoved(block, sent_px):
    """List places of a block where the hand has not been, in pixels of an unmeasured screen."""
    columns = np.round(block.samples["x_mm"] / GUESS_MM_PER_PX + 1280 / 2 - 0.5).astype(int)
    rows = np.round(800 / 2 - block.samples["y_mm"] / GUESS_MM_PER_PX - 0.5).astype(int)
    return sorted(set(zip(columns.tolist(), rows.tolist(), strict=True)) - set(sent_px))


@pytest.mark.long
@pytest.mark.timeout(600)
def test_a_whole_visit_with_the_pointer(display, pointer, clinic):
    folder, code, plan = clinic
    arguments = ("visit", code, "--plan", plan, "--windowed")
    with program(display, folder, *arguments) as (process, published):
        stranger = Stranger(pointer, published)
        stranger.visit()
        stranger.press("end", last=True)
        status, out, err = finish(process)
    assert (status, err) == (0, "")
    assert f"visit 1 of {code}: complete; stored" in out
    check_visit(folder, "mouse", stranger)


@pytest.mark.long
@pytest.mark.timeout(1200)
def test_the_short_plan_as_it_is(display, pointer, clinic):
    folder, code, _ = clinic
    arguments = ("visit", code, "--plan", "short", "--windowed")
    with program(display, folder, *arguments) as (process, published):
        stranger = Stranger(pointer, published)
        stranger.visit()
        stranger.press("end", last=True)
        status, out, _ = finish(process)
    assert status == 0
    assert "complete" in out
    check_visit(folder, "mouse", stranger)


WAYS_OUT = {
    "tap on Stop": ("stopped", "the person tapped Stop"),
    "key": ("stopped", "the person pressed a key"),
    "focus": ("interrupted", "the window was left"),
    "SIGTERM": ("interrupted", "the window was closed"),
}


@pytest.mark.parametrize(
    "way",
    ["SIGTERM", *(pytest.param(way, marks=pytest.mark.long) for way in list(WAYS_OUT)[:3])],
)
def test_every_way_out_of_a_block_keeps_it(display, pointer, clinic, way):
    folder, code, plan = clinic
    arguments = ("visit", code, "--plan", plan, "--windowed")
    with program(display, folder, *arguments) as (process, published):
        stranger = Stranger(pointer, published)
        state = stranger.to_block()
        home = stranger.disc(state, "home")
        stranger.glide(home["x_px"], home["y_px"])
        pointer.down()
        published.wait(lambda s: stranger.disc(s, "held"))
        pointer.up()
        if way == "tap on Stop":
            left, top, width, height = state["buttons"][0]["rect_px"]
            stranger.tap(left + width / 2, top + height / 2)
        elif way == "key":
            pointer.tell("key 38")
        elif way == "focus":
            pointer.tell("unfocus")
        else:
            process.send_signal(signal.SIGTERM)
        if way != "SIGTERM":
            published.wait(lambda s: s["page"] == "stopped")
            stranger.press("end")
            stranger.press("end", last=True)
        assert finish(process)[0] == 0
    visit, records, blocks = stored(folder)
    assert (records[0].ending, records[0].reason) == WAYS_OUT[way]
    assert "hold" in blocks[0].events["kind"].tolist()
    assert visit.ending == (None if way == "SIGTERM" else "stopped")


@pytest.mark.long
def test_a_visit_cut_off_by_a_kill_goes_on_with_the_same_block(display, pointer, clinic):
    folder, code, plan = clinic
    arguments = ("visit", code, "--plan", plan, "--windowed")
    with program(display, folder, *arguments) as (process, published):
        Stranger(pointer, published).to_block()
        process.kill()
        process.wait()
    with program(display, folder, *arguments) as (process, published):
        stranger = Stranger(pointer, published)
        stranger.press("skip")
        stranger.press("go")
        published.wait(lambda s: s["page"] == "again")
        assert stranger.to_block()["page"] == "block tapping practice"
        process.send_signal(signal.SIGTERM)
        assert finish(process)[0] == 0
    visit, records, _ = stored(folder)
    assert visit.ending is None
    assert [r.ending for r in records] == ["interrupted", "interrupted"]


@pytest.mark.parametrize("name", only(["visit", "screen", "screen --show"], ["visit"]))
def test_no_display_is_one_line(clinic, name):
    folder, code, _ = clinic
    done = command(folder, *name.split(), *([code] if name == "visit" else []))
    assert done.returncode == 1
    assert done.stderr.startswith("battery: no screen to draw on")
    assert done.stderr.count("\n") == 1


def test_no_sound_device_is_no_hindrance(display, clinic):
    folder, code, plan = clinic
    silent = {"SDL_AUDIODRIVER": "no-such-driver"}
    arguments = ("visit", code, "--plan", plan, "--windowed")
    with program(display, folder, *arguments, extra=silent) as (_, published):
        published.wait(lambda s: s["page"] == "card width")


@pytest.mark.long
def test_the_screen_is_measured_with_a_ruler_and_used(display, clinic):
    folder, code, plan = clinic
    done = command(folder, "screen", "--show", display=display)
    assert done.returncode == 0
    assert "a guess: measure it" in done.stdout
    for sizes in ("--width-mm 217", "--width-mm 217 --height-mm 50"):
        wrong = command(folder, "screen", *sizes.split(), display=display)
        assert wrong.returncode == 2
        assert "othing was changed" in wrong.stderr
    done = command(folder, "screen", "--width-mm", "256", "--height-mm", "160", display=display)
    assert done.returncode == 0
    assert "5.00 pixels a mm (measured with a ruler), 256 x 160 mm" in done.stdout
    with program(display, folder, "visit", code, "--plan", plan) as (_, published):
        assert published.wait(lambda s: s["page"] == "sound")["px_per_mm"] == 5.0


def test_a_plan_that_does_not_fit_is_refused_before_anything_is_recorded(
    display, pointer, clinic
):
    folder, code, plan = clinic
    command(folder, "screen", "--width-mm", "150", "--height-mm", "94", display=display)
    with program(display, folder, "visit", code, "--plan", plan) as (process, published):
        published.wait(lambda s: s["page"] == "turn")
        Stranger(pointer, published).press("end", last=True)
        status, _, err = finish(process)
    assert status == 2
    assert "needs" in err
    with Store.open(folder / "home", write=False) as store:
        assert store.visits.all() == []
