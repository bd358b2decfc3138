"""The tablet's start page, with a picture for everybody, and the page of one person."""

from __future__ import annotations

from dataclasses import dataclass

import pygame

from battery.people import PICTURES
from battery.stage.drawing.avatars import token_picture
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.places import GAP_MM, Button
from battery.stage.pages.page import TextPage
from battery.stage.pages.presses import Presses

AT_ONCE = 6  # people on one page
MORE = "more people"
CAPTION_MM = 12.0
INSET_MM = 3.0
PICTURE_SHARE = 0.4  # of the width, beside the choices of a person


@dataclass
class PeoplePage(TextPage):
    """Pictures as buttons, each with what the person is called.

    Parameters
    ----------
    pictures : dict of str to str
        Names of pictures by the key of their choice; a choice without one has words alone.
    """

    pictures: dict[str, str] | None = None

    def content(self, canvas: Canvas, presses: Presses) -> None:
        """Draw the choices, each picture above its words."""
        inset = canvas.px(INSET_MM)
        for choice, rect in zip(self.choices, self._cells(canvas), strict=True):
            name = (self.pictures or {}).get(choice.key)
            if name is None:
                self._put(canvas, presses, choice, rect)
                continue
            self._put(canvas, presses, Button(choice.key, "", main=False), rect)
            self._words[choice.key] = choice.text
            low = pygame.Rect(rect.left, 0, rect.width, canvas.px(CAPTION_MM))
            low.bottom = rect.bottom - inset
            side = min(rect.width - 2 * inset, low.top - rect.top - inset)
            picture = token_picture(canvas, PICTURES.index(name), side)
            top = rect.top + inset
            canvas.surface.blit(picture, picture.get_rect(midtop=(rect.centerx, top)))
            canvas.caption(choice.text, low)

    def lowest_px(self, canvas: Canvas, lowest_px: int) -> int:
        """No words stand between title and pictures."""
        del canvas
        return lowest_px

    def _cells(self, canvas: Canvas) -> list[pygame.Rect]:
        room = canvas.body
        room.height = canvas.surface.get_height() - canvas.margin_px - room.top
        n_choices = len(self.choices)
        rows = 1 if n_choices <= 3 else 2
        columns = -(-n_choices // rows)
        if room.height > room.width:
            rows, columns = columns, rows
        return grid(canvas, room, columns, rows)[:n_choices]


@dataclass
class PersonPage(TextPage):
    """One person's picture, and beside it what there is to do.

    Parameters
    ----------
    token : str
        Name of the person's picture.
    """

    token: str = PICTURES[0]

    def content(self, canvas: Canvas, presses: Presses) -> None:
        """Draw the picture and the choices."""
        place, _ = self._rooms(canvas)
        side = min(place.size)
        picture = token_picture(canvas, PICTURES.index(self.token), side)
        canvas.surface.blit(picture, picture.get_rect(center=place.center))
        super().content(canvas, presses)

    def lowest_px(self, canvas: Canvas, lowest_px: int) -> int:
        """No words stand between title and choices."""
        del canvas
        return lowest_px

    def _cells(self, canvas: Canvas) -> list[pygame.Rect]:
        """Stack the choices, in two columns where a single one would make them too low."""
        _, room = self._rooms(canvas)
        n_choices = len(self.choices)
        least = canvas.px(canvas.sizes.button) + canvas.px(GAP_MM)
        columns = 1 if n_choices * least <= room.height + canvas.px(GAP_MM) else 2
        return grid(canvas, room, columns, -(-n_choices // columns))[:n_choices]

    def _rooms(self, canvas: Canvas) -> tuple[pygame.Rect, pygame.Rect]:
        """Return the room of the picture and that of the choices, on the side of the hand."""
        room, gap = canvas.body, canvas.px(GAP_MM)
        bottom = canvas.surface.get_height() - canvas.margin_px
        low = room.bottom if self.buttons else bottom
        if room.height > room.width:  # upright: one above the other
            tall = round(PICTURE_SHARE * (low - room.top))
            top = room.top + tall + gap
            return (
                pygame.Rect(room.left, room.top, room.width, tall),
                pygame.Rect(room.left, top, room.width, low - top),
            )
        wide = round(PICTURE_SHARE * room.width)
        place = pygame.Rect(room.left, room.top, wide, low - room.top)
        choices = pygame.Rect(0, room.top, room.width - wide - gap, bottom - room.top)
        choices.left = place.right + gap
        if self.used == "left":
            choices.left, place.right = room.left, room.right
        return place, choices


@dataclass
class MenuPage(TextPage):
    """Choices without words above them, as large as the page allows."""

    def _cells(self, canvas: Canvas) -> list[pygame.Rect]:
        room = canvas.body
        room.height = canvas.foot_px - canvas.px(GAP_MM) - room.top
        columns = 2 if room.height > room.width else 3
        return grid(canvas, room, columns, -(-len(self.choices) // columns))[
            : len(self.choices)
        ]


def grid(canvas: Canvas, room: pygame.Rect, columns: int, rows: int) -> list[pygame.Rect]:
    """Return equal places in a room, row by row."""
    gap = canvas.px(GAP_MM)
    wide = (room.width - (columns - 1) * gap) // columns
    tall = (room.height - (rows - 1) * gap) // rows
    return [
        pygame.Rect(room.left + c * (wide + gap), room.top + r * (tall + gap), wide, tall)
        for r in range(rows)
        for c in range(columns)
    ]


def leaf_of(codes: list[str], leaf: int) -> tuple[list[str], bool]:
    """Return who stands on a leaf of the start page, and whether pages are turned.

    Up to six people share one page; with more of them one place turns it, round and round.
    """
    if len(codes) <= AT_ONCE:
        return codes, False
    each = AT_ONCE - 1
    first = leaf % -(-len(codes) // each) * each
    return codes[first : first + each], True
