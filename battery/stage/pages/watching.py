"""Watching a task: its demonstration in the size in which it will be done."""

from __future__ import annotations

from dataclasses import dataclass

import pygame

from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.demonstration import Demonstration
from battery.stage.drawing.places import DEFAULT, GAP_MM, STOP_MM, TEXT_EDGE_MM
from battery.stage.pages.page import TextPage

NEAR_MM = 1.0  # what is shown has some room around it already
TITLE_MM = 6.5  # capitals of the one line at the upper edge, at most


@dataclass
class WatchPage(TextPage):
    """A demonstration under one line at the upper edge, as large as the glass has room for.

    It stands between the corners, or below them, wherever there is more room for it; on a
    tablet of 10 inches that is the size of the task.
    """

    def _head(self, canvas: Canvas) -> pygame.Rect:
        head = super()._head(canvas)
        cap_mm = min(TITLE_MM, canvas.sizes.title)
        return pygame.Rect(head.left, head.top, head.width, canvas.lettering(cap_mm).pitch_px)

    def _picture_room(self, canvas: Canvas, bottom_px: int) -> pygame.Rect:
        del bottom_px
        if not isinstance(self.picture, Demonstration):
            return super()._picture_room(canvas, canvas.head.bottom)
        picture, head, scale = self.picture, self._head(canvas), canvas.window.scale
        width_px, height_px = canvas.surface.get_size()
        gap, edge = canvas.px(GAP_MM), canvas.px(TEXT_EDGE_MM)
        top, low = head.bottom, canvas.foot_px - canvas.px(NEAR_MM)
        corner = canvas.px(STOP_MM) + gap
        buttons = [self._mirrored(button) for button in self.buttons]
        rooms = [
            pygame.Rect(head.left, top, head.width, low - top),
            pygame.Rect(edge, corner, width_px - 2 * edge, low - corner),
            canvas.beside_buttons(buttons, corner),
        ]
        near = canvas.px(2 * NEAR_MM)
        taken = [canvas.button_rect(b, len(buttons)).inflate(near, near) for b in buttons]
        taken += [pygame.Rect(0, 0, head.left, corner)]
        taken += [pygame.Rect(head.right, 0, width_px - head.right, corner)]
        for bottom in (
            low,
            height_px - edge // 2,
        ):  # across, if nothing is hit
            wide = pygame.Rect(edge, top, width_px - 2 * edge, bottom - top)
            if all(place.collidelist(taken) < 0 for place in picture.places(scale, wide)):
                rooms.append(wide)
        room = max(rooms, key=lambda room: picture.share(scale, room.size))
        # The hand comes from below, beside the buttons and above the line at the lower edge.
        spill = canvas.beside_buttons(buttons, room.bottom).clip(room.move(0, room.height))
        line_px = canvas.lettering(DEFAULT.least).pitch_px
        spill.height = max(min(spill.bottom, height_px - line_px) - room.bottom, 0)
        picture.spill = (
            spill if spill.top == room.bottom else pygame.Rect(room.bottomleft, (0, 0))
        )
        return room

    def _picture_boxes(
        self, canvas: Canvas, room: pygame.Rect
    ) -> list[tuple[str, pygame.Rect]]:
        if not isinstance(self.picture, Demonstration):
            return super()._picture_boxes(canvas, room)
        return [("mark", place) for place in self.picture.places(canvas.window.scale, room)]
