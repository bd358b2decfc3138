"""Every page is walked, with taps and with keys, from the door that people use.

The walk is a search: visits are done one after another, each entered as the command does it
with a store as enrolment leaves it, until every control of every page was pressed once. No
state may be without a way on, without help, or without a way to stop; and a page that stands in
the source and that no walk reaches fails the build.
"""

import itertools
import re

import pygame
import pytest

from battery.plan import Plan, PlannedTask
from battery.stage.drawing.places import DEFAULT, LARGE
from battery.stage.screen.pointer import Key
from tests.screen.crawler import (
    BESIDE,
    BRIEF,
    ELSEWHERE,
    NO_STOP,
    check_states,
    crawl,
    pages_of_the_source,
    unpressed,
)
from tests.screen.door import Home
from tests.screen.manners import Person as Somebody
from tests.screen.pilot import Pilot

PLAN = Plan(
    name="crawl",
    tasks=(
        PlannedTask(task="tapping", options={"duration_s": 20.0}, practice={"duration_s": 5.0}),
    ),
    rest_s=30.0,
)


WALKS = [
    (name, large, by_keys)
    for name in ("1280x800", "1920x1200", "1024x600")
    for large in (False, True)
    for by_keys in (False, True)
]


@pytest.mark.parametrize(
    ("name", "large", "by_keys"),
    WALKS,
)
@pytest.mark.long  # hundreds of pages; every run walks the share of test_every_screen
@pytest.mark.timeout(1800)
def test_every_page_is_reached_and_nobody_is_trapped(
    tmp_path, monkeypatch, name, large, by_keys
):
    home = Home(
        tmp_path, name, measured=False, large=large, plan=PLAN,
        setup=("--emergency-number", "112", "--staff-code", "2468", "--show-scores"),
    )  # fmt: skip
    crawlers, pressed = crawl(home, monkeypatch, by_keys=by_keys)
    reached = {page for page, _ in pressed} | {
        state["page"] for crawler in crawlers for state in crawler.states
    }
    never = {
        pattern: where
        for pattern, where in pages_of_the_source().items()
        if not any(re.fullmatch(pattern, page) for page in reached | set(ELSEWHERE))
    }
    assert never == {}
    beside = sorted(page for page in reached if page.startswith(BESIDE))
    assert unpressed(pressed) == []
    for page in beside:
        assert any(count for (where, _), count in pressed.items() if where == page) or (
            page == "parked"
        ), page
    for crawler in crawlers:
        check_states(crawler.states, crawler.screen, LARGE if large else DEFAULT)
    for page in NO_STOP & reached:  # what stands in the place of Stop
        ways = {key for where, key in pressed if where == page}
        assert {"end", "back", "leave"} & ways or page in ("parked", "sound"), page
    under = {(page, key) for page, key, _, _ in answers_under_a_press(crawlers)}
    assert under <= ONLY_GUARDED


# The fifth answer of a band, and ways back on a low screen, leave no place that is always
# free: there the second for which an answer under the last press is not taken stands alone.
ONLY_GUARDED = {
    ("medication", "over_4_h"), ("stopped", "go"), ("emergency", "back"), ("hand sure", "back"),
    ("ready tapping test", "go"),  # a whole block lies between
}  # fmt: skip
# What is stored at once when it is pressed. Numbers of a scale need a second press elsewhere.
ANSWERS = {
    "red flags": ("yes", "no"),
    "settled": ("yes", "no"),
    "as last time": ("yes", "no"),
    "medication": ("none", "under_1_h", "1_to_2_h", "2_to_4_h", "over_4_h"),
    "weight": ("on", "off"),
    "hand used": ("left", "right", "not_sure"),
    "helped": ("yes", "no"),
    "as before": ("yes", "no"),
    **{f"{moment} {name}": ("go",) for moment in ("before", "after", "stop")
       for name in ("dizziness", "vision", "pain", "fatigue", "arm", "sickness")},
}  # fmt: skip


