"""How a page takes a press, and how it waits."""

import pygame
import pytest

from battery.errors import StageError
from battery.stage.drawing.places import Button
from battery.stage.pages.following import follow, run_pages
from battery.stage.pages.page import TextPage
from battery.stage.pages.presses import DEBOUNCE_NS
from battery.stage.screen.pointer import Key, Report
from tests.screen.pilot import Pilot

MS = 1_000_000
BUTTONS = (Button("other", "Other", "left", main=False), Button("go", "Go on", "right"))


class Hand:
    """Presses and lifts at places of buttons, at times from the page's beginning."""

    def __init__(self, headless, **page):
        self.window, self.clock = headless
        self.pilot = Pilot(self.window, self.clock, lambda state: None)
        self.answer = None
        arguments = {"name": "page", "title": "Title", "lines": ("Words.",), "buttons": BUTTONS}
        self.page = TextPage(**arguments | page, after=self._after)
        self.begun_ns = self.clock.now

    def _after(self, key):
        self.answer = key
        return

    def rect(self, key):
        """Where a button is, from a page drawn once and closed."""
        probe = TextPage("probe", "Title", ("Words.",), BUTTONS, lambda _: None)
        self.pilot.add((self.clock.now, "quit"))
        run_pages(self.window, probe)
        self.window.closing = False
        self.begun_ns = self.clock.now
        return next(b["rect_px"] for b in self.pilot.states[-1]["buttons"] if b["key"] == key)

    def at(self, ms, kind, rect, pointer=1, dx_px=0):
        x_mm, y_mm = self.pilot.middle_mm(rect)
        t_ns = self.begun_ns + ms * MS
        x_mm += dx_px / self.window.scale.length_px(1.0)
        self.pilot.add((t_ns, Report(t_ns, 0, kind, x_mm, y_mm, pointer)))

    def result(self):
        """The answer, or None when the page was still waiting after ten seconds."""
        self.pilot.add((self.begun_ns + 10_000 * MS, "quit"))
        run_pages(self.window, self.page)
        return self.answer


@pytest.fixture
def hand(headless):
    return Hand(headless)


def test_a_button_acts_on_release_inside_it(hand):
    rect = hand.rect("go")
    hand.at(500, "down", rect)
    hand.at(900, "up", rect, dx_px=20)
    assert hand.result() == "go"
    assert hand.clock.now >= hand.begun_ns + 900 * MS


def test_sliding_off_cancels(hand):
    rect = hand.rect("go")
    hand.at(500, "down", rect)
    hand.at(700, "move", hand.rect("other"))
    hand.at(900, "up", hand.rect("other"))
    assert hand.result() is None


def test_sliding_onto_a_button_presses_nothing(hand):
    hand.at(500, "down", hand.rect("go"), dx_px=-400)
    hand.at(900, "up", hand.rect("go"))
    assert hand.result() is None


def test_two_fingers_on_two_buttons_undo_each_other(hand):
    go, other = hand.rect("go"), hand.rect("other")
    hand.at(500, "down", go, pointer=1)
    hand.at(520, "down", other, pointer=2)
    hand.at(600, "up", other, pointer=2)
    hand.at(700, "up", go, pointer=1)
    assert hand.result() is None


def test_a_palm_beside_the_buttons_disturbs_nothing(hand):
    go = hand.rect("go")
    beside = [0, go[1] - 3 * go[3], 10, 10]
    hand.at(480, "down", beside, pointer=2)
    hand.at(500, "down", go, pointer=1)
    hand.at(700, "up", go, pointer=1)
    hand.at(900, "up", beside, pointer=2)
    assert hand.result() == "go"


def test_after_a_slip_nothing_is_taken_until_the_finger_is_still(hand):
    """Contacts 250 ms apart, as of a tremor of 4 Hz, prolong the quiet moment."""
    go, other = hand.rect("go"), hand.rect("other")
    hand.at(500, "down", go)
    hand.at(560, "up", other)
    for n in range(1, 5):
        hand.at(560 + 250 * n - 60, "down", go)
        hand.at(560 + 250 * n, "up", go)
    assert hand.result() is None


def test_and_then_the_next_press_counts(hand):
    go, other = hand.rect("go"), hand.rect("other")
    hand.at(500, "down", go)
    hand.at(560, "up", other)
    hand.at(900, "down", go)
    hand.at(960, "up", go)
    assert hand.result() == "go"


