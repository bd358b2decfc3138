"""The screen is turned, changed, covered or falls asleep, in a real window, from outside."""

import contextlib
import signal
import time

import pytest

from battery.store import Store
from tests.screen.servers import (
    Pointer,
    command,
    enrol,
    prepare,
    program,
    touch_screen,
    window_manager,
)
from tests.screen.stranger import Stranger, pause

pytestmark = [pytest.mark.needs("xvfb", "xorg", "openbox"), pytest.mark.timeout(900)]

PLAN = """
name = "brief"
hands = "right"
[[tasks]]
task = "tapping"
options = { duration_s = 30.0 }
practice = { duration_s = 30.0 }
"""
LYING, UPRIGHT, LARGER = (1280, 800), (800, 1280), (1920, 1200)
SLEPT_S = 3.3


@contextlib.contextmanager
def visiting(folder, *, managed):
    """A visit of somebody new on a measured ten-inch screen, and a hand on it."""
    plan = folder / "brief.toml"
    plan.write_text(PLAN)
    code = enrol(folder)
    with touch_screen(LYING, UPRIGHT, LARGER) as (display, _), contextlib.ExitStack() as stack:
        if managed:
            stack.enter_context(window_manager(display))
        measured = ("--width-mm", "218", "--height-mm", "136")
        assert command(folder, "screen", *measured, display=display).returncode == 0
        prepare(folder, "comfort", code, "--volume", "0", "--by", "AB")
        pointer = stack.enter_context(Pointer(display))
        arguments = ("visit", code, "--plan", str(plan))
        process, published = stack.enter_context(program(display, folder, *arguments))
        yield process, published, pointer, Stranger(pointer, published)


def give_size(pointer, published, size_px, page):
    """Give the screen another size, and wait for a page drawn for it."""
    pointer.tell(f"size {size_px[0]} {size_px[1]}")
    return published.wait(
        lambda s: s["page"] == page and right_edge(s) in (size_px[0], size_px[0] - 1)
    )


def right_edge(state):
    """How far to the right anything to be pressed reaches: a corner is always taken."""
    return max((b["rect_px"][0] + b["rect_px"][2] for b in state["buttons"]), default=0)


def to_page(stranger, published, page):
    while (state := published.wait(lambda s: s["buttons"]))["page"] != page:
        stranger.answer(state)
    return state


def places(state):
    return {b["key"]: b["rect_px"] for b in state["buttons"]}


def records(folder):
    with Store.open(folder / "home", write=False) as store:
        (visit,) = store.visits.all()
        return [(r.ending, r.reason) for r in store.records.of_visit(visit.header.visit_id)]


def test_a_visit_waits_while_the_screen_is_another_and_carries_on(tmp_path):
    """Turned and changed between pages, turned and asleep within a block; no window manager."""
    with visiting(tmp_path, managed=False) as (process, published, pointer, stranger):
        before = to_page(stranger, published, "posture")
        turned = give_size(pointer, published, UPRIGHT, "turn")
        assert set(places(turned)) == {"help", "end"}
        after = give_size(pointer, published, LYING, "posture")
        assert places(after) == places(before)
        give_size(pointer, published, LARGER, "card width")
        stranger.press("skip")
        published.wait(lambda s: s["page"] == "other screen")
        give_size(pointer, published, LYING, "posture")
        assert stranger.to_block()["page"] == "block tapping practice"
        give_size(pointer, published, UPRIGHT, "turn")
        stopped = give_size(pointer, published, LYING, "stopped")
        assert {"go", "next"} <= set(places(stopped))
        stranger.press("go")
        assert stranger.to_block()["page"] == "block tapping practice"
        sleep(process)
        published.wait(lambda s: s["page"] == "stopped")
    assert records(tmp_path) == [
        ("interrupted", "the screen was turned or changed"),
        ("interrupted", "the tablet slept"),
    ]


@pytest.mark.long
def test_a_desktop_window_is_painted_when_it_comes_back_and_turns(tmp_path):
    """Made an icon and brought back without a compositor: the same picture as before."""
    first, second = tmp_path / "first", tmp_path / "second"
    with visiting(tmp_path, managed=True) as (_, published, pointer, _):
        before = published.wait(lambda s: s["buttons"])
        wait_for_picture(pointer, first, settled())
        pointer.tell("minimise")
        wait_for_picture(pointer, second, lambda seen: seen != first.read_bytes())
        pointer.tell("restore")
        wait_for_picture(pointer, second, lambda seen: seen == first.read_bytes())
        give_size(pointer, published, UPRIGHT, "turn")
        assert places(give_size(pointer, published, LYING, "start")) == places(before)
        wait_for_picture(pointer, second, lambda seen: seen == first.read_bytes())


@pytest.mark.long
def test_a_block_in_a_desktop_window_is_stopped_by_turning(tmp_path):
    with visiting(tmp_path, managed=True) as (_, published, pointer, stranger):
        stranger.to_block()
        give_size(pointer, published, UPRIGHT, "turn")
        assert "go" in places(give_size(pointer, published, LYING, "stopped"))
    assert records(tmp_path) == [("interrupted", "the screen was turned or changed")]


def wait_for_picture(pointer, path, ready, limit_s=180.0):
    """Look at the screen until it is as wanted."""
    until_s = time.monotonic() + limit_s
    while True:
        pointer.tell(f"picture {path}")
        if ready(path.read_bytes()):
            return
        assert time.monotonic() < until_s, "not seen in time"
        pause(0.05)


def settled():
    """Whether a picture has something on it and was the same several times in a row."""
    held = []

    def ready(seen):
        held.append(seen)
        return len(set(seen)) > 20 and len(held) > 8 and len(set(held[-8:])) == 1

    return ready


def sleep(process):
    process.send_signal(signal.SIGSTOP)
    pause(SLEPT_S)
    process.send_signal(signal.SIGCONT)
