"""Hands, demonstrations and the program's own sign, as they are drawn."""

import numpy as np
import pygame
import pytest

from battery.people import PICTURES
from battery.plan import STANDARD, planned_blocks
from battery.stage.drawing.avatars import Token
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.demonstration import Demonstration
from battery.stage.drawing.hands import hand_picture, pointing_hand
from battery.stage.drawing.signs import SIGNS, sign_picture
from battery.stage.language import texts
from battery.stage.pages.following import run_pages
from battery.stage.pages.questions import GO
from battery.stage.pages.watching import WatchPage
from battery.stage.screen.icon import icon_surface
from battery.stage.screen.theme import LIGHT, THEMES, contrast
from tests.screen.pilot import Pilot, open_window, tablet
from tests.sparing import only

TRIES = [p for p in planned_blocks(STANDARD, "right") if p.phase == "practice"]


def ink(picture):
    return pygame.surfarray.array_alpha(picture) > 127


def test_the_left_hand_is_the_right_one_in_a_mirror(headless):
    canvas = Canvas(headless[0], large=False)
    right, left = (hand_picture(canvas, hand, 200, lit=True) for hand in ("right", "left"))
    assert (ink(right) == ink(left)[::-1]).all()
    assert ink(right)[:100].sum() != ink(right)[100:].sum()  # the thumb shows which it is


@pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
@pytest.mark.parametrize("hand", ["left", "right"])
def test_the_drawn_hand_points_with_the_tip_of_its_finger(headless, theme, hand):
    """Above the tip there is nothing of it, just below it there is."""
    picture, tip_x, tip_y = pointing_hand(theme, hand, 4.0)
    inked = ink(picture)
    assert inked[tip_x, tip_y]
    assert not inked[tip_x, : tip_y // 4].any()
    assert inked[:, : tip_y + 1].any(axis=1).nonzero()[0].mean() == pytest.approx(tip_x, abs=4)


@pytest.mark.parametrize("planned", TRIES, ids=lambda p: f"{p.task}-{p.hand}")
def test_a_demonstration_is_shown_as_large_as_its_room_lets_it_and_whole(headless, planned):
    """In a room as large as a ten-inch screen it has the size of the task; in a smaller one all
    that is shown in ten seconds stays inside.
    """
    window, _ = headless
    canvas = Canvas(window, large=False)
    shown = Demonstration(planned, 3)
    assert shown.share(window.scale, window.surface.get_size()) == 1.0
    room = pygame.Rect(100, 300, 640, 300)
    canvas.clear()
    before = window.surface.copy()
    shown.begin(canvas, room)
    places = []
    for n in range(60):
        shown.step(n / 6)
        places += [shown._painter._rect(mark) for mark in shown._painter._shown]
    inside = pygame.Rect((0, 0), room.size)
    assert places
    assert all(inside.contains(place.inflate(-6, -6)) for place in places)
    before.blit(window.surface, room, room)
    assert before.get_buffer().raw == window.surface.get_buffer().raw


@pytest.mark.parametrize("large", [False, True], ids=["default", "large"])
@pytest.mark.parametrize("planned", TRIES, ids=lambda p: f"{p.task}-{p.hand}")
@pytest.mark.parametrize("panel", only(["1024x600", "1280x800"], ["1024x600"]))
def test_on_a_ten_inch_tablet_a_task_is_watched_in_its_own_size(
    monkeypatch, panel, planned, large
):
    """Nothing of it lies on Stop, Help or the button, nor does the hand at any moment."""
    with open_window(monkeypatch, tablet(panel)) as (window, clock):
        shown = Demonstration(planned, 3)
        page = WatchPage(
            "watch", "Title", (), (GO,), lambda _: None, hand=planned.hand, picture=shown,
            help_page=lambda page: page, large=large, where="Part 1 of 8",
        )  # fmt: skip
        pilot = Pilot(window, clock, lambda _: None)
        pilot.add((clock.now + 1_000_000, "quit"))
        run_pages(window, page)
        buttons = {b["key"]: pygame.Rect(b["rect_px"]) for b in pilot.states[-1]["buttons"]}
        places = [buttons[key] for key in ("stop", "help", "go")]
        first = [window.surface.subsurface(place).copy() for place in places]
        for n in range(60):
            shown.step(n / 6)
            for place, before in zip(places, first, strict=True):
                now = window.surface.subsurface(place).copy()
                assert now.get_buffer().raw == before.get_buffer().raw
        marks = shown.places(window.scale, shown._room)
        assert all(mark.collidelist(places) < 0 for mark in marks)
        least = 0.9 if large else 0.95
        assert shown.share(window.scale, shown._room.size) >= least


@pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
@pytest.mark.parametrize("name", SIGNS)
def test_a_sign_stands_out_from_its_ground(headless, theme, name):
    """A tenth of it and more differs from its ground by 3 to 1: WCAG 2.2, 1.4.11."""
    picture = sign_picture(theme, name, 100)
    ground = pygame.Surface(picture.get_size())
    ground.fill(theme.background)
    ground.blit(picture, (0, 0))
    seen = pygame.surfarray.array3d(ground).reshape(-1, 3)
    colours, counts = np.unique(seen, axis=0, return_counts=True)
    stands_out = [contrast(tuple(map(int, c)), theme.background) >= 3.0 for c in colours]
    assert counts[stands_out].sum() >= 0.1 * counts.sum()


def test_every_symptom_has_a_sign_and_no_two_are_alike():
    drawn = [pygame.image.tobytes(sign_picture(LIGHT, name, 60), "RGBA") for name in SIGNS]
    assert set(texts.SYMPTOM_TITLES) <= set(SIGNS)
    assert len(set(drawn)) == len(SIGNS)


@pytest.mark.parametrize("side_px", [16, 32, 128, 256])
def test_the_sign_of_the_program_is_square_and_has_clear_corners(headless, side_px):
    sign = icon_surface(side_px)
    assert sign.get_size() == (side_px, side_px)
    assert sign.get_at((0, 0)).a < 40
    middle = sign.get_at((side_px // 2, side_px - 2))
    assert tuple(middle)[:3] == pytest.approx(LIGHT.main, abs=6)


@pytest.mark.parametrize("large", only([False, True], [True]))
def test_the_picture_of_a_person_is_large_on_every_screen(headless, any_tablet, large):
    """At least 25 mm of it are inked either way, whatever stands beside it."""
    window, _ = headless
    window.scale = type(window.scale)(any_tablet)
    size_px = (any_tablet.width_px, any_tablet.height_px)
    window.surface = pygame.Surface(size_px)
    canvas = Canvas(window, large=large)
    for name in PICTURES:
        canvas.clear()
        Token(name).begin(canvas, canvas.beside_words)
        ground = pygame.surfarray.array3d(window.surface).astype(int)
        inked = (abs(ground - np.array(window.theme.background)) > 40).any(axis=2)
        longest_px = max(inked.any(axis=axis).sum() for axis in (0, 1))
        assert longest_px * any_tablet.mm_per_px_x >= 25.0, name
