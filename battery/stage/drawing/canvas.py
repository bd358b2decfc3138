"""Where things stand on a page, and how words, buttons and Stop are drawn; in millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import pygame

from battery.recording import Hand
from battery.stage.drawing.lettering import LINE_PITCH, Lettering, Weight
from battery.stage.drawing.pagination import PARAGRAPH, fitting, height_px
from battery.stage.drawing.shapes import rounded
from battery.stage.screen.theme import Colour
from battery.stage.screen.window import Window

MARGIN_MM = 15.0  # nothing but Stop can be pressed nearer to the edge
TEXT_EDGE_MM = 8.0  # words may come nearer, as nobody presses them
HEAD_MM = (4.0, 31.0)  # a title's room from the upper edge: above what stands below the corners
STOP_MM = 30.0  # reaches into its corner: to miss it would be worse than to hit it
GAP_MM = 5.0
EDGE_LINE_MM = 2.0  # where the line at the upper edge stands
CHOICE_MM = 40.0  # least width of a choice
SIGN_MM = 11.0  # of plus and minus
BAR_MM = 3.0
INSET_MM = 2.0  # of what is drawn into a corner
CROSS_MM, CROSS_TOP_MM = 8.5, 3.0
LINE_MM = 0.6  # of outlines
WORDS_SHARE = 0.56  # of the width, beside a picture
FIT_STEP = 0.94
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


class Canvas:
    """Draws on a window. The large profile has larger letters and buttons."""

    def __init__(self, window: Window, *, large: bool) -> None:
        self.window = window
        self.surface = window.surface
        self.theme = window.theme
        self.sizes = (LARGE if large else DEFAULT).scaled(window.text_share)
        self.boxes: list[tuple[str, pygame.Rect]] = []  # what was drawn where, for tests
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

    def clear(self) -> None:
        """Empty the picture."""
        self.surface.fill(self.theme.background)
        self.boxes.clear()

    def empty(self, rect: pygame.Rect) -> None:
        """Empty a part of the picture."""
        self.surface.fill(self.theme.background, rect)
        self.boxes = [(kind, box) for kind, box in self.boxes if not rect.contains(box)]

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

    def words(
        self,
        paragraphs: Sequence[str],
        room: pygame.Rect,
        *,
        cap_mm: float,
        colour: Colour | None = None,
        weight: Weight = "regular",
        down: float = 0.0,
    ) -> int:
        """Draw wrapped paragraphs, smaller if they do not fit, but not below 4 mm.

        Parameters
        ----------
        down : float
            Share of the height that is left over which stays free above them: 0.5 puts them
            into the middle of their room.

        Returns
        -------
        int
            Bottom of what was drawn, px.
        """
        paragraphs = [self.say(paragraph) for paragraph in paragraphs]
        letters = self.lettering(cap_mm, weight)
        while not fitting(paragraphs, letters, room.size):
            if cap_mm <= DEFAULT.least:
                break
            cap_mm = max(cap_mm * FIT_STEP, DEFAULT.least)
            letters = self.lettering(cap_mm, weight)
        free_px = room.height - height_px(paragraphs, letters, room.width)
        top = room.top + max(round(down * free_px), 0)
        for paragraph in paragraphs:
            for row in letters.wrap(paragraph, room.width):
                picture = letters.picture(row, colour or self.theme.text)
                left = room.left
                if self.window.language.direction == "rtl":
                    left = room.right - picture.get_width()
                self.boxes.append(("words", self.surface.blit(picture, (left, top))))
                top += letters.pitch_px
            top += round(PARAGRAPH * letters.pitch_px)
        return top - (round(PARAGRAPH * letters.pitch_px) if paragraphs else 0)

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

    def row(self, text: str, slot: pygame.Rect, *, cap_mm: float) -> None:
        """Write one row of text into its place."""
        picture = self.lettering(cap_mm).picture(self.say(text), self.theme.text)
        place = picture.get_rect(topleft=slot.topleft)
        if self.window.language.direction == "rtl":
            place.right = slot.right
        self.boxes.append(("words", self.surface.blit(picture, place)))

    def fits(
        self,
        paragraphs: Sequence[str],
        room: pygame.Rect,
        *,
        cap_mm: float | None = None,
        weight: Weight = "regular",
    ) -> bool:
        """Whether paragraphs fit a room, by default at the least size."""
        said = [self.say(paragraph) for paragraph in paragraphs]
        letters = self.lettering(self.sizes.least if cap_mm is None else cap_mm, weight)
        return fitting(said, letters, room.size)

    def buttons(self, buttons: Sequence[Button]) -> dict[str, pygame.Rect]:
        """Draw a row of buttons at the foot and return where they are."""
        rects = {button.key: self.button_rect(button, len(buttons)) for button in buttons}
        for button in buttons:
            self.button(button, rects[button.key])
        return rects

    def button(self, button: Button, rect: pygame.Rect) -> None:
        """Draw a button into its place."""
        ground = self.theme.main if button.main else self.theme.panel
        ink = self.theme.on_main if button.main else self.theme.text
        self._panel(rect, button.text, ground, ink)

    def sign(self, rect: pygame.Rect, *, plus: bool) -> None:
        """Draw a minus or a plus on a button."""
        long, thick = self.px(SIGN_MM), max(3, self.px(SIGN_MM / 6))
        for size in ((long, thick), (thick, long))[: 2 if plus else 1]:
            bar = pygame.Rect((0, 0), size)
            bar.center = rect.center
            pygame.draw.rect(self.surface, self.theme.text, bar)

    def caption(self, text: str, room: pygame.Rect, ink: Colour | None = None) -> None:
        """Write a word on a button, or under a picture on one, in the middle of its room."""
        letters, rows = self._fitted(self.say(text), room.inflate(-self.px(3.0), 0))
        pitch_px = letters.pitch_px
        if len(rows) * pitch_px > room.height:  # rows may stand as close as letters are high
            pitch_px = max(room.height // len(rows), round(pitch_px / LINE_PITCH))
        for index, row in enumerate(rows):
            picture = letters.picture(row, ink or self.theme.text)
            middle = room.centery + round((index - (len(rows) - 1) / 2) * pitch_px)
            place = picture.get_rect(center=(room.centerx, middle))
            self.surface.blit(picture, place)
            box = place.inflate(0, pitch_px - place.height)
            self.boxes.append(("button words", box))

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

    def draw_help(self, rect: pygame.Rect, word: str) -> None:
        """Draw the way to the emergency page: a cross, and a word below it."""
        inset = max(2, self.px(INSET_MM))
        inner = rect.inflate(-2 * inset, -2 * inset)
        self._panel(inner, "", self.theme.panel, self.theme.text)
        arm, long = self.px(CROSS_MM / 3), self.px(CROSS_MM)
        cross = pygame.Rect(0, inner.top + self.px(CROSS_TOP_MM), long, long)
        cross.centerx = inner.centerx
        for size in ((long, arm), (arm, long)):
            bar = pygame.Rect((0, 0), size)
            bar.center = cross.center
            pygame.draw.rect(self.surface, self.theme.text, bar)
        self.boxes.append(("sign", cross))
        low = inner.bottom - self.px(1.0)
        room = pygame.Rect(inner.left, cross.bottom, inner.width, low - cross.bottom)
        self.caption(word, room)

    def edge_line(self, text: str, *, low: bool = False) -> None:
        """Write one small line at the upper edge between the corners, or at the lower edge.

        One that is too wide is left out.
        """
        head = self.head
        letters = self.lettering(DEFAULT.least)
        said = self.say(text)
        if said and letters.width_px(said) <= head.width:
            picture = letters.picture(said, self.theme.quiet)
            place = picture.get_rect(midtop=(head.centerx, self.px(EDGE_LINE_MM)))
            if low:
                place.bottom = self.surface.get_height()
            self.boxes.append(("words", self.surface.blit(picture, place)))

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

    def draw_say(self, rect: pygame.Rect) -> None:
        """Draw "say it again": a loudspeaker."""
        self._panel(rect, "", self.theme.panel, self.theme.text)
        unit, ink = rect.width / 20, self.theme.text
        x, y = rect.left + 4 * unit, rect.centery
        box = pygame.Rect(round(x), round(y - 2 * unit), round(3 * unit), round(4 * unit))
        pygame.draw.rect(self.surface, ink, box)
        cone = [(x + 3 * unit, y - 2 * unit), (x + 6 * unit, y - 5 * unit),
                (x + 6 * unit, y + 5 * unit), (x + 3 * unit, y + 2 * unit)]  # fmt: skip
        pygame.draw.polygon(self.surface, ink, cone)
        for r in (3, 5.5):
            arc = pygame.Rect(0, 0, round(2 * r * unit), round(2 * r * unit))
            arc.center = (round(x + 6.5 * unit), round(y))
            pygame.draw.arc(self.surface, ink, arc, -0.9, 0.9, max(2, round(0.9 * unit)))

    def draw_stop(self, stop: StopArea, word: str) -> None:
        """Draw Stop; the whole area counts, its picture is a little smaller."""
        inset = max(2, self.px(INSET_MM))
        rect = stop.rect.inflate(-2 * inset, -2 * inset)
        self._panel(rect, word, self.theme.stop, self.theme.on_stop)

    def _panel(self, rect: pygame.Rect, text: str, ground: Colour, ink: Colour) -> None:
        radius = min(rect.height // 4, self.px(4.0))
        line = max(2, self.px(LINE_MM))
        rounded(self.surface, self.theme.edge, rect, radius)
        inside = rect.inflate(-2 * line, -2 * line)
        rounded(self.surface, ground, inside, max(1, radius - line))
        if text:  # else a picture comes on it
            self.caption(text, inside, ink)

    def _fitted(self, text: str, room: pygame.Rect) -> tuple[Lettering, list[str]]:
        """Return letters and rows of a text on a button, smaller if they do not fit.

        A word that is too wide in the smallest letters, too, is parted.
        """
        cap_mm = self.sizes.button_text
        while True:
            letters = self.lettering(cap_mm, "strong")
            rows = letters.wrap(text, room.width)
            widest = max(letters.width_px(row) for row in rows)
            if widest <= room.width and len(rows) * letters.pitch_px <= room.height:
                return letters, rows
            if cap_mm <= DEFAULT.least:
                break
            cap_mm = max(cap_mm * FIT_STEP, DEFAULT.least)
        parts = [part for word in text.split() for part in letters.parted(word, room.width)]
        return letters, letters.wrap(" ".join(parts), room.width)

    def lift(self, rect: pygame.Rect, *, pressed: bool) -> None:
        """Show that a button is pressed, or no more: by its outline."""
        line = max(2, self.px(0.6))
        colour = self.theme.text if pressed else self.theme.background
        around = rect.inflate(2 * line, 2 * line)
        radius = min(rect.height // 4, self.px(4.0)) + line
        pygame.draw.rect(self.surface, colour, around, line, border_radius=radius)
        pygame.display.update(around)

    def side_bar(self, hand: Hand) -> None:
        """Light up the edge of the screen on the side of the hand, below its corner."""
        width_px, height_px = self.surface.get_size()
        wide = max(5, self.px(BAR_MM))
        left = 0 if hand == "left" else width_px - wide
        top = self.px(STOP_MM)
        pygame.draw.rect(self.surface, self.theme.main, (left, top, wide, height_px - top))