def answers_under_a_press(crawlers):
    """List answers that lie where the page before was pressed, so that a second tap gives them.

    The button that goes on from a scale may: it is there only when a number was tapped on the
    same page.
    """
    found = set()
    for crawler in crawlers:
        firsts = [next(group) for _, group in itertools.groupby(crawler.states, _page_of)]
        pages = [state["page"] for state in firsts]
        for (page, key, rect), following in itertools.pairwise(crawler.presses):
            if following[0] == page or (page, following[0]) not in itertools.pairwise(pages):
                continue
            shown = next(s for s in firsts if s["page"] == following[0])
            for button in shown["buttons"]:
                is_answer = button["key"] in ANSWERS.get(following[0], ())
                if is_answer and pygame.Rect(rect).colliderect(button["rect_px"]):
                    found.add((page, key, following[0], button["key"]))
    return sorted(found)


def test_no_answer_lies_under_the_button_of_the_page_before(tmp_path, monkeypatch):
    """On the plain way through a visit; on every other in the long run above."""

    class Noting(Pilot):
        def press(self, state, key, at_ns, pointer=1):
            rect = next(b["rect_px"] for b in state["buttons"] if b["key"] == key)
            presses.append((state["page"], key, rect))
            super().press(state, key, at_ns, pointer)

    presses = []
    _, hand = Home(tmp_path, plan=BRIEF).visit(monkeypatch, Somebody(), pilot=Noting)
    hand.presses = presses
    assert len({page for page, _, _ in presses}) > 15
    assert answers_under_a_press([hand]) == []


def _page_of(state):
    return state["page"]


def sides(states):
    """Where the buttons of each page are, by page and key."""
    return {
        (state["page"], button["key"]): button["rect_px"]
        for state in states
        if not state["running"]
        for button in state["buttons"]
    }


def test_pages_for_the_left_hand_are_the_mirror_image(tmp_path, monkeypatch):
    """Right and left hand: every control at the same height and as far from its own edge.

    The two hands to choose from stay on their own sides, as do the numbers of a scale.
    """
    found = {}
    for side in ("right", "left"):
        home = Home(
            tmp_path / side, plan=PLAN, enrol=("--dominant-hand", side, "--first-hand", side)
        )
        found[side] = sides(home.visit(monkeypatch, Somebody())[1].states)
    kept = {"left", "right", *map(str, range(11))}
    compared = 0
    for (page, key), rect in found["right"].items():
        other = " ".join(
            {"right": "left", "left": "right"}.get(word, word) for word in page.split()
        )
        left, top, width, height = found["left"][other, key]
        mirrored = left if key in kept else 1280 - left - width
        assert [mirrored, top, width, height] == pytest.approx(rect, abs=1), (page, key)
        compared += 1
    assert compared > 60


def test_the_tested_hand_never_covers_stop(tmp_path, monkeypatch):
    """An arm comes from the lower edge on its own side; Stop is in the upper corner across."""
    _, pilot = Home(tmp_path, plan=PLAN).visit(monkeypatch, Somebody())
    hand = None
    checked = 0
    for state in pilot.states:
        page = state["page"]
        if page.startswith(("hand right", "hand left")):
            hand = page.split()[1]
        if page.startswith(("hand right", "hand left", "ready")):
            stop = next(b["rect_px"] for b in state["buttons"] if b["key"] == "stop")
            assert (stop[0] + stop[2] / 2 < 640) is (hand == "right"), page
            assert stop[1] == 0
            checked += 1
    assert checked >= 4


def test_a_key_that_moves_nothing_is_stop_on_every_page(tmp_path, monkeypatch):
    once = set()
    somebody = Somebody()
    hands = []

    def choose(state):
        keys = {b["key"] for b in state["buttons"]}
        if "stop" in keys and state["page"] not in once:
            once.add(state["page"])
            hands[0].add((hands[0].clock.now + 400_000_000, Key("f")))
            return None
        return somebody(state)

    def hand(window, clock, choose):
        hands.append(Pilot(window, clock, choose))
        return hands[0]

    _, pilot = Home(tmp_path, plan=PLAN).visit(monkeypatch, choose, pilot=hand)
    pages = [state["page"] for state in pilot.states]
    assert len(once) >= 20
    for page in once:
        after = pages[pages.index(page) :]
        assert next(p for p in after if p != page) == "stopped", page
