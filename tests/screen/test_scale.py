"""Millimetres and pixels."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from battery.recording import Screen
from battery.stage.screen.scale import Scale, guessed_screen, screen_of

SCREENS = st.builds(
    Screen,
    width_px=st.integers(600, 4000),
    height_px=st.integers(400, 3000),
    mm_per_px_x=st.floats(0.05, 0.5),
    mm_per_px_y=st.floats(0.05, 0.5),
)
PLACES_MM = st.tuples(st.floats(-300, 300), st.floats(-300, 300))


@given(SCREENS, PLACES_MM)
def test_there_and_back_is_the_same_place(screen, place_mm):
    scale = Scale(screen)
    assert scale.to_mm(*scale.to_px(*place_mm)) == pytest.approx(place_mm, abs=1e-9)


@given(SCREENS, st.data())
def test_mirrored_pixels_are_mirrored_places(screen, data):
    """The pixel as far from the right edge as another from the left has the opposite x."""
    scale = Scale(screen)
    column = data.draw(st.integers(0, screen.width_px - 1))
    x_mm, y_mm = scale.pixel_to_mm(column, 7)
    mirrored_mm, same_mm = scale.pixel_to_mm(screen.width_px - 1 - column, 7)
    assert mirrored_mm == pytest.approx(-x_mm, abs=1e-9)
    assert same_mm == y_mm


def test_a_place_computed_by_hand():
    """4 px a mm, 1000 x 600 px: 25 mm right and 50 mm up of the middle is (600, 100)."""
    scale = Scale(Screen(1000, 600, 0.25, 0.25, "ruler"))
    assert scale.to_px(25.0, 50.0) == (600.0, 100.0)
    assert scale.length_px(10.0) == 40.0


def test_an_unmeasured_screen_is_a_guess_of_96_to_the_inch():
    """CSS Values and Units 4, absolute lengths: one inch is 96 px."""
    screen = guessed_screen(960, 480)
    assert screen.scale_source == "guess"
    assert (screen.width_mm, screen.height_mm) == pytest.approx((254.0, 127.0))


def test_a_window_has_the_scale_of_its_desktop_and_its_own_size():
    known = {(1920, 1200): Screen(1920, 1200, 0.11, 0.12, "ruler")}
    window = screen_of((1280, 800), (1920, 1200), known)
    assert window == Screen(1280, 800, 0.11, 0.12, "ruler")
    assert screen_of((1280, 800), (1366, 768), known).scale_source == "guess"
