"""Shapes with soft edges that the toolkit does not draw, and sketches made of them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import pygame

from battery.stage.screen.theme import Colour

Point = tuple[float, float]
OVERSAMPLE = 4  # how much larger a sketch is drawn than shown


def rounded(surface: pygame.Surface, colour: Colour, rect: pygame.Rect, radius_px: int) -> None:
    """Draw a filled rectangle with round corners."""
    radius_px = min(radius_px, rect.width // 2, rect.height // 2)
    if radius_px < 2:
        pygame.draw.rect(surface, colour, rect)
        return
    pygame.draw.rect(surface, colour, rect.inflate(-2 * radius_px, 0))
    pygame.draw.rect(surface, colour, rect.inflate(0, -2 * radius_px))
    for x in (rect.left + radius_px, rect.right - radius_px):
        for y in (rect.top + radius_px, rect.bottom - radius_px):
            pygame.draw.aacircle(surface, colour, (x, y), radius_px)


class Sketch:
    """A picture in units of its own, y down, drawn large and scaled down at the end.

    Parameters
    ----------
    wide, high : float
        Size in units.
    unit_px : float
        Pixels to a unit when it is shown.
    ground : colour
        What soft edges fade to.
    """

    def __init__(self, wide: float, high: float, unit_px: float, ground: Colour) -> None:
        self.size_px = (max(round(wide * unit_px), 1), max(round(high * unit_px), 1))
        self._unit = unit_px * OVERSAMPLE
        width_px, height_px = self.size_px
        self._large = pygame.Surface(
            (width_px * OVERSAMPLE, height_px * OVERSAMPLE), pygame.SRCALPHA
        )
        self._large.fill((*ground, 0))

    def _at(self, point: Point) -> Point:
        return (point[0] * self._unit, point[1] * self._unit)

    def disc(self, centre: Point, radius: float, colour: Colour) -> None:
        """Draw a filled circle."""
        pygame.draw.circle(self._large, colour, self._at(centre), radius * self._unit)

    def ring(self, centre: Point, radius: float, wide: float, colour: Colour) -> None:
        """Draw a circle whose outer edge has that radius."""
        pygame.draw.circle(
            self._large, colour, self._at(centre), radius * self._unit, round(wide * self._unit)
        )

    def limb(self, a: Point, b: Point, wide_a: float, wide_b: float, colour: Colour) -> None:
        """Draw a bar with round ends that are so wide."""
        (ax, ay), (bx, by) = self._at(a), self._at(b)
        length = math.hypot(bx - ax, by - ay) or 1.0
        nx, ny = -(by - ay) / length, (bx - ax) / length
        half_a, half_b = wide_a / 2 * self._unit, wide_b / 2 * self._unit
        corners = [
            (ax + nx * half_a, ay + ny * half_a),
            (bx + nx * half_b, by + ny * half_b),
            (bx - nx * half_b, by - ny * half_b),
            (ax - nx * half_a, ay - ny * half_a),
        ]
        pygame.draw.polygon(self._large, colour, corners)
        pygame.draw.circle(self._large, colour, (ax, ay), half_a)
        pygame.draw.circle(self._large, colour, (bx, by), half_b)

    def line(self, points: Sequence[Point], wide: float, colour: Colour) -> None:
        """Draw a line with round bends and ends."""
        for a, b in itertools.pairwise(points):
            self.limb(a, b, wide, wide, colour)

    def curve(
        self,
        centre: Point,
        radius: float,
        degrees: tuple[float, float],
        wide: float,
        colour: Colour,
    ) -> None:
        """Draw a part of a circle, between two angles in degrees clockwise from the right."""
        start, end = degrees
        steps = max(round(abs(end - start) / 6), 2)
        turns = [math.radians(start + (end - start) * n / steps) for n in range(steps + 1)]
        x, y = centre
        points = [(x + radius * math.cos(t), y + radius * math.sin(t)) for t in turns]
        self.line(points, wide, colour)

    def shape(
        self,
        points: Sequence[Point],
        colour: Colour,
        *,
        contour: Colour | None = None,
        wide: float = 0.0,
    ) -> None:
        """Draw a filled outline, with a contour of that width on it."""
        pygame.draw.polygon(self._large, colour, [self._at(point) for point in points])
        if contour is not None:
            self.line([*points, points[0]], wide, contour)

    def picture(self) -> pygame.Surface:
        """Return what was drawn."""
        return pygame.transform.smoothscale(self._large, self.size_px)
