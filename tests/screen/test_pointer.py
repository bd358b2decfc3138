"""From the toolkit's events to reports: one stream, nothing twice, honest stamps."""

import ctypes
import sys
import time
from pathlib import Path

import pygame
import pytest

from battery.stage.screen.event_wait import Waiter, find_library
from battery.stage.screen.pointer import Key, Reader, Report


class Ticking:
    """A clock on which every look takes one microsecond, and waits as long as it is told."""

    def __init__(self):
        self.now = 1_000_000

    def __call__(self):
        self.now += 1_000
        return self.now


@pytest.fixture
def reader(headless):
    window, _ = headless
    pygame.event.clear()
    return Reader(window.scale, Ticking())


def mouse(kind, **more):
    pygame.event.post(
        pygame.event.Event(kind, {"pos": (640, 400), "touch": False, "button": 1} | more)
    )


def finger(kind, finger_id, x=0.5, y=0.5, touch_id=9):
    pygame.event.post(
        pygame.event.Event(
            kind, touch_id=touch_id, finger_id=finger_id, x=x, y=y, dx=0.0, dy=0.3, pressure=0.3
        )
    )


def test_the_mouse_hovers_presses_moves_and_lifts(reader):
    mouse(pygame.MOUSEMOTION)
    mouse(pygame.MOUSEBUTTONDOWN)
    mouse(pygame.MOUSEMOTION)
    mouse(pygame.MOUSEBUTTONUP)
    mouse(pygame.MOUSEMOTION)
    reports = reader.drain()
    assert [r.kind for r in reports] == ["hover", "down", "move", "up", "hover"]
    assert {r.pointer for r in reports} == {0}
    # 1280 x 800 pixels, 5.88 px a mm: pixel (640, 400) is half a pixel right of and below the
    # centre
    assert (reports[0].x_mm, reports[0].y_mm) == pytest.approx((0.5 / 5.88, -0.5 / 5.88))


def test_other_buttons_and_the_shadow_of_a_finger_are_not_read(reader):
    mouse(pygame.MOUSEBUTTONDOWN, button=3)
    mouse(pygame.MOUSEMOTION, touch=True)
    mouse(pygame.MOUSEBUTTONDOWN, touch=True)
    assert reader.drain() == []


def test_fingers_are_numbered_in_the_order_they_come(reader):
    finger(pygame.FINGERDOWN, 40)
    finger(pygame.FINGERDOWN, 7)
    finger(pygame.FINGERMOTION, 40)
    finger(pygame.FINGERUP, 40)
    finger(pygame.FINGERDOWN, 41)
    finger(pygame.FINGERUP, 7)
    reports = reader.drain()
    assert [(r.kind, r.pointer) for r in reports] == [
        ("down", 1), ("down", 2), ("move", 1), ("up", 1), ("down", 3), ("up", 2),
    ]  # fmt: skip


def test_a_finger_stands_where_its_share_of_the_glass_says(reader):
    """Shares are of width and height less one pixel; 1 is the middle of the last pixel."""
    finger(pygame.FINGERDOWN, 1, x=1.0, y=0.0)
    (report,) = reader.drain()
    assert report.x_mm == pytest.approx(639.5 / 5.88)
    assert report.y_mm == pytest.approx(399.5 / 5.88)


def test_the_bound_reaches_back_to_the_last_look(reader):
    """Nothing for a while, then an event: it came after the last look began."""
    assert reader.drain() == []
    looked_ns = reader.now_ns.now - 0
    reader.now_ns.now += 300_000_000
    mouse(pygame.MOUSEMOTION)
    mouse(pygame.MOUSEMOTION)
    first, second = reader.drain()
    assert first.t_ns - first.gap_ns == second.t_ns - second.gap_ns <= looked_ns
    assert first.gap_ns == pytest.approx(300_000_000, abs=10_000)
    assert second.t_ns > first.t_ns
    mouse(pygame.MOUSEMOTION)
    (third,) = reader.drain()
    assert third.gap_ns < 10_000


def test_the_bound_covers_what_arrives_while_reports_are_taken_out(reader):
    """An event that comes just after the queue was looked at is read the next time."""
    ticking, arrived_ns = reader.now_ns, []

    def clock():
        t_ns = ticking()
        if not arrived_ns and looks:
            arrived_ns.append(t_ns)
            mouse(pygame.MOUSEMOTION)
        looks.append(t_ns)
        return t_ns

    looks = []
    reader.now_ns = clock
    mouse(pygame.MOUSEMOTION)
    assert len(reader.drain()) == 1
    (late,) = reader.drain()
    assert late.t_ns - late.gap_ns < arrived_ns[0] < late.t_ns


def test_forgetting_keeps_the_wish_to_close_and_what_is_pressed(reader):
    mouse(pygame.MOUSEBUTTONDOWN)
    pygame.event.post(pygame.event.Event(pygame.QUIT))
    finger(pygame.FINGERDOWN, 5)
    reader.forget()
    mouse(pygame.MOUSEMOTION)
    finger(pygame.FINGERMOTION, 5)
    reads = reader.drain()
    assert reads[0] == "quit"
    assert [(r.kind, r.pointer) for r in reads[1:]] == [("move", 0), ("move", 1)]


def test_counting_begins_anew_when_no_finger_is_on_the_glass(reader):
    finger(pygame.FINGERDOWN, 5)
    finger(pygame.FINGERUP, 5)
    reader.forget()
    finger(pygame.FINGERDOWN, 6)
    (report,) = reader.drain()
    assert report.pointer == 1