def test_a_palm_that_rests_beside_the_buttons_bars_nobody(hand):
    go = hand.rect("go")
    hand.at(400, "down", go, pointer=1, dx_px=-400)
    hand.at(700, "down", go, pointer=2)
    hand.at(800, "up", go, pointer=2)
    assert hand.result() == "go"


def test_a_bounce_from_the_page_before_presses_nothing(hand):
    """A contact that begins within 300 ms of the page is not taken, however long it lasts."""
    rect = hand.rect("go")
    assert DEBOUNCE_NS == 300 * MS
    hand.at(290, "down", rect)
    hand.at(700, "up", rect)
    assert hand.result() is None


def test_tremor_on_a_button_is_one_press(hand):
    """Eight contacts a second of 60 ms: the first that begins in time is taken, then none."""
    rect = hand.rect("go")
    for index in range(10):
        hand.at(310 + 125 * index, "down", rect)
        hand.at(370 + 125 * index, "up", rect)
    assert hand.result() == "go"
    assert hand.clock.now == pytest.approx(hand.begun_ns + 370 * MS, abs=5 * MS)


def test_stop_is_one_tap_or_any_key(headless):
    hand = Hand(headless)
    stop = hand.rect("stop")
    hand.at(500, "down", stop)
    hand.at(550, "up", stop)
    assert hand.result() == "stop"
    hand = Hand(headless)
    hand.pilot.add((hand.begun_ns + 500 * MS, Key("f")))
    assert hand.result() == "stop"


def test_without_stop_the_confirming_keys_lead_on_and_others_do_nothing(headless):
    hand = Hand(headless, stop=False)
    hand.pilot.add((hand.begun_ns + 500 * MS, Key("f")))
    hand.pilot.add((hand.begun_ns + 900 * MS, Key("return")))
    assert hand.result() == "go"
    assert hand.clock.now >= hand.begun_ns + 900 * MS


def test_buttons_wait_as_long_as_they_should_and_stop_does_not(headless):
    hand = Hand(headless, wait_s=5.0, wait_line="In a moment.")
    go = hand.rect("go")
    hand.at(2_000, "down", go)
    hand.at(2_100, "up", go)
    hand.at(6_000, "down", go)
    hand.at(6_100, "up", go)
    assert hand.result() == "go"
    assert hand.clock.now >= hand.begun_ns + 6_100 * MS
    keys = [[b["key"] for b in state["buttons"]] for state in hand.pilot.states[-2:]]
    assert keys == [["stop", "say again"], ["stop", "say again", "other", "go"]]

    hand = Hand(headless, wait_s=5.0, wait_line="In a moment.")
    stop = hand.rect("stop")
    hand.at(1_000, "down", stop)
    hand.at(1_100, "up", stop)
    assert hand.result() == "stop"


def test_closing_the_window_ends_the_pages(hand):
    assert hand.result() is None
    assert hand.window.closing


def test_a_failure_is_told_calmly_and_then_goes_on_to_the_caller(headless):
    window, clock = headless
    pilot = Pilot(window, clock, lambda state: "end")

    class Broken:
        name = "broken"

        def run(self, window):
            msg = "the disk is full; earlier blocks are safe"
            raise StageError(msg)

    with pytest.raises(StageError, match="disk is full"):
        run_pages(window, Broken())
    assert [state["page"] for state in pilot.states] == ["trouble"]


def test_pages_that_never_end_are_ended(headless):
    window, _ = headless

    class Again:
        name = "again"

        def run(self, window):
            return self

    with pytest.raises(StageError, match="1000 pages"):
        follow(window, Again())


def test_what_lay_over_the_window_leaves_no_black_behind(headless, monkeypatch):
    """Told that it was uncovered, a page shows its whole picture again and waits on."""
    hand = Hand(headless)
    hand.rect("go")
    shown = []
    show = pygame.display.flip
    monkeypatch.setattr(pygame.display, "flip", lambda: (shown.append(1), show()))
    hand.pilot.add((hand.begun_ns + 2_000 * MS, "uncovered"))
    assert hand.result() is None
    before = len(shown)
    hand.pilot.add((hand.clock.now + 1_000 * MS, "quit"))
    hand.window.closing = False
    run_pages(hand.window, hand.page)
    assert before == len(shown) - before + 1  # one more than without
