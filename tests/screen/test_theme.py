"""Contrast of every pair that occurs, and forms that tell roles apart without colour."""

import itertools

import pygame
import pytest

from battery.errors import UsageError
from battery.stage.drawing.painter import Painter
from battery.stage.screen.theme import (
    FORMS,
    MARK_CONTRAST,
    TEXT_CONTRAST,
    THEMES,
    contrast,
    luminance,
    theme_named,
)
from tasks.contract import Disc

WHITE, BLACK = (255, 255, 255), (0, 0, 0)


@pytest.mark.parametrize(
    ("a", "b", "ratio"),
    [
        # W3C, Understanding WCAG 2.2, success criterion 1.4.3: black on white is 21:1;
        # technique G18 and the tools that follow it give 4.54 for #767676 on white.
        (BLACK, WHITE, 21.0),
        ((0x76, 0x76, 0x76), WHITE, 4.54),
        # Primaries on white as the formula's own weights give them: red 1.05 / 0.2626.
        ((255, 0, 0), WHITE, 1.05 / 0.2626),
        ((0, 0, 255), WHITE, 1.05 / 0.1222),
    ],
)
def test_contrast_agrees_with_the_guideline(a, b, ratio):
    assert contrast(a, b) == pytest.approx(ratio, abs=0.01)
    assert contrast(b, a) == contrast(a, b)


@pytest.mark.parametrize("theme", THEMES.values(), ids=THEMES)
def test_words_and_marks_stand_out(theme):
    for name, ink, ground in theme.text_pairs():
        assert contrast(ink, ground) >= TEXT_CONTRAST, name
    for name, colour, ground in theme.mark_pairs():
        assert contrast(colour, ground) >= MARK_CONTRAST, name


def test_the_theme_knows_every_role():
    for theme in THEMES.values():
        assert set(theme.roles) == set(FORMS)


def test_the_dim_theme_is_dim():
    """Nothing in it is brighter than half of white, and all of it is darker than the same in
    the dark one or as dark; no published limit is known, so this is the project's own.
    """
    for name in ("text", "quiet", "main", "on_stop", "finger", "shade"):
        dim, dark = (luminance(getattr(THEMES[n], name)) for n in ("dim", "dark"))
        assert dim <= min(0.5, dark), name
    for role, colour in THEMES["dim"].roles.items():
        assert luminance(colour) <= 0.5, role


def test_an_unknown_theme_is_one_line_with_the_way_out():
    with pytest.raises(UsageError, match=r"'pink'.*light, dark, dim"):
        theme_named("pink")


DISC_ROLES = [role for role in FORMS if role != "track"]


def silhouette(headless_window, role):
    """A disc of a role drawn with one colour for all roles, as numbers."""
    import dataclasses

    window, _ = headless_window
    theme = dataclasses.replace(
        window.theme, roles=dict.fromkeys(window.theme.roles, window.theme.text)
    )
    surface = pygame.Surface((200, 200))
    surface.fill(theme.background)
    scale = dataclasses.replace(
        window.scale, screen=dataclasses.replace(window.screen, width_px=200, height_px=200)
    )
    Painter(surface, scale, theme).draw((Disc(0.0, 0.0, 10.0, role),))
    return pygame.surfarray.array_green(surface).astype(int)


@pytest.mark.parametrize("pair", list(itertools.combinations(DISC_ROLES, 2)), ids="-".join)
def test_no_two_roles_look_alike_without_colour(headless, pair):
    """At least one part in fifteen of the disc's area is drawn otherwise."""
    one, other = (silhouette(headless, role) for role in pair)
    area_px = 3.14 * (10 * 5.88) ** 2
    assert (abs(one - other) > 100).sum() > area_px / 15
