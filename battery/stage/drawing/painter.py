"""From marks to pixels: anti-aliased, in millimetres, only what has changed.

Discs are drawn once, four times too large, and scaled down; a frame then only copies them.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import pygame

from battery.stage.drawing.lettering import Lettering
from battery.stage.drawing.shapes import OVERSAMPLE
from battery.stage.screen.scale import Scale
from battery.stage.screen.theme import FORMS, SOLID, Colour, Form, Theme
from tasks.contract import Disc, Line, Mark, Role

THIN_MM, RING_MM = 0.6, 1.5
MIN_PX = 2.0  # no outline is thinner
LABEL_SHARE = 1.1  # height of a capital over the radius of its disc
SMALL_LABEL_SHARE = 0.8  # for labels of two characters and more
RIM_MM, RIM_STEPS = 0.7, 12  # of a label
EDGE_PX = 2  # room around a disc for its soft edge


class Painter:
    """Draws marks on a surface and says which rectangles have changed.

    What is on the surface when it begins is the background of all marks.
    """

    def __init__(self, surface: pygame.Surface, scale: Scale, theme: Theme) -> None:
        self._surface = surface
        self._scale = scale
        self._theme = theme
        self._background = surface.copy()
        self._discs: dict[tuple[float, Role, bool], pygame.Surface] = {}
        self._labels: dict[tuple[str, float, Colour, Colour], pygame.Surface] = {}
        self._shown: tuple[Mark, ...] = ()

    def draw(self, marks: tuple[Mark, ...]) -> list[pygame.Rect]:
        """Draw `marks` in place of those drawn before; return the rectangles that changed."""
        if marks == self._shown:
            return []
        places = [(mark, self._rect(mark)) for mark in marks]
        after = set(marks)
        before = set(self._shown)
        dirty = apart(
            [self._rect(mark) for mark in self._shown if mark not in after]
            + [rect for mark, rect in places if mark not in before]
        )
        for rect in dirty:
            self._surface.set_clip(rect)
            self._surface.blit(self._background, rect, rect)
            met = [(mark, place) for mark, place in places if place.colliderect(rect)]
            for mark, place in met:
                self._draw(mark, place)
            for mark, place in met:  # last: nothing lies over a label
                if isinstance(mark, Disc) and mark.label:
                    label = self._label(mark)
                    self._surface.blit(label, label.get_rect(center=place.center))
        self._surface.set_clip(None)
        self._shown = marks
        return dirty

    def prepare(self, marks: Sequence[Mark]) -> None:
        """Draw ahead every form that discs of these sizes may take."""
        radii_mm = {mark.r_mm for mark in marks if isinstance(mark, Disc)}
        for r_mm, role, filled in itertools.product(radii_mm, FORMS, (True, False)):
            self._disc(r_mm, role, filled=filled)
        for mark in marks:
            if isinstance(mark, Disc) and mark.label:
                self._label(mark)

    def _rect(self, mark: Mark) -> pygame.Rect:
        if isinstance(mark, Disc):
            x_px, y_px = self._scale.to_px(mark.x_mm, mark.y_mm)
            reach_px = math.ceil(self._scale.length_px(mark.r_mm)) + EDGE_PX
            return pygame.Rect(
                round(x_px) - reach_px, round(y_px) - reach_px, 2 * reach_px, 2 * reach_px
            )
        points = [self._scale.to_px(x_mm, y_mm) for x_mm, y_mm in mark.points_mm]
        half_px = math.ceil(self._scale.length_px(mark.width_mm)) + EDGE_PX
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        left, top = math.floor(min(xs)) - half_px, math.floor(min(ys)) - half_px
        right, bottom = math.ceil(max(xs)) + half_px, math.ceil(max(ys)) + half_px
        return pygame.Rect(left, top, right - left, bottom - top)

    def _draw(self, mark: Mark, place: pygame.Rect) -> None:
        if isinstance(mark, Line):
            self._draw_line(mark)
            return
        self._surface.blit(self._disc(mark.r_mm, mark.role, filled=mark.filled), place)

    def _draw_line(self, line: Line) -> None:
        colour = self._theme.roles[line.role]
        half_px = max(MIN_PX / 2, self._scale.length_px(line.width_mm) / 2)
        points = [self._scale.to_px(x_mm, y_mm) for x_mm, y_mm in line.points_mm]
        for a, b in itertools.pairwise(points):
            corners = beam(a, b, half_px)
            pygame.draw.polygon(self._surface, colour, corners)
            pygame.draw.aalines(self._surface, colour, True, corners)
        for point in points[1:-1]:
            pygame.draw.circle(self._surface, colour, point, half_px)

    def _disc(self, r_mm: float, role: Role, *, filled: bool) -> pygame.Surface:
        key = (r_mm, role, filled)
        if key not in self._discs:
            self._discs[key] = self._paint(r_mm, role, filled=filled)
        return self._discs[key]

    def _paint(self, r_mm: float, role: Role, *, filled: bool) -> pygame.Surface:
        r_px = self._scale.length_px(r_mm)
        size = 2 * (math.ceil(r_px) + EDGE_PX)
        colour = self._theme.roles[role]
        large = pygame.Surface((size * OVERSAMPLE, size * OVERSAMPLE), pygame.SRCALPHA)
        large.fill((*colour, 0))
        pen = _Pen(
            large,
            colour,
            r_px * OVERSAMPLE,
            thin_px=max(MIN_PX, self._scale.length_px(THIN_MM)) * OVERSAMPLE,
            ring_px=max(MIN_PX, self._scale.length_px(RING_MM)) * OVERSAMPLE,
        )
        pen.form(FORMS[role], self._theme.background, filled=filled)
        return pygame.transform.smoothscale(large, (size, size))

    def _label(self, disc: Disc) -> pygame.Surface:
        """Return a label with a rim in the colour it stands on, if a chip comes under it."""
        solid = disc.filled and FORMS[disc.role] in SOLID
        ground = self._theme.roles[disc.role] if solid else self._theme.background
        colour = self._theme.background if solid else self._theme.text
        key = (disc.label, disc.r_mm, colour, ground)
        if key not in self._labels:
            share = LABEL_SHARE if len(disc.label) == 1 else SMALL_LABEL_SHARE
            letters = Lettering(share * self._scale.length_px(disc.r_mm), weight="strong")
            rim_px = max(1, round(self._scale.length_px(RIM_MM)))
            self._labels[key] = rimmed(letters, disc.label, colour, ground, rim_px)
        return self._labels[key]


def rimmed(
    letters: Lettering, text: str, colour: Colour, ground: Colour, rim_px: int
) -> pygame.Surface:
    """Return letters with a rim around them, no larger than they are."""
    picture = letters.picture(text, colour)
    ink = picture.get_bounding_rect()
    label = pygame.Surface(ink.inflate(2 * rim_px, 2 * rim_px).size, pygame.SRCALPHA)
    label.fill((*ground, 0))
    around = letters.picture(text, ground)
    for turn in range(RIM_STEPS):
        x, y = pygame.Vector2(rim_px, 0).rotate(360 * turn / RIM_STEPS)
        label.blit(around, (rim_px + round(x), rim_px + round(y)), ink)
    label.blit(picture, (rim_px, rim_px), ink)
    return label


class _Pen:
    """Draws the form of a role in the middle of a surface: what tells it without colour."""

    def __init__(
        self,
        surface: pygame.Surface,
        colour: Colour,
        r_px: float,
        *,
        thin_px: float,
        ring_px: float,
    ) -> None:
        self._surface = surface
        self._colour = colour
        self._centre = surface.get_rect().center
        self._r_px = r_px
        self._thin_px = thin_px
        self._ring_px = ring_px

    def form(self, form: Form, ground: Colour, *, filled: bool) -> None:
        """Draw `form`; a solid one that is not filled is only its outline."""
        r_px, ring_px = self._r_px, self._ring_px
        if form == "diamond":
            self._diamond(0 if filled else ring_px)
            return
        if form in SOLID:
            self._round(r_px, 0 if filled else ring_px)
            if form == "ringed disc" and filled:
                self._round(0.86 * r_px, 0.12 * r_px, ground)
            return
        self._round(
            r_px,
            {"thin ring": self._thin_px, "broad ring": 0.42 * r_px}.get(form, ring_px),
        )
        if form == "double ring":
            self._round(r_px - 2.2 * ring_px, self._thin_px)
        elif form == "dotted ring":
            self._round(0.36 * r_px, 0)

    def _round(self, r_px: float, width_px: float, colour: Colour | None = None) -> None:
        width = round(width_px)
        if r_px >= 1:
            pygame.draw.circle(self._surface, colour or self._colour, self._centre, r_px, width)

    def _diamond(self, width_px: float) -> None:
        (x, y), r_px = self._centre, self._r_px
        corners = [(x, y - r_px), (x + r_px, y), (x, y + r_px), (x - r_px, y)]
        pygame.draw.polygon(self._surface, self._colour, corners, round(width_px))


def beam(
    a: tuple[float, float], b: tuple[float, float], half_px: float
) -> list[tuple[float, float]]:
    """Corners of the bar from `a` to `b`, `half_px` to either side."""
    length = math.hypot(b[0] - a[0], b[1] - a[1]) or 1.0
    nx, ny = -(b[1] - a[1]) / length * half_px, (b[0] - a[0]) / length * half_px
    return [
        (a[0] + nx, a[1] + ny),
        (b[0] + nx, b[1] + ny),
        (b[0] - nx, b[1] - ny),
        (a[0] - nx, a[1] - ny),
    ]


def apart(rects: Sequence[pygame.Rect]) -> list[pygame.Rect]:
    """Join rectangles that overlap, until none do: soft edges must not be drawn twice."""
    done: list[pygame.Rect] = []
    for rect in rects:
        joined = rect.copy()
        while (index := joined.collidelist(done)) >= 0:
            joined.union_ip(done.pop(index))
        done.append(joined)
    return done
