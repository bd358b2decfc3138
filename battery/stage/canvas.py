"""Text, buttons and pictures of the pages, in millimetres."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import pygame

from battery.recording import Hand
from battery.stage.theme import BACKGROUND, BUTTON, BUTTON_EDGE, QUIET, STOP, TEXT, Colour
from battery.stage.window import Window

MARGIN_MM = 15.0
CAP_SHARE = 0.47  # height of a capital over the size of the toolkit's own font
OVERSAMPLE = 4
Place = Literal["left", "centre", "right"]


@dataclass(frozen=True, slots=True)
class Button:
    """Something to press; `place` is where it stands in the row at the foot of the page."""

    key: str
    text: str
    place: Place = "centre"
    colour: Colour = BUTTON


@dataclass(frozen=True, slots=True)
class StopArea:
    """The area of Stop, in millimetres and in pixels."""

    rect: pygame.Rect
    window: Window

    def contains_mm(self, x_mm: float, y_mm: float) -> bool:
        """Whether a place on the glass lies in it."""
        return self.rect.collidepoint(self.window.scale.to_px(x_mm, y_mm))

    def as_button(self) -> dict[str, Any]:
        """As other buttons are published."""
        return {"key": "stop", "text": "Stop", "rect_px": list(self.rect)}


class Canvas:
    """Draws on a window. The large profile has larger letters and buttons."""

    def __init__(self, window: Window, *, large: bool) -> None:
        self.window = window
        self.surface = window.surface
        self.text_mm = 8.0 if large else 6.0
        self.small_mm = 6.0 if large else 4.5
        self.button_mm = 30.0 if large else 20.0
        self._fonts: dict[int, pygame.font.Font] = {}

    def px(self, length_mm: float) -> int:
        """Whole pixels of a length."""
        return round(self.window.scale.length_px(length_mm))

    @property
    def margin_px(self) -> int:
        """Edge margin: 15 mm, less on a screen that has not that much to spare."""
        width_px, height_px = self.surface.get_size()
        return min(self.px(MARGIN_MM), width_px // 16, height_px // 14)

    def clear(self) -> None:
        """Empty the picture."""
        self.surface.fill(BACKGROUND)

    def font(self, cap_mm: float) -> pygame.font.Font:
        """Font whose capitals have this height; never under 9 pixels."""
        size = max(14, round(self.window.scale.length_px(cap_mm) / CAP_SHARE))
        if size not in self._fonts:
            self._fonts[size] = pygame.font.Font(None, size)
        return self._fonts[size]

    def text(
        self,
        lines: Sequence[str],
        *,
        top_px: int,
        cap_mm: float,
        colour: Colour = TEXT,
        left_px: int | None = None,
        width_px: int | None = None,
    ) -> int:
        """Draw paragraphs, wrapped, and return where the next thing may begin."""
        left = self.margin_px if left_px is None else left_px
        width = (
            self.surface.get_width() - left - self.margin_px if width_px is None else width_px
        )
        font = self.font(cap_mm)
        for line in lines:
            for row in _wrap(line, font, width):
                self.surface.blit(font.render(row, True, colour), (left, top_px))
                top_px += round(1.15 * font.get_linesize())
            top_px += round(0.35 * font.get_linesize())
        return top_px

    def buttons(self, buttons: Sequence[Button]) -> dict[str, pygame.Rect]:
        """Draw a row of buttons at the foot and return where they are."""
        width_px, height_px = self.surface.get_size()
        font = self.font(self.small_mm)
        tall = self.px(self.button_mm)
        top = height_px - self.margin_px - tall
        rects: dict[str, pygame.Rect] = {}
        for button in buttons:
            wide = max(round(1.9 * tall), font.size(button.text)[0] + tall)
            left = {
                "left": self.margin_px,
                "centre": (width_px - wide) // 2,
                "right": width_px - self.margin_px - wide,
            }[button.place]
            rects[button.key] = pygame.Rect(left, top, wide, tall)
            self._button(rects[button.key], button.text, button.colour)
        return rects

    def stop_area(self, hand: Hand | None) -> StopArea:
        """Return where Stop is: top corner away from the hand; at least 30 mm wide and high."""
        size = self.px(30.0)
        left = 0 if hand != "left" else self.surface.get_width() - size
        return StopArea(pygame.Rect(left, 0, size, size), self.window)

    def draw_stop(self, stop: StopArea) -> None:
        """Draw Stop; the whole area counts, its picture is a little smaller."""
        inset = max(2, self.px(2.0))
        self._button(stop.rect.inflate(-2 * inset, -2 * inset), "Stop", STOP)

    def _button(self, rect: pygame.Rect, text: str, colour: Colour) -> None:
        radius = max(4, rect.height // 6)
        pygame.draw.rect(self.surface, colour, rect, border_radius=radius)
        pygame.draw.rect(self.surface, BUTTON_EDGE, rect, 2, border_radius=radius)
        picture = self.font(self.small_mm).render(text, True, TEXT)
        self.surface.blit(picture, picture.get_rect(center=rect.center))

    def hand(self, hand: Hand, centre_px: tuple[int, int], height_mm: float) -> pygame.Rect:
        """Draw an open hand seen from its back: the thumb points to the other hand."""
        height = self.px(height_mm)
        large = pygame.Surface((height * OVERSAMPLE, height * OVERSAMPLE), pygame.SRCALPHA)
        large.fill((*TEXT, 0))
        unit = height * OVERSAMPLE / 100
        for (ax, ay), (bx, by), wide in _FINGERS:
            _limb(large, (ax * unit, ay * unit), (bx * unit, by * unit), wide * unit)
        palm = pygame.Rect(
            round(30 * unit), round(48 * unit), round(42 * unit), round(44 * unit)
        )
        pygame.draw.rect(large, TEXT, palm, border_radius=round(15 * unit))
        picture = pygame.transform.smoothscale(large, (height, height))
        if hand == "left":
            picture = pygame.transform.flip(picture, True, False)
        where = picture.get_rect(center=centre_px)
        self.surface.blit(picture, where)
        return where

    def side_bar(self, hand: Hand) -> None:
        """Light up the edge of the screen on the side of the hand."""
        width_px, height_px = self.surface.get_size()
        wide = max(6, self.px(4.0))
        left = 0 if hand == "left" else width_px - wide
        top = self.px(34.0)
        pygame.draw.rect(self.surface, QUIET, (left, top, wide, height_px - top))


# A right hand from the back, in hundredths of its height: from, to, width.
_FINGERS = (
    ((36, 60), (32, 22), 9.5),
    ((46, 58), (45, 11), 10),
    ((56, 58), (58, 14), 10),
    ((66, 62), (71, 28), 9),
    ((36, 80), (15, 52), 11),
)


def _limb(
    surface: pygame.Surface, a: tuple[float, float], b: tuple[float, float], wide: float
) -> None:
    """Draw a thick stroke with round ends."""
    length = math.hypot(b[0] - a[0], b[1] - a[1])
    nx, ny = -(b[1] - a[1]) / length * wide / 2, (b[0] - a[0]) / length * wide / 2
    corners = [
        (a[0] + nx, a[1] + ny),
        (b[0] + nx, b[1] + ny),
        (b[0] - nx, b[1] - ny),
        (a[0] - nx, a[1] - ny),
    ]
    pygame.draw.polygon(surface, TEXT, corners)
    for end in (a, b):
        pygame.draw.circle(surface, TEXT, end, wide / 2)


def _wrap(line: str, font: pygame.font.Font, width_px: int) -> list[str]:
    rows: list[str] = []
    row = ""
    for word in line.split():
        longer = f"{row} {word}".strip()
        if row and font.size(longer)[0] > width_px:
            rows.append(row)
            row = word
        else:
            row = longer
    return [*rows, row]
