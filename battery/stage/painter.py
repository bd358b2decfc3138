"""From marks to pixels: anti-aliased, in millimetres, only what has changed.

Discs are drawn once, four times too large, and scaled down; a frame then only copies them.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import pygame

from battery.stage.scale import Scale
from battery.stage.theme import BACKGROUND, LOOKS, TEXT, Colour, Look
from tasks.contract import Disc, Line, Mark

OVERSAMPLE = 4
RING_MM = 1.2
LABEL_SHARE = 1.05  # height of a label's font over the radius of its disc
FINGER: Colour = (250, 250, 250)


class Painter:
    """Draws marks on a surface and says which rectangles have changed."""

    def __init__(self, surface: pygame.Surface, scale: Scale) -> None:
        self._surface = surface
        self._scale = scale
        self._pictures: dict[Disc, pygame.Surface] = {}
        self._shown: tuple[Mark, ...] = ()
        self._background = surface.copy()

    def keep_background(self) -> None:
        """Take what is on the surface now as the background of all marks."""
        self._background = self._surface.copy()
        self._shown = ()

    def draw(self, marks: tuple[Mark, ...]) -> list[pygame.Rect]:
        """Draw `marks` in place of those drawn before; return the rectangles that changed."""
        if marks == self._shown:
            return []
        before, after = set(self._shown), set(marks)
        dirty = [self._rect(mark) for mark in before ^ after]
        for rect in dirty:
            self._surface.blit(self._background, rect, rect)
        for mark in marks:
            own = self._rect(mark)
            for rect in dirty:
                if own.colliderect(rect):
                    self._surface.set_clip(rect)
                    self._draw(mark)
        self._surface.set_clip(None)
        self._shown = marks
        return dirty

    def prepare(self, marks: Sequence[Mark]) -> None:
        """Draw the pictures of marks ahead, so that a block need not."""
        for mark in marks:
            if isinstance(mark, Disc):
                self._picture(mark)

    def _rect(self, mark: Mark) -> pygame.Rect:
        if isinstance(mark, Disc):
            x_px, y_px = self._scale.to_px(mark.x_mm, mark.y_mm)
            reach_px = math.ceil(self._scale.length_px(mark.r_mm)) + 2
            rect = pygame.Rect(0, 0, 2 * reach_px, 2 * reach_px)
            rect.center = (round(x_px), round(y_px))
            return rect
        points = [self._scale.to_px(x_mm, y_mm) for x_mm, y_mm in mark.points_mm]
        half_px = math.ceil(self._scale.length_px(mark.width_mm)) + 2
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        left, top = math.floor(min(xs)) - half_px, math.floor(min(ys)) - half_px
        right, bottom = math.ceil(max(xs)) + half_px, math.ceil(max(ys)) + half_px
        return pygame.Rect(left, top, right - left, bottom - top)

    def _draw(self, mark: Mark) -> None:
        if isinstance(mark, Line):
            self._draw_line(mark)
            return
        picture = self._picture(mark)
        x_px, y_px = self._scale.to_px(mark.x_mm, mark.y_mm)
        where = picture.get_rect(center=(round(x_px), round(y_px)))
        self._surface.blit(picture, where)

    def _draw_line(self, line: Line) -> None:
        colour = LOOKS[line.role].colour
        half_px = max(1.0, self._scale.length_px(line.width_mm) / 2)
        points = [self._scale.to_px(x_mm, y_mm) for x_mm, y_mm in line.points_mm]
        for (ax, ay), (bx, by) in itertools.pairwise(points):
            length = math.hypot(bx - ax, by - ay) or 1.0
            nx, ny = -(by - ay) / length * half_px, (bx - ax) / length * half_px
            corners = [
                (ax + nx, ay + ny),
                (bx + nx, by + ny),
                (bx - nx, by - ny),
                (ax - nx, ay - ny),
            ]
            pygame.draw.polygon(self._surface, colour, corners)
            pygame.draw.aalines(self._surface, colour, True, corners)
        for x_px, y_px in points[1:-1]:
            pygame.draw.circle(self._surface, colour, (x_px, y_px), half_px)

    def _picture(self, disc: Disc) -> pygame.Surface:
        key = Disc(0.0, 0.0, disc.r_mm, disc.role, disc.label, disc.filled)
        if key not in self._pictures:
            self._pictures[key] = self._paint(key)
        return self._pictures[key]

    def _paint(self, disc: Disc) -> pygame.Surface:
        look = LOOKS[disc.role]
        r_px = self._scale.length_px(disc.r_mm)
        size = 2 * (math.ceil(r_px) + 2)
        large = pygame.Surface((size * OVERSAMPLE, size * OVERSAMPLE), pygame.SRCALPHA)
        large.fill((*look.colour, 0))
        ring_px = max(2.0, self._scale.length_px(RING_MM)) * OVERSAMPLE
        _form(large, look, r_px * OVERSAMPLE, ring_px, filled=disc.filled)
        picture = pygame.transform.smoothscale(large, (size, size))
        if disc.label:
            solid = disc.filled and look.form in ("solid", "cross")
            self._label(picture, disc, BACKGROUND if solid else TEXT)
        return picture

    def _label(self, picture: pygame.Surface, disc: Disc, colour: Colour) -> None:
        share = LABEL_SHARE if len(disc.label) < 3 else 0.8 * LABEL_SHARE
        font = pygame.font.Font(
            None, max(12, round(share * 1.4 * self._scale.length_px(disc.r_mm)))
        )
        text = font.render(disc.label, True, colour)
        picture.blit(text, text.get_rect(center=picture.get_rect().center))


def _form(
    surface: pygame.Surface, look: Look, r_px: float, ring_px: float, *, filled: bool
) -> None:
    """Draw the form of a role: what tells it apart without colour."""
    centre = surface.get_rect().center
    width = round(ring_px)
    form = look.form if filled else "ring"
    if form in ("solid", "cross"):
        pygame.draw.circle(surface, look.colour, centre, r_px)
    else:
        pygame.draw.circle(surface, look.colour, centre, r_px, width)
    if form == "double ring":
        pygame.draw.circle(
            surface, look.colour, centre, r_px - 2.2 * ring_px, max(2, width // 2)
        )
    elif form == "dotted centre":
        pygame.draw.circle(surface, look.colour, centre, 0.45 * r_px)
    elif form == "cross":
        arm = 0.85 * r_px
        x, y = centre
        for sign in (1, -1):
            ends = ((x - arm, y - sign * arm), (x + arm, y + sign * arm))
            pygame.draw.line(surface, BACKGROUND, *ends, max(2, width // 3))
