"""A whole short visit, done from outside through the X server, is completed and stored."""

import subprocess
import sys

import pytest

from battery.scoring import PRIMARY
from battery.store import Store
from battery.verify import verify
from tests.screen.servers import Pointer, program, virtual_screen
from tests.screen.stranger import Stranger


@pytest.fixture
def enrolled(tmp_path):
    done = subprocess.run(
        [sys.executable, "-m", "battery.cli", "enrol", "--home", str(tmp_path / "home")],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout.splitlines()[0]


def to_the_first_block(stranger):
    while not stranger.published.now()["running"]:
        stranger.press("go")


@pytest.mark.timeout(600)
def test_a_stranger_completes_a_short_visit_with_all_four_tasks(tmp_path, enrolled):
    with virtual_screen() as display:
        pointer = Pointer(display)
        arguments = ("visit", enrolled, "--plan", "short", "--windowed")
        with program(display, tmp_path, *arguments) as (process, published):
            stranger = Stranger(pointer, published)
            stranger.visit()
            out, error = process.communicate(timeout=30)
        pointer.close()
    assert process.returncode == 0, error
    assert f"visit 1 of {enrolled}: complete; stored" in out
    with Store.open(tmp_path / "home", write=False) as store:
        (visit,) = store.visits(enrolled)
        records = store.blocks(visit.header.visit_id)
        scores = {(s.block_id, s.measure): s for s in store.scores()}
        assert visit.ending == "finished"
        assert [r.ending for r in records] == ["finished"] * 16
        for record in records:
            assert record.input_type == "mouse"
            assert record.audit.frame_rate_hz is not None
            block = store.load_block(record.header.block_id)
            assert (block.samples["stamp_gap_ns"] >= 0).all()
            if record.header.phase == "test" and record.header.task != "slide":
                name = PRIMARY[record.header.task].name
                assert scores[record.header.block_id, name].value >= 0
        assert verify(store).findings == ()


def test_stop_is_one_tap_and_the_visit_can_go_on(tmp_path, enrolled):
    """Stop in a block: the block is kept, marked, not scored; going on repeats it once."""
    with virtual_screen() as display:
        pointer = Pointer(display)
        arguments = ("visit", enrolled, "--plan", "short", "--windowed")
        with program(display, tmp_path, *arguments) as (process, published):
            stranger = Stranger(pointer, published)
            to_the_first_block(stranger)
            stranger.press("stop")
            published.wait(lambda s: s["page"] == "stopped")
            stranger.press("go")
            state = published.wait(lambda s: s["page"] and s["page"] != "stopped")
            assert state["page"].split()[0] in ("hand", "ready", "demonstration")
            process.kill()
        pointer.close()
    with Store.open(tmp_path / "home", write=False) as store:
        (visit,) = store.visits(enrolled)
        (record,) = store.blocks(visit.header.visit_id)
        assert record.ending == "stopped"
        assert record.reason == "the person tapped Stop"


def test_any_key_stops(tmp_path, enrolled):
    with virtual_screen() as display:
        pointer = Pointer(display)
        arguments = ("visit", enrolled, "--plan", "short", "--windowed")
        with program(display, tmp_path, *arguments) as (process, published):
            stranger = Stranger(pointer, published)
            to_the_first_block(stranger)
            pointer.tell("key 65")  # the space bar
            published.wait(lambda s: s["page"] == "stopped")
            process.kill()
        pointer.close()


def test_no_screen_is_one_line(tmp_path, enrolled):
    with program("", tmp_path, "visit", enrolled, "--windowed") as (process, _):
        out, error = process.communicate(timeout=30)
    assert process.returncode == 1
    assert error.startswith("battery: no screen to draw on")
    assert len(error.strip().splitlines()) == 1
    assert "Traceback" not in out + error