def test_keys_closing_and_losing_the_window_are_told_apart(reader):
    pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=pygame.K_a))
    pygame.event.post(pygame.event.Event(pygame.WINDOWFOCUSLOST))
    pygame.event.post(pygame.event.Event(pygame.QUIT))
    assert reader.drain() == [Key("a"), "hidden", "quit"]


# One level lower: a touch event as the system's own layer makes it, translated by the toolkit.


class TouchEvent(ctypes.Structure):
    """SDL 2, SDL_TouchFingerEvent in SDL_events.h, padded to the union's 56 bytes."""

    _fields_ = (
        ("type", ctypes.c_uint32), ("timestamp", ctypes.c_uint32),
        ("touch_id", ctypes.c_int64), ("finger_id", ctypes.c_int64),
        ("x", ctypes.c_float), ("y", ctypes.c_float),
        ("dx", ctypes.c_float), ("dy", ctypes.c_float),
        ("pressure", ctypes.c_float), ("window_id", ctypes.c_uint32),
        ("padding", ctypes.c_uint8 * 8),
    )  # fmt: skip


FINGER_DOWN, FINGER_UP, FINGER_MOTION = 0x700, 0x701, 0x702


@pytest.fixture
def push(headless):
    """Push a touch event into the very library the toolkit runs on."""
    library = find_library()
    if library is None:
        pytest.skip("the toolkit's library is not to be found on this system")
    library.SDL_PushEvent.argtypes = [ctypes.POINTER(TouchEvent)]

    def push(kind, finger_id, x, y):
        event = TouchEvent(
            type=kind, touch_id=3, finger_id=finger_id, x=x, y=y, dy=0.2, pressure=0.7
        )
        assert library.SDL_PushEvent(ctypes.byref(event)) == 1

    return push


def test_a_pushed_touch_is_read_once_and_only_as_a_finger(reader, push):
    push(FINGER_DOWN, 11, 0.25, 0.5)
    push(FINGER_MOTION, 11, 0.5, 0.5)
    push(FINGER_UP, 11, 0.5, 0.5)
    reports = reader.drain()
    assert all(isinstance(r, Report) for r in reports)
    assert [(r.kind, r.pointer) for r in reports] == [("down", 1), ("move", 1), ("up", 1)]
    assert reports[0].x_mm == pytest.approx((0.25 * 1279 + 0.5 - 640) / 5.88)
    assert reader.drain() == []


def test_the_arrow_is_shown_to_a_mouse_and_hidden_from_fingers(reader):
    finger(pygame.FINGERDOWN, 1)
    reader.drain()
    assert not pygame.mouse.get_visible()
    mouse(pygame.MOUSEMOTION)
    reader.drain()
    assert pygame.mouse.get_visible()


@pytest.mark.skipif(sys.platform != "linux", reason="shown by Linux only")
def test_the_wait_is_in_the_library_the_toolkit_runs_on_and_no_second_one(headless, push):
    def copies():
        lines = Path("/proc/self/maps").read_text().splitlines()
        return {line.split()[-1] for line in lines if "libSDL2-" in line}

    pygame.event.clear()
    before = copies()
    assert Waiter(find_library()).is_woken
    assert copies() == before
    assert len(before) == 1
    push(FINGER_DOWN, 1, 0.5, 0.5)  # what is pushed there arrives here
    assert [event.type for event in pygame.event.get()] == [pygame.FINGERDOWN]


def test_waiting_leaves_the_event_in_the_queue(headless, push):
    pygame.event.clear()
    push(FINGER_DOWN, 1, 0.5, 0.5)
    Waiter(find_library()).rest(5_000_000)
    assert [event.type for event in pygame.event.get()] == [pygame.FINGERDOWN]


@pytest.mark.parametrize("library", ["found", None])
def test_a_rest_is_short_and_ends_at_its_time(headless, library):
    waiter = Waiter(find_library() if library else None)
    pygame.event.clear()
    begun_ns = time.perf_counter_ns()
    waiter.rest(-5)
    waiter.rest(0)
    for _ in range(5):
        waiter.rest(400_000)
    for _ in range(5):
        waiter.rest(60_000_000_000)
    assert time.perf_counter_ns() - begun_ns < 2_000_000_000


# SDL_keycode.h, SDL 2: the key's place on the board with bit 30 set.
VOLUME_UP, VOLUME_DOWN, MUTE = (1 << 30 | place for place in (128, 129, 127))


def key(code):
    pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=code))


def test_keys_that_mean_nothing_are_not_read(reader):
    """Volume, power, brightness, media, function keys and what is held with another key."""
    for code in (
        pygame.K_LSHIFT, pygame.K_RCTRL, pygame.K_LALT, pygame.K_LGUI, pygame.K_CAPSLOCK,
        pygame.K_NUMLOCK, pygame.K_POWER, pygame.K_F1, pygame.K_PRINTSCREEN, pygame.K_MODE,
        VOLUME_UP, VOLUME_DOWN, MUTE, 0,
    ):  # fmt: skip
        key(code)
    assert reader.drain() == []
    for code in (pygame.K_ESCAPE, pygame.K_a, pygame.K_7, pygame.K_SPACE, pygame.K_TAB):
        key(code)
    assert [read.name for read in reader.drain()] == ["escape", "a", "7", "space", "tab"]


def test_a_window_that_was_covered_says_so(reader):
    pygame.event.post(pygame.event.Event(pygame.WINDOWEXPOSED))
    assert reader.drain() == ["uncovered"]
