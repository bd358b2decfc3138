"""The screen measured with a bank card: every panel comes out right, again and again."""

import itertools
import random

import pygame
import pytest

from battery.recording import Screen
from battery.stage.pages.card import CARD_MM, Card, CardPages, Fit
from battery.stage.pages.following import run_pages
from tests.screen.pilot import Pilot, open_window

# Pixels a mm of real panels, 5.25 (a twelve-inch low one) to 10.5 (a ten-inch dense one).
PANELS = {
    "1280x800, 5.25": (1280, 800, 5.25),
    "1024x600, 5.4": (1024, 600, 5.4),
    "1920x1200, 7.5": (1920, 1200, 7.5),
    "1920x1200, 8.82": (1920, 1200, 8.82),
    "2160x1440, 10.5": (2160, 1440, 10.5),
}
SEES_MM = 0.3  # light beside the card that somebody sees


def test_a_bank_card_is_as_the_standard_says():
    """ISO/IEC 7810:2019, format ID-1: 85.60 mm by 53.98 mm."""
    assert CARD_MM == (85.60, 53.98)


class Eyes:
    """Somebody who lays a card on the glass, looks, and presses plus or minus.

    Parameters
    ----------
    px_per_mm : (float, float)
        What the panel really has, along x and y.
    """

    def __init__(self, px_per_mm, seed):
        self.px_per_mm = dict(zip(("width", "height"), px_per_mm, strict=True))
        self.card_mm = dict(zip(("width", "height"), CARD_MM, strict=True))
        self.random = random.Random(seed)
        self.presses = 0

    def look(self, axis, length_px):
        """Return 1 if it looks too short, -1 if too long, 0 if it fits."""
        off_mm = length_px / self.px_per_mm[axis] - self.card_mm[axis]
        off_mm += self.random.gauss(0, SEES_MM / 3)
        return 0 if abs(off_mm) < SEES_MM else (-1 if off_mm > 0 else 1)


def keyed(key, state):
    """The key, or a press there and one back while the page does not offer it."""
    if key in [b["key"] for b in state["buttons"]]:
        return key
    (field,) = [rect for kind, rect in state["boxes"] if kind == "field"]
    first = {"width": 2, "height": 3}[state["page"].split()[1]]
    started = Card((1280, 800)).sides[state["page"].split()[1]].px
    return "plus" if field[first] <= started else "minus"


def measure(monkeypatch, size_px, px_per_mm, seed=1):
    """Let somebody measure a panel through the pages; returns the screen and the presses."""
    eyes = Eyes(px_per_mm, seed)
    assumed = Screen(*size_px, 25.4 / 96, 25.4 / 96, "guess")
    found = []
    with open_window(monkeypatch, assumed) as (window, clock):
        window.desktop_px = size_px

        def choose(state):
            axis = state["page"].split()[1]
            (field,) = [rect for kind, rect in state["boxes"] if kind == "field"]
            way = eyes.look(axis, field[2] if axis == "width" else field[3])
            eyes.presses += 1
            return keyed({0: "go", 1: "plus", -1: "minus"}[way], state)

        Pilot(window, clock, choose)
        pages = CardPages(window, changed=False, found=found.append, after=lambda: None)
        run_pages(window, pages.first())
        assert (window.screen.mm_per_px_x, window.screen.scale_source) == (
            found[0].mm_per_px_x, "card",
        )  # fmt: skip
    return found[0], eyes.presses


@pytest.mark.parametrize("panel", PANELS)
def test_every_panel_comes_out_within_a_percent(monkeypatch, panel):
    width_px, height_px, px_per_mm = PANELS[panel]
    screen, presses = measure(monkeypatch, (width_px, height_px), (px_per_mm, px_per_mm))
    assert screen.mm_per_px_x * px_per_mm == pytest.approx(1, abs=0.01)
    assert screen.mm_per_px_y * px_per_mm == pytest.approx(1, abs=0.01)
    assert (screen.width_px, screen.height_px) == (width_px, height_px)
    assert presses <= 60  # on both axes together


