"""Asking which hand: two pictures to press, each on its own side."""

from __future__ import annotations

from dataclasses import dataclass

import pygame

from battery.recording import HANDS
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.hands import hand_picture
from battery.stage.drawing.places import GAP_MM, Button
from battery.stage.language import texts
from battery.stage.pages.page import TextPage
from battery.stage.pages.presses import Presses

CAPTION_MM = 12.0


@dataclass
class WhichHandPage(TextPage):
    """A hand on the left, a hand on the right, never mirrored; below, not being sure."""

    def content(self, canvas: Canvas, presses: Presses) -> None:
        """Draw the two hands as buttons."""
        body, gap = canvas.body, canvas.px(GAP_MM)
        wide = (body.width - 3 * gap) // 2
        for hand in HANDS:
            rect = pygame.Rect(body.left, body.top, wide, body.height)
            if hand == "right":
                rect.right = body.right
            self._put(canvas, presses, Button(hand, "", main=False), rect)
            self._words[hand] = texts.HANDS[hand]
            picture_px = rect.height - canvas.px(CAPTION_MM + 4.0)
            picture = hand_picture(canvas, hand, picture_px, lit=True)
            place = picture.get_rect(midtop=(rect.centerx, rect.top + canvas.px(2.0)))
            canvas.surface.blit(picture, place)
            caption = pygame.Rect(rect.left, place.bottom, rect.width, canvas.px(CAPTION_MM))
            canvas.caption(texts.HANDS[hand], caption)
