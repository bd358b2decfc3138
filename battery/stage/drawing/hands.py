"""Hands from the back: both, the one that is to be used lit; and one that points."""

from __future__ import annotations

from functools import lru_cache

import pygame

from battery.recording import HANDS, Hand
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.outlines import OPEN, POINTING
from battery.stage.drawing.shapes import Point, Sketch
from battery.stage.screen.theme import Colour, Theme

MAX_MM = 80.0
APART = 0.62  # distance of a hand's middle from the middle, over its height
CONTOUR = 1.3  # hundredths of the height
CUFF = ((38, 93), (67, 93), 11.0)
# Of every finger: from where to where its nail is, how wide; the line of its joint.
NAILS = (((33.2, 19.5), (33.8, 22.5), 4.2), ((47.5, 7.5), (47.7, 11), 4.6),
         ((61.5, 12.5), (61.2, 16), 4.4), ((75, 26.5), (74.2, 29.5), 3.6),
         ((15, 49.5), (17.4, 52), 4.8))  # fmt: skip
JOINTS = (((33.2, 38), (38.6, 37)), ((44.6, 31.5), (50.4, 31.5)), ((57, 33.5), (62.6, 34)),
          ((67.8, 43), (72, 44.2)))  # fmt: skip
# The hand that points, with the room around it that its picture has.
LEFT, TOP, WIDE, HIGH = 16.0, 3.0, 72.0, 150.0
FOLDS = (((9.5, 46), (12, 58)), ((19.5, 47), (21, 59)), ((30, 50), (30.5, 60)),
         ((-3, 55), (2, 70)))  # fmt: skip


class HandsPicture:
    """The two hands as they lie on the table, one of them lit; it does not move."""

    beside = False

    def __init__(self, hand: Hand) -> None:
        self._hand = hand

    def begin(self, canvas: Canvas, room: pygame.Rect) -> None:
        """Draw it into its room."""
        height = min(room.height, canvas.px(MAX_MM), round(room.width / 2.2))
        for hand in HANDS:
            picture = hand_picture(canvas, hand, height, lit=hand == self._hand)
            side = -1 if hand == "left" else 1
            centre = (room.centerx + side * round(APART * height), room.centery)
            canvas.surface.blit(picture, picture.get_rect(center=centre))

    def step(self, shown_s: float) -> list[pygame.Rect]:
        """Nothing moves."""
        del shown_s
        return []


def hand_picture(canvas: Canvas, hand: Hand, height_px: int, *, lit: bool) -> pygame.Surface:
    """Return an open hand seen from its back: the thumb points to the other hand.

    Lit, it is filled and has a cuff; otherwise it is an outline.
    """
    theme = canvas.theme
    sketch = Sketch(100, 100, height_px / 100, theme.contour if lit else theme.edge)
    if lit:
        sketch.shape(OPEN, theme.shade, contour=theme.contour, wide=CONTOUR)
        for start, end, wide in NAILS:
            _nail(sketch, start, end, wide, theme.shade, theme.contour)
        for joint in JOINTS:
            sketch.line(joint, 0.6, theme.contour)
        start, end, wide = CUFF
        sketch.limb(start, end, wide, wide, theme.main)
    else:
        sketch.shape(OPEN, theme.background, contour=theme.edge, wide=CONTOUR)
    picture = sketch.picture()
    return pygame.transform.flip(picture, True, False) if hand == "left" else picture


def pointing_hand(theme: Theme, hand: Hand, unit_px: float) -> tuple[pygame.Surface, int, int]:
    """Return a hand that points, and where in it its fingertip is, px."""
    return _pointing(theme.shade, theme.contour, hand, unit_px)


@lru_cache(maxsize=8)
def _pointing(
    shade: Colour, contour: Colour, hand: Hand, unit_px: float
) -> tuple[pygame.Surface, int, int]:
    sketch = Sketch(WIDE, HIGH, unit_px, contour)
    sketch.shape(
        [(x + LEFT, y + TOP) for x, y in POINTING], shade, contour=contour, wide=CONTOUR
    )
    for fold in FOLDS:
        sketch.line([(x + LEFT, y + TOP) for x, y in fold], 0.8, contour)
    _nail(sketch, (LEFT, TOP + 5.2), (LEFT + 0.4, TOP + 9), 5.4, shade, contour)
    picture = sketch.picture()
    tip_px = round(LEFT * unit_px)
    if hand == "left":
        picture = pygame.transform.flip(picture, True, False)
        tip_px = picture.get_width() - tip_px
    return picture, tip_px, round((TOP + 4.0) * unit_px)


def _nail(
    sketch: Sketch, start: Point, end: Point, wide: float, shade: Colour, contour: Colour
) -> None:
    sketch.limb(start, end, wide, wide, contour)
    sketch.limb(start, end, wide - 1.2, wide - 1.2, shade)