def test_measuring_again_gives_the_same_within_a_percent(monkeypatch):
    size_px, px_per_mm = (1280, 800), (5.88, 5.88)
    found = [measure(monkeypatch, size_px, px_per_mm, seed)[0] for seed in range(10)]
    for axis in ("mm_per_px_x", "mm_per_px_y"):
        values = [getattr(screen, axis) for screen in found]
        assert max(values) / min(values) - 1 < 0.01


def test_axes_are_measured_each_for_itself(monkeypatch):
    screen, _ = measure(monkeypatch, (1280, 800), (5.88, 5.70))
    assert screen.mm_per_px_x * 5.88 == pytest.approx(1, abs=0.01)
    assert screen.mm_per_px_y * 5.70 == pytest.approx(1, abs=0.01)


def test_a_side_that_does_not_go_with_the_other_is_asked_for_again(headless):
    window, clock = headless
    asked = []

    def choose(state):
        asked.append(state["page"])
        if len(asked) > 40:
            return "skip"
        wide = asked.count("card width") < 9 and state["page"][5] == "w"
        return keyed("minus" if wide else "go", state)

    Pilot(window, clock, choose)
    found = []
    before = window.screen
    run_pages(
        window, CardPages(window, changed=True, found=found.append, after=lambda: None).first()
    )
    heights = [page for page, _ in itertools.groupby(asked)].count("card height")
    assert heights == 2  # the first time the sides did not go together
    assert found[0].mm_per_px_x / found[0].mm_per_px_y == pytest.approx(1, abs=0.05)
    assert window.screen is not before


def test_without_a_card_the_screen_stays_as_it_was(headless):
    window, clock = headless
    before = window.screen
    Pilot(window, clock, lambda state: "skip")
    found = []
    run_pages(
        window, CardPages(window, changed=False, found=found.append, after=lambda: None).first()
    )
    assert found == []
    assert window.screen == before


def test_the_step_halves_at_every_turn_and_grows_on_a_long_way():
    fit = Fit(500, 100, 900)
    fit.press(1)
    fit.press(-1)
    fit.press(1)
    assert (fit.px, fit.step) == (500 + 32 - 16 + 8, 8)
    for _ in range(4):
        fit.press(1)
    assert fit.step == 16
    for _ in range(100):
        fit.press(1)
    assert (fit.px, fit.step) == (900, 32)
    for turn in range(20):
        fit.press(-1 if turn % 2 == 0 else 1)
    assert fit.step == 1


def test_the_field_never_grows_over_the_buttons(headless):
    window, clock = headless
    states = []

    def choose(state):
        states.append(state)
        return "plus" if len(states) < 30 else "skip"

    Pilot(window, clock, choose)
    run_pages(
        window,
        CardPages(window, changed=False, found=lambda _: None, after=lambda: None).first(),
    )
    for state in states:
        (field,) = [pygame.Rect(rect) for kind, rect in state["boxes"] if kind == "field"]
        for button in state["buttons"]:
            assert not field.colliderect(button["rect_px"])
    assert Card((1280, 800)).fits


def test_it_fits_cannot_be_said_before_the_field_was_changed(headless):
    """Pressing on must not call a screen measured: the button is not there yet."""
    window, clock = headless
    rows = []

    def choose(state):
        keys = {b["key"] for b in state["buttons"]}
        rows.append((state["page"], "go" in keys))
        return keyed("go", state)

    Pilot(window, clock, choose)
    run_pages(
        window,
        CardPages(window, changed=False, found=lambda _: None, after=lambda: None).first(),
    )
    for axis in ("width", "height"):
        ready = [there for page, there in rows if page == f"card {axis}"]
        assert ready == [False, False, True]  # one press too wide, one back


def test_a_length_was_tried_after_a_turn_or_three_presses():
    turned, long = Fit(500, 100, 900), Fit(500, 100, 900)
    turned.press(1)
    long.press(1)
    long.press(1)
    assert not turned.tried
    assert not long.tried
    turned.press(-1)
    long.press(1)
    assert turned.tried
    assert long.tried
