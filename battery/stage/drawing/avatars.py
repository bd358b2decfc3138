"""A picture for every person on a tablet, so that nobody has to read a code."""

from __future__ import annotations

import math

import pygame

from battery.people import PICTURES
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.shapes import OVERSAMPLE

MAX_MM = 60.0
Point = tuple[float, float]
# Filled outlines in a square of 100, y down; drawn one over the other, holes last.
HOUSE = (((10, 48), (50, 10), (90, 48)), ((20, 48), (80, 48), (80, 92), (20, 92)))
BOAT = (((8, 62), (92, 62), (74, 88), (26, 88)), ((46, 6), (54, 6), (54, 60), (46, 60)),
        ((58, 12), (84, 54), (58, 54)))  # fmt: skip
TREE = (((50, 6), (80, 44), (20, 44)), ((50, 26), (88, 74), (12, 74)),
        ((43, 74), (57, 74), (57, 94), (43, 94)))  # fmt: skip
CUP = (((18, 30), (70, 30), (64, 86), (24, 86)), ((70, 38), (92, 38), (84, 68), (67, 68)))
KEY = (((42, 44), (94, 44), (94, 56), (42, 56)), ((70, 54), (78, 54), (78, 72), (70, 72)),
       ((84, 54), (92, 54), (92, 72), (84, 72)))  # fmt: skip
STAR = (tuple(
    (50 + r * math.sin(math.pi * k / 5), 52 - r * math.cos(math.pi * k / 5))
    for k, r in enumerate([46, 19] * 5)
),)  # fmt: skip
FISH = (tuple(
    (44 + 36 * math.cos(math.pi * k / 18), 50 + 24 * math.sin(math.pi * k / 18))
    for k in range(36)
), ((72, 50), (96, 26), (96, 74)))  # fmt: skip
SUN = (tuple(
    (50 + r * math.sin(math.pi * k / 12), 50 - r * math.cos(math.pi * k / 12))
    for k, r in enumerate([46, 30] * 12)
),)  # fmt: skip
FIGURES: tuple[tuple[tuple[Point, ...], ...], ...] = (
    HOUSE, BOAT, TREE, CUP, KEY, STAR, FISH, SUN,
)  # fmt: skip
HOLES: dict[int, tuple[Point, float]] = {0: ((50, 62), 12), 4: ((26, 50), 22), 6: ((26, 44), 4)}
RINGS: dict[int, tuple[Point, float]] = {4: ((26, 50), 10)}
SHAPES = len(FIGURES)


class Token:
    """A person's picture; it does not move.

    Parameters
    ----------
    name : str
        One of `battery.people.PICTURES`. With more people than pictures they come again, so
        the code stands beside them.
    """

    beside = True

    def __init__(self, name: str) -> None:
        self._number = PICTURES.index(name)

    def begin(self, canvas: Canvas, room: pygame.Rect) -> None:
        """Draw it into its room."""
        side = min(canvas.px(MAX_MM), room.width, room.height)
        picture = token_picture(canvas, self._number, side)
        canvas.surface.blit(picture, picture.get_rect(center=room.center))

    def step(self, shown_s: float) -> list[pygame.Rect]:
        """Nothing moves."""
        del shown_s
        return []


def token_picture(canvas: Canvas, number: int, side_px: int) -> pygame.Surface:
    """Return the picture of that number."""
    colour, ground = canvas.theme.main, canvas.theme.background
    index = number % SHAPES
    unit = side_px * OVERSAMPLE / 100
    large = pygame.Surface((side_px * OVERSAMPLE,) * 2, pygame.SRCALPHA)
    large.fill((*ground, 0))
    if index in RINGS:
        (x, y), _ = RINGS[index]
        pygame.draw.circle(large, colour, (x * unit, y * unit), HOLES[index][1] * unit)
    for outline in FIGURES[index]:
        pygame.draw.polygon(large, colour, [(x * unit, y * unit) for x, y in outline])
    hole = RINGS.get(index) or HOLES.get(index)
    if hole is not None:
        (x, y), radius = hole
        pygame.draw.circle(large, ground, (x * unit, y * unit), radius * unit)
    return pygame.transform.smoothscale(large, (side_px, side_px))
