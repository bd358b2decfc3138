"""A picture of both hands from the back; the one that is to be used is lit."""

from __future__ import annotations

import pygame

from battery.recording import HANDS, Hand
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.painter import OVERSAMPLE, beam
from battery.stage.screen.theme import Colour

HIGHEST_MM = 80.0
APART = 0.62  # distance of a hand's middle from the middle, over its height
OUTLINE = 1.6  # hundredths of the height

# A right hand with its palm down, in hundredths of its height, y down: from, to, width.
FINGERS = (
    ((38, 54), (33, 21), 9.6),
    ((48, 52), (47, 9), 10.2),
    ((58, 52), (61, 13), 10.0),
    ((67, 56), (75, 27), 8.8),
    ((40, 76), (16, 50), 11.0),
)
PALM = ((34, 50, 38, 38), 13)  # rectangle and radius of its corners
WRIST = ((41, 74, 24, 20), 6)
NAIL = 0.52  # width over the finger's


class HandsPicture:
    """The two hands as they lie on the table, one of them lit; it does not move."""

    def __init__(self, hand: Hand) -> None:
        self._hand = hand

    def begin(self, canvas: Canvas, room: pygame.Rect) -> None:
        """Draw it into its room."""
        height = min(room.height, canvas.px(HIGHEST_MM), round(room.width / 2.2))
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
    unit = height_px * OVERSAMPLE / 100
    side = height_px * OVERSAMPLE
    large = pygame.Surface((side, side), pygame.SRCALPHA)
    if lit:
        large.fill((*theme.text, 0))
        _shape(large, unit, theme.text, 0.0)
        for _, tip, wide in FINGERS:
            pygame.draw.circle(
                large, theme.shade, (tip[0] * unit, tip[1] * unit), NAIL * wide * unit / 2
            )
        cuff = pygame.Rect(*(round(v * unit) for v in (37, 88, 32, 11)))
        pygame.draw.rect(large, theme.main, cuff, border_radius=round(3 * unit))
    else:
        large.fill((*theme.edge, 0))
        _shape(large, unit, theme.edge, 0.0)
        _shape(large, unit, theme.background, OUTLINE)
    picture = pygame.transform.smoothscale(large, (height_px, height_px))
    return pygame.transform.flip(picture, True, False) if hand == "left" else picture


def _shape(surface: pygame.Surface, unit: float, colour: Colour, inset: float) -> None:
    """Draw the whole hand, smaller by `inset` all around."""
    for (ax, ay), (bx, by), wide in FINGERS:
        a, b = (ax * unit, ay * unit), (bx * unit, by * unit)
        half = (wide / 2 - inset) * unit
        pygame.draw.polygon(surface, colour, beam(a, b, half))
        for end in (a, b):
            pygame.draw.circle(surface, colour, end, half)
    for (left, top, width, height), radius in (PALM, WRIST):
        rect = pygame.Rect(
            round((left + inset) * unit),
            round((top + inset) * unit),
            round((width - 2 * inset) * unit),
            round((height - 2 * inset) * unit),
        )
        pygame.draw.rect(surface, colour, rect, border_radius=round((radius - inset) * unit))
