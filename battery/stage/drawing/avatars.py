"""A picture for every person on a tablet, so that nobody has to read a code."""

from __future__ import annotations

import pygame

from battery.figures import FIGURES, HOLES, RINGS
from battery.people import PICTURES
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.shapes import OVERSAMPLE

MAX_MM = 60.0
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
