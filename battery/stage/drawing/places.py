"""Where things stand on a page, in millimetres and in pixels of its window."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import pygame

from battery.recording import Hand
from battery.stage.drawing.lettering import Lettering, Weight
from battery.stage.screen.window import Window

MARGIN_MM = 15.0  # nothing but Stop can be pressed nearer to the edge
TEXT_EDGE_MM = 8.0  # words may come nearer, as nobody presses them
HEAD_MM = (4.0, 31.0)  # a title's room from the upper edge: above what stands below the corners
STOP_MM = 30.0  # reaches into its corner: to miss it would be worse than to hit it
GAP_MM = 5.0
CHOICE_MM = 40.0  # least width of a choice
WORDS_SHARE = 0.56  # of the width, beside a picture
Place = Literal["left", "centre", "right"]


@dataclass(frozen=True, slots=True)
class Sizes:
    """Heights of capitals and buttons of a profile, mm. `least` is as small as words get."""

    title: float
    text: float
    small: float
    button_text: float
    button: float
    least: float

    def scaled(self, share: float) -> Sizes:
        """Return them with words larger by a share; words shrink from there if they must."""
        words = {
            name: getattr(self, name) * share
            for name in ("title", "text", "small", "button_text")
        }
        return replace(self, **words)


DEFAULT = Sizes(title=8.0, text=6.5, small=5.0, button_text=5.5, button=20.0, least=4.0)
LARGE = Sizes(title=8.5, text=7.5, small=6.5, button_text=6.5, button=30.0, least=5.6)


@dataclass(frozen=True, slots=True)
class Button:
    """Something to press; `place` is where it stands in the row at the foot of the page.

    `main` is the button that leads on; it is the only filled one.
    """

    key: str
    text: str
    place: Place = "centre"
    main: bool = True


@dataclass(frozen=True, slots=True)
class StopArea:
    """The area of Stop, in pixels."""

    rect: pygame.Rect
    window: Window

    def contains_mm(self, x_mm: float, y_mm: float, *, slack_mm: float = 0.0) -> bool:
        """Whether a place on the glass lies in it, or at most `slack_mm` beside."""
        slack_px = round(self.window.scale.length_px(slack_mm))
        area = self.rect.inflate(2 * slack_px, 2 * slack_px)
        return bool(area.collidepoint(self.window.scale.to_px(x_mm, y_mm)))

    def as_button(self, word: str) -> dict[str, Any]:
        """As other buttons are published."""
        return {
            "key": "stop",
            "text": self.window.language.say(word),
            "rect_px": list(self.rect),
        }


class Places:
    """Where things stand on a window. The large profile has larger letters and buttons."""

    def __init__(self, window: Window, *, large: bool) -> None:
        self.window = window
        self.surface = window.surface
        self.sizes = (LARGE if large else DEFAULT).scaled(window.text_share)
        self._letterings: dict[tuple[float, Weight], Lettering] = {}

    def px(self, length_mm: float) -> int:
        """Whole pixels of a length."""
        return round(self.window.scale.length_px(length_mm))

    @property
    def margin_px(self) -> int:
        """Edge margin: 15 mm, less on a screen that has not that much to spare."""
        width_px, height_px = self.surface.get_size()
        return min(self.px(MARGIN_MM), width_px // 14, height_px // 9)

    def say(self, text: str) -> str:
        """Return a text in the language of the window."""
        return self.window.language.say(text)

    @property
    def head(self) -> pygame.Rect:
        """The room for a title: between the two corners."""
        width_px, height_px = self.surface.get_size()
        beside = self.px(STOP_MM) + self.px(GAP_MM)
        top = min(self.px(HEAD_MM[0]), height_px // 30)
        return pygame.Rect(beside, top, width_px - 2 * beside, self.px(HEAD_MM[1]) - top)

    @property
    def body(self) -> pygame.Rect:
        """The room below the corners and above the row of buttons."""
        top = self.px(STOP_MM) + self.px(GAP_MM)
        wide = self.surface.get_width() - 2 * self.margin_px
        return pygame.Rect(self.margin_px, top, wide, self.foot_px - self.px(GAP_MM) - top)

    @property
    def beside_picture(self) -> pygame.Rect:
        """The part of the body for words that stand beside a picture."""
        room = self.body
        wide = round(WORDS_SHARE * room.width)
        left = room.left
        if self.window.language.direction == "rtl":
            left = room.right - wide
        return pygame.Rect(left, room.top, wide, room.height)

    @property
    def beside_words(self) -> pygame.Rect:
        """The part of the body for a picture that stands beside words."""
        room, words = self.body, self.beside_picture
        gap = self.px(GAP_MM)
        left = room.left if words.right == room.right else words.right + gap
        return pygame.Rect(left, room.top, room.width - words.width - gap, room.height)

    @property
    def foot_px(self) -> int:
        """Top of the row of buttons."""
        return self.surface.get_height() - self.margin_px - self.px(self.sizes.button)

    def lettering(self, cap_mm: float, weight: Weight = "regular") -> Lettering:
        """Letters whose capitals have this height."""
        if (cap_mm, weight) not in self._letterings:
            self._letterings[cap_mm, weight] = Lettering(
                self.window.scale.length_px(cap_mm), self.window.language.direction, weight
            )
        return self._letterings[cap_mm, weight]

    def rows(
        self, low_px: int, taken: Sequence[pygame.Rect], *, cap_mm: float
    ) -> list[pygame.Rect]:
        """Return the places of rows of words below the corners, beside what is taken.

        Parameters
        ----------
        low_px : int
            No row reaches further down; one there is in any case.
        """
        edge, gap = self.px(TEXT_EDGE_MM), self.px(GAP_MM)
        pitch = self.lettering(cap_mm).pitch_px
        wide = self.surface.get_width() - 2 * edge
        rows = []
        for top in range(self.body.top, max(low_px - pitch, self.body.top) + 1, pitch):
            row = pygame.Rect(edge, top, wide, pitch)
            for rect in taken:
                around = rect.inflate(2 * gap, 0)
                if not row.colliderect(around):
                    continue
                if around.left - row.left >= row.right - around.right:
                    row.width = max(around.left - row.left, 0)
                else:
                    row.width, row.left = max(row.right - around.right, 0), around.right
            rows.append(row)
        return rows

    def cells(self, n_choices: int, *, mirrored: bool = False) -> list[pygame.Rect]:
        """Return the places of up to five choices, above the row at the foot.

        None of them lies where a page has the button that leads on, so that the second tap of
        two answers nothing. On a low screen a fifth stands in the middle of the foot.
        """
        gap, tall = self.px(GAP_MM), self.px(self.sizes.button)
        width_px, height_px = self.surface.get_size()
        room = width_px - 2 * self.margin_px
        fit = max(1, (room + gap) // (self.px(CHOICE_MM) + gap))
        upright = height_px > width_px
        columns = min(2 if upright and n_choices > 2 else 4, fit, max(n_choices, 3))
        wide = (room - (columns - 1) * gap) // columns
        lefts = [self.margin_px + n * (wide + gap) for n in range(columns)]
        first = lefts[columns - n_choices :] if n_choices < columns else lefts
        if mirrored:
            first = [width_px - left - wide for left in first]
        rows = -(-n_choices // columns)
        above = rows if upright else 1
        top = self.foot_px - above * (tall + gap)
        places = [
            pygame.Rect(left, top + row * (tall + gap), wide, tall)
            for row in range(above)
            for left in first
        ]
        if n_choices > len(places):
            places.append(pygame.Rect((width_px - wide) // 2, self.foot_px, wide, tall))
        return places[:n_choices]

    def button_rect(self, button: Button, n_buttons: int) -> pygame.Rect:
        """Return the place of a button in a row of so many."""
        width_px = self.surface.get_width()
        tall = self.px(self.sizes.button)
        room = width_px - 2 * self.margin_px - self.px(GAP_MM) * (n_buttons - 1)
        words = self.lettering(self.sizes.button_text, "strong").width_px(self.say(button.text))
        wide = min(max(2 * tall, words + tall), room // n_buttons)
        left = {
            "left": self.margin_px,
            "centre": (width_px - wide) // 2,
            "right": width_px - self.margin_px - wide,
        }[button.place]
        return pygame.Rect(left, self.foot_px, wide, tall)

    def beside_buttons(self, buttons: Sequence[Button], top_px: int) -> pygame.Rect:
        """Return the room for a picture from `top_px` down: beside the buttons, or above them.

        Above them where one stands in the middle, or where they leave less width than height.
        """
        width_px, height_px = self.surface.get_size()
        edge, gap = self.px(TEXT_EDGE_MM), self.px(GAP_MM)
        left, right = edge, width_px - edge
        above = pygame.Rect(left, top_px, right - left, max(self.foot_px - gap - top_px, 1))
        for button in buttons:
            own = self.button_rect(button, len(buttons))
            if button.place == "left":
                left = max(left, own.right + gap)
            elif button.place == "right":
                right = min(right, own.left - gap)
            else:
                return above
        tall = max(height_px - edge - top_px, 1)
        if right - left < min(above.size):
            return above
        return pygame.Rect(left, top_px, right - left, tall)

    def stop_area(self, hand: Hand | None) -> StopArea:
        """Return where Stop is: the top corner away from the hand."""
        size = self.px(STOP_MM)
        left = 0 if hand != "left" else self.surface.get_width() - size
        return StopArea(pygame.Rect(left, 0, size, size), self.window)

    def help_area(self, hand: Hand | None) -> pygame.Rect:
        """Return where help is: the other top corner, across from Stop."""
        return self.stop_area("right" if hand == "left" else "left").rect

    def say_area(self, hand: Hand | None) -> pygame.Rect:
        """Return where "say it again" is: beside help, its foot as deep as the corners'."""
        size, edge = self.px(self.sizes.button), self.px(STOP_MM) + self.px(GAP_MM)
        left = edge if hand == "left" else self.surface.get_width() - edge - size
        return pygame.Rect(left, self.px(STOP_MM) - size, size, size)

    def beside_say(self, hand: Hand | None) -> pygame.Rect:
        """Return the room for a title where "say it again" is shown."""
        head, taken = self.head, self.px(self.sizes.button) + self.px(GAP_MM)
        left = head.left + taken if hand == "left" else head.left
        return pygame.Rect(left, head.top, head.width - taken, head.height)
