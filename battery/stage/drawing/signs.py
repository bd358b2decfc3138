"""Small pictures of what a page asks or says, so that it is known before it is read."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import pygame

from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.shapes import Point, Sketch
from battery.stage.screen.theme import Theme

HIGHEST_MM = 55.0
SIDE = 100.0  # units of a sign's side
LINE = 3.0
FACE: tuple[Point, float] = ((50, 52), 36)


class Sign:
    """A sign beside the words of a page; it does not move.

    Parameters
    ----------
    name : str
        One of `SIGNS`.
    """

    beside = True

    def __init__(self, name: str) -> None:
        self._name = name

    def begin(self, canvas: Canvas, room: pygame.Rect) -> None:
        """Draw it into its room."""
        side_px = min(canvas.px(HIGHEST_MM), room.width, room.height)
        picture = sign_picture(canvas.theme, self._name, side_px)
        canvas.surface.blit(picture, picture.get_rect(center=room.center))

    def step(self, shown_s: float) -> list[pygame.Rect]:
        """Nothing moves."""
        del shown_s
        return []


def sign_picture(theme: Theme, name: str, side_px: int) -> pygame.Surface:
    """Return the sign of that name."""
    sketch = Sketch(SIDE, SIDE, side_px / SIDE, theme.background)
    SIGNS[name](sketch, theme)
    return sketch.picture()


def _face(sketch: Sketch, theme: Theme) -> None:
    centre, radius = FACE
    sketch.disc(centre, radius, theme.contour)
    sketch.disc(centre, radius - LINE, theme.shade)


def _dizzy(sketch: Sketch, theme: Theme) -> None:
    _face(sketch, theme)
    for x in (37, 63):
        for radius, degrees in ((8, (0, 300)), (4, (120, 420))):
            sketch.curve((x, 48), radius, degrees, 2, theme.contour)
    sketch.curve((50, 74), 7, (200, 340), LINE, theme.contour)
    for start, end in ((200, 255), (285, 340)):
        sketch.curve((50, 50), 46, (start, end), LINE, theme.main)


def _sight(sketch: Sketch, theme: Theme) -> None:
    for x, line in ((60, theme.edge), (42, theme.text)):
        for y, degrees in ((76, (225, 315)), (24, (45, 135))):
            sketch.curve((x, y), 37, degrees, LINE, line)
    sketch.disc((60, 50), 11, theme.edge)
    sketch.disc((42, 50), 12, theme.text)
    sketch.disc((42, 50), 9.5, theme.main)
    sketch.disc((42, 50), 4.5, theme.on_main)


def _pain(sketch: Sketch, theme: Theme) -> None:
    bolt = ((58, 6), (26, 56), (47, 56), (38, 94), (76, 40), (54, 40))
    sketch.shape(bolt, theme.roles["wrong"], contour=theme.text, wide=LINE)
    for a, b in (((18, 22), (10, 14)), ((14, 40), (4, 38)), ((82, 62), (92, 66)),
                 ((78, 80), (86, 88)), ((84, 22), (92, 14))):  # fmt: skip
        sketch.line((a, b), LINE, theme.text)


def _tired(sketch: Sketch, theme: Theme) -> None:
    _face(sketch, theme)
    for x in (36, 64):
        sketch.curve((x, 44), 8, (20, 160), LINE, theme.contour)
    sketch.limb((50, 70), (50, 73), 10, 10, theme.contour)
    for (x, y), wide in (((80, 8), 14), ((66, 2), 8)):
        points = ((x, y), (x + wide, y), (x, y + wide), (x + wide, y + wide))
        sketch.line(points, LINE, theme.text)


def _arm(sketch: Sketch, theme: Theme) -> None:
    for grow, colour in ((2 * LINE, theme.contour), (0.0, theme.shade)):
        sketch.limb((28, 92), (46, 46), 17 + grow, 14 + grow, colour)
        sketch.disc((49, 36), 13 + grow / 2, colour)
        for tip in ((36, 16), (48, 10), (60, 13), (68, 22)):
            sketch.limb((49, 36), tip, 8 + grow, 6.5 + grow, colour)
    for x, way in ((18, 1), (82, -1)):
        for n in range(2):
            at = x - way * 9 * n
            points = [(at, 18.0 + 8 * k) if k % 2 else (at + way * 5, 18.0 + 8 * k)
                      for k in range(5)]  # fmt: skip
            sketch.line(points, LINE, theme.text)


def _sick(sketch: Sketch, theme: Theme) -> None:
    _face(sketch, theme)
    for x in (36, 64):
        sketch.line(((x - 6, 42), (x + 6, 46)), LINE, theme.contour)
    points = [(34.0 + 4 * k, 70.0 + (3 if k % 2 else -3)) for k in range(9)]
    sketch.line(points, LINE, theme.contour)
    drop = ((84, 30), (77, 42), (84, 49), (91, 42))
    sketch.shape(drop, theme.main, contour=theme.main, wide=4)


def _done(sketch: Sketch, theme: Theme) -> None:
    sketch.disc((50, 50), 42, theme.main)
    sketch.line(((30, 52), (45, 67), (72, 34)), 9, theme.on_main)


def _rest(sketch: Sketch, theme: Theme) -> None:
    handle = (70, 56)
    sketch.ring(handle, 17, 2 * LINE, theme.text)
    cup = ((20, 40), (70, 40), (66, 74), (60, 82), (30, 82), (24, 74))
    sketch.shape(cup, theme.main, contour=theme.main, wide=LINE)
    sketch.limb((14, 90), (78, 90), 5, 5, theme.text)
    for x in (34, 45, 56):
        for y, degrees in ((26, (90, 270)), (16, (-90, 90))):
            sketch.curve((x, y), 5, degrees, LINE, theme.text)


def _stop(sketch: Sketch, theme: Theme) -> None:
    cut = 26
    corners = [(cut, 6), (100 - cut, 6), (94, cut), (94, 100 - cut), (100 - cut, 94),
               (cut, 94), (6, 100 - cut), (6, cut)]  # fmt: skip
    points = [(float(x), float(y)) for x, y in corners]
    sketch.shape(points, theme.stop, contour=theme.text, wide=4)
    sketch.limb((50, 28), (50, 56), 11, 11, theme.on_stop)
    sketch.disc((50, 74), 6.5, theme.on_stop)


SIGNS: Mapping[str, Callable[[Sketch, Theme], None]] = {
    "dizziness": _dizzy,
    "vision": _sight,
    "pain": _pain,
    "fatigue": _tired,
    "arm": _arm,
    "sickness": _sick,
    "done": _done,
    "rest": _rest,
    "stop": _stop,
}
