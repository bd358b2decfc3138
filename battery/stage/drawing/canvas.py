"""How words, buttons and Stop are drawn into their places."""

from __future__ import annotations

from collections.abc import Sequence

import pygame

from battery.recording import Hand
from battery.stage.drawing.lettering import LINE_PITCH, Lettering, Weight
from battery.stage.drawing.pagination import PARAGRAPH, fitting, height_px
from battery.stage.drawing.places import DEFAULT, STOP_MM, Button, Places, StopArea
from battery.stage.drawing.shapes import rounded
from battery.stage.screen.theme import Colour
from battery.stage.screen.window import Window

EDGE_LINE_MM = 2.0  # where the line at the upper edge stands
SIGN_MM = 11.0  # of plus and minus
BAR_MM = 3.0
INSET_MM = 2.0  # of what is drawn into a corner
CROSS_MM, CROSS_TOP_MM = 8.5, 3.0
LINE_MM = 0.6  # of outlines
FIT_STEP = 0.94


class Canvas(Places):
    """Draws on a window, each thing into its place."""

    def __init__(self, window: Window, *, large: bool) -> None:
        super().__init__(window, large=large)
        self.theme = window.theme
        self.boxes: list[tuple[str, pygame.Rect]] = []  # what was drawn where, for tests

    def clear(self) -> None:
        """Empty the picture."""
        self.surface.fill(self.theme.background)
        self.boxes.clear()

    def empty(self, rect: pygame.Rect) -> None:
        """Empty a part of the picture."""
        self.surface.fill(self.theme.background, rect)
        self.boxes = [(kind, box) for kind, box in self.boxes if not rect.contains(box)]

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
