"""A picture of how to sit: from the side, tablet on its stand, an arm's length away."""

from __future__ import annotations

import pygame

from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.painter import OVERSAMPLE, beam

WIDE, HIGH = 160, 100  # units of the picture
CHAIR = (((18, 44), (18, 74), 5), ((16, 72), (48, 72), 5), ((20, 74), (20, 96), 4),
         ((46, 74), (46, 96), 4))  # fmt: skip
BODY = (((31, 34), (30, 66), 13), ((32, 66), (58, 68), 10), ((58, 68), (60, 92), 8),
        ((60, 94), (69, 94), 6), ((33, 40), (52, 55), 7), ((52, 55), (80, 52), 6))  # fmt: skip
HEAD = ((34, 18), 10)
TABLE = (((66, 60), (146, 60), 5), ((138, 62), (138, 96), 4))
STAND = (((92, 57), (118, 46), 4), ((116, 47), (122, 57), 2))
DISTANCE = ((48, 18), (104, 18))
ARROW = 4


class PosturePicture:
    """Somebody seated at a table, and the distance from eyes to tablet; it does not move."""

    def begin(self, canvas: Canvas, room: pygame.Rect) -> None:
        """Draw it into its room."""
        theme = canvas.theme
        unit = min(room.width / WIDE, room.height / HIGH)
        size = (round(WIDE * unit), round(HIGH * unit))
        large = pygame.Surface((size[0] * OVERSAMPLE, size[1] * OVERSAMPLE), pygame.SRCALPHA)
        large.fill((*theme.background, 0))
        scale = unit * OVERSAMPLE
        for lines, colour in (
            (CHAIR, theme.edge),
            (TABLE, theme.edge),
            (BODY, theme.text),
            (STAND, theme.main),
        ):
            for start, end, wide in lines:
                _line(large, colour, start, end, wide, scale)
        (x, y), radius = HEAD
        pygame.draw.circle(large, theme.text, (x * scale, y * scale), radius * scale)
        self._distance(large, theme.main, scale)
        picture = pygame.transform.smoothscale(large, size)
        canvas.surface.blit(picture, picture.get_rect(center=room.center))

    @staticmethod
    def _distance(surface: pygame.Surface, colour: tuple[int, int, int], scale: float) -> None:
        (x0, y), (x1, _) = DISTANCE
        _line(surface, colour, (x0, y), (x1, y), 1.6, scale)
        for x, way in ((x0, 1), (x1, -1)):
            points = [(x, y), (x + way * ARROW, y - ARROW), (x + way * ARROW, y + ARROW)]
            pygame.draw.polygon(surface, colour, [(a * scale, b * scale) for a, b in points])

    def step(self, shown_s: float) -> list[pygame.Rect]:
        """Nothing moves."""
        del shown_s
        return []


def _line(
    surface: pygame.Surface,
    colour: tuple[int, int, int],
    start: tuple[float, float],
    end: tuple[float, float],
    wide: float,
    scale: float,
) -> None:
    a, b = (start[0] * scale, start[1] * scale), (end[0] * scale, end[1] * scale)
    pygame.draw.polygon(surface, colour, beam(a, b, wide * scale / 2))
    for at in (a, b):
        pygame.draw.circle(surface, colour, at, wide * scale / 2)
