"""A picture of how to sit: from the side, tablet on its stand, an arm's length away."""

from __future__ import annotations

import pygame

from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.shapes import Point, Sketch
from battery.stage.screen.theme import Colour

WIDE, HIGH = 132, 112  # units of the picture
LINE = 1.4  # width of a contour
Limb = tuple[Point, Point, float, float]  # from, to, width at either end
CHAIR: tuple[Limb, ...] = (
    ((14, 46), (17, 80), 5, 5), ((17, 80), (50, 80), 5, 5), ((19, 82), (16, 106), 4, 4),
    ((47, 82), (49, 106), 4, 4),
)  # fmt: skip
TABLE: tuple[Limb, ...] = (((64, 66), (128, 66), 5, 5), ((121, 68), (121, 106), 4, 4))
LEGS: tuple[Limb, ...] = (
    ((30, 73), (57, 74), 15, 12), ((57, 74), (58, 100), 12, 8), ((58, 104), (69, 105), 7, 5),
)  # fmt: skip
TRUNK: tuple[Limb, ...] = (((33, 43), (29, 70), 17, 18),)
NECK: tuple[Limb, ...] = (((34, 25), (33, 36), 8, 9),)
SLEEVE: tuple[Limb, ...] = (((34, 43), (47, 60), 10, 9),)
FOREARM: tuple[Limb, ...] = (((47, 60), (73, 58), 8, 6), ((73, 58), (86, 55), 6, 3.5))
HEAD, HEAD_R = (36, 18), 11.5
EYE = (42.5, 16.5)
TABLET: tuple[Limb, ...] = (((90, 62), (112, 46), 4, 4),)
STAND: tuple[Limb, ...] = (((107, 51), (115, 62), 2.5, 2.5),)
DISTANCE = ((52, 20), (100, 42))
ARROW = 5.0
GROUND = ((6, 109), (128, 109))


class PosturePicture:
    """Somebody seated at a table, and the distance from eyes to tablet; it does not move."""

    beside = True

    def begin(self, canvas: Canvas, room: pygame.Rect) -> None:
        """Draw it into its room."""
        theme = canvas.theme
        unit_px = min(room.width / WIDE, room.height / HIGH)
        sketch = Sketch(WIDE, HIGH, unit_px, theme.background)
        sketch.line(GROUND, 1.2, theme.edge)
        for limbs, colour in (
            (CHAIR, theme.edge),
            (LEGS, theme.quiet),
            (NECK, theme.shade),
            (TRUNK, theme.main),
            (TABLE, theme.edge),
            (STAND, theme.edge),
            (TABLET, theme.text),
            (FOREARM, theme.shade),
            (SLEEVE, theme.main),
        ):
            _limbs(sketch, limbs, colour, theme.contour)
        sketch.disc(HEAD, HEAD_R, theme.contour)
        sketch.disc(HEAD, HEAD_R - LINE, theme.shade)
        sketch.disc(EYE, 1.5, theme.contour)
        self._distance(sketch, theme.text)
        picture = sketch.picture()
        canvas.surface.blit(picture, picture.get_rect(center=room.center))

    @staticmethod
    def _distance(sketch: Sketch, colour: Colour) -> None:
        start, end = DISTANCE
        sketch.line((start, end), 1.2, colour)
        way = (pygame.Vector2(end) - pygame.Vector2(start)).normalize()
        for (x, y), turn in ((start, 1), (end, -1)):
            for side in (-30, 30):
                wing = turn * ARROW * way.rotate(side)
                sketch.line(((x, y), (x + wing.x, y + wing.y)), 1.2, colour)

    def step(self, shown_s: float) -> list[pygame.Rect]:
        """Nothing moves."""
        del shown_s
        return []


def _limbs(sketch: Sketch, limbs: tuple[Limb, ...], colour: Colour, contour: Colour) -> None:
    """Draw some limbs as one shape with one contour."""
    for a, b, wide_a, wide_b in limbs:
        sketch.limb(a, b, wide_a + 2 * LINE, wide_b + 2 * LINE, contour)
    for a, b, wide_a, wide_b in limbs:
        sketch.limb(a, b, wide_a, wide_b, colour)
