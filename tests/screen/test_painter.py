"""What is drawn: true to the scale, soft at the edge, and the same by parts as at once."""

import dataclasses

import numpy as np
import pygame
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from battery.stage.drawing.painter import Painter, apart
from battery.stage.screen.theme import DARK, FORMS
from tasks.contract import Disc, Line
from tests.screen.pilot import tablet

NEAR_MM = st.floats(-14, 14)
DISCS = st.builds(
    Disc, NEAR_MM, NEAR_MM, st.sampled_from([3.5, 10.0]), st.sampled_from(list(FORMS)),
    st.sampled_from(["", "7", "A1"]), st.booleans(),
)  # fmt: skip
LINES = st.builds(
    Line,
    st.lists(st.tuples(NEAR_MM, NEAR_MM), min_size=2, max_size=4).map(tuple),
    st.sampled_from([0.2, 1.5]),
    st.just("track"),
)
PICTURES = st.lists(st.one_of(DISCS, LINES), max_size=5, unique=True).map(tuple)


def blank(headless_window):
    window, _ = headless_window
    scale = dataclasses.replace(
        window.scale, screen=dataclasses.replace(window.screen, width_px=300, height_px=300)
    )
    surface = pygame.Surface((300, 300))
    surface.fill(DARK.background)
    return surface, Painter(surface, scale, DARK)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(PICTURES, min_size=2, max_size=4))
def test_drawing_what_changed_equals_drawing_everything(headless, pictures):
    surface, painter = blank(headless)
    for marks in pictures:
        before = surface.copy()
        changed = painter.draw(marks)
        whole, other = blank(headless)
        other.draw(marks)
        assert surface.get_buffer().raw == whole.get_buffer().raw
        for rect in changed:  # nothing outside the rectangles has changed
            before.blit(surface, rect, rect)
        assert before.get_buffer().raw == surface.get_buffer().raw


@pytest.mark.parametrize("name", ["1280x800", "1920x1200"])
@pytest.mark.parametrize("r_mm", [7.0, 10.0, 15.0])
def test_a_disc_has_its_size_on_the_glass(headless, name, r_mm):
    """Width and height of what is lit, within a pixel."""
    screen = dataclasses.replace(tablet(name), width_px=400, height_px=400)
    surface = pygame.Surface((400, 400))
    surface.fill(DARK.background)
    scale = dataclasses.replace(headless[0].scale, screen=screen)
    Painter(surface, scale, DARK).draw((Disc(0.0, 0.0, r_mm, "go"),))
    halfway = sum(DARK.roles["go"]) / 2
    lit = pygame.surfarray.array3d(surface).astype(int).sum(axis=2) > halfway
    for axis in (0, 1):
        width_px = lit.any(axis=axis).sum()
        assert width_px * screen.mm_per_px_x == pytest.approx(
            2 * r_mm, abs=1.1 * screen.mm_per_px_x
        )
    x_px, y_px = (axis.mean() + 0.5 for axis in lit.nonzero())
    assert (x_px, y_px) == pytest.approx((200, 200), abs=0.6)


def test_edges_are_soft(headless):
    surface, painter = blank(headless)
    painter.draw((Disc(0.0, 0.0, 10.0, "go"),))
    values = set(pygame.surfarray.array_green(surface).ravel().tolist())
    between = [v for v in values if DARK.background[1] < v < DARK.roles["go"][1]]
    assert len(between) > 8


def test_nothing_is_drawn_twice_when_nothing_changes(headless):
    _, painter = blank(headless)
    marks = (Disc(0.0, 0.0, 10.0, "go"),)
    assert painter.draw(marks)
    assert painter.draw(marks) == []


RECTS = st.builds(
    pygame.Rect, st.integers(0, 90), st.integers(0, 90), st.integers(1, 40), st.integers(1, 40)
)


@given(st.lists(RECTS, max_size=8))
def test_joined_rectangles_cover_all_and_lie_apart(rects):
    joined = apart(rects)
    assert all(any(j.contains(r) for j in joined) for r in rects)
    assert all(a is b or not a.colliderect(b) for a in joined for b in joined)


def test_nothing_lies_over_a_label(headless):
    """A held chip on a node: every pixel that is ink of the label alone is still its ink."""
    node = Disc(0.0, 0.0, 7.0, "done", "4", filled=True)
    alone, painter = blank(headless)
    painter.draw((node,))
    covered, painter = blank(headless)
    painter.draw((node, Disc(0.5, -0.5, 3.5, "held")))
    ground = np.array(DARK.background)
    inner = (slice(120, 180), slice(120, 180))
    one, other = (pygame.surfarray.array3d(s).astype(int)[inner] for s in (alone, covered))
    ink = (abs(one - ground) <= 2).all(axis=2)
    assert ink.sum() > 100
    assert (abs(other[ink] - ground) <= 2).all()
