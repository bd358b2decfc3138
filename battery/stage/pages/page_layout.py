"""How a page stands on the glass: its words, its picture, its answers and its buttons."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol

import pygame

from battery.recording import Hand
from battery.stage.drawing.canvas import FIT_STEP, Canvas
from battery.stage.drawing.pagination import fitting, height_px, leaves, parted, rows_of
from battery.stage.drawing.places import DEFAULT, GAP_MM, STOP_MM, Button
from battery.stage.drawing.signs import sign_picture
from battery.stage.language import texts
from battery.stage.language.languages import Said
from battery.stage.pages.presses import Presses
from battery.stage.screen.window import Window

TURN = "turn"  # the key that turns to the next leaf
SAY_AGAIN = "say again"  # the key of that button
TITLE_ROW = 1.85  # height of a row over that of its capitals
WORDS_SHARE = 0.55  # of the height, at most, above a picture
DOWN = 0.35  # of the height that words leave over stands above them


class Page(Protocol):
    """Something that is on the screen until it is done."""

    name: str

    def run(self, window: Window) -> Page | None:
        """Show it and return the page that follows; None ends the visit."""


class Picture(Protocol):
    """Something drawn in the middle of a page: below its words, or beside them."""

    beside: bool

    def begin(self, canvas: Canvas, room: pygame.Rect) -> None:
        """Draw it into its room for the first time."""

    def step(self, shown_s: float) -> list[pygame.Rect]:
        """Draw what it looks like after `shown_s` seconds; return what has changed."""


@dataclass
class PageLayout:
    """A title, a few lines, a picture or choices if need be, and buttons.

    Everything is given as for the right hand; for the left it is mirrored.

    Parameters
    ----------
    after : callable
        Gets the key of the button that was pressed and returns the next page.
    hand : {"left", "right"} or None
        The hand in use: its side lights up.
    side : {"left", "right"}
        The hand that presses when none is in use. Stop stands away from the hand.
    choices : tuple of Button
        Up to five answers, above the row of buttons.
    answers : collection of str
        Keys of buttons at the foot that answer something, too.
    brief : bool
        For who knows the page: only its title is spoken when it opens.
    where : str
        How far the visit is, on one line at the lower edge.
    stop : bool
        Whether Stop is shown; pressing it, or a key, gives the key "stop".
    help_page, staff_page : callable or None
        Returns the emergency page and the page of the staff, from where this page is come
        back to. Without the first the corner of help stays empty.
    large : bool
        The large profile.
    wait_s : float
        The buttons come after this time; until then `wait_line` is shown.
    sign : str
        A small picture before the title, one of `signs.SIGNS`; none if empty.
    calls : callable or None
        Asked once a second; the key it returns is taken as if that button was pressed.
    """

    name: str
    title: str
    lines: tuple[str, ...]
    buttons: tuple[Button, ...]
    after: Callable[[str], Page | None]
    hand: Hand | None = None
    side: Hand = "right"
    picture: Picture | None = None
    choices: tuple[Button, ...] = ()
    answers: tuple[str, ...] = ()
    brief: bool = False
    where: str = ""
    stop: bool = True
    help_page: Callable[[Page], Page] | None = None
    staff_page: Callable[[Page], Page] | None = None
    large: bool = False
    wait_s: float = 0.0
    wait_line: str = ""
    sign: str = ""
    calls: Callable[[], str] | None = None
    _words: dict[str, str] = field(default_factory=dict, init=False)
    _own_lines: tuple[str, ...] = field(default=(), init=False)
    _own_parts: tuple[str, ...] = field(default=(), init=False)  # paragraphs of a leaf
    _parts_mm: float = field(default=0.0, init=False)  # and how high their capitals are

    @property
    def used(self) -> Hand:
        """The hand that presses."""
        return self.hand or self.side

    def content(self, canvas: Canvas, presses: Presses) -> None:
        """Draw what stands between words and buttons and can be pressed."""
        for button, rect in zip(self.choices, self._cells(canvas), strict=True):
            self._put(canvas, presses, button, rect)

    def lowest_px(self, canvas: Canvas, lowest_px: int) -> int:
        """Return how far down words may go; `lowest_px` where only the foot is below."""
        if not self.choices:
            return lowest_px
        return self._cells(canvas)[0].top - canvas.px(GAP_MM)

    def _cells(self, canvas: Canvas) -> list[pygame.Rect]:
        return canvas.cells(len(self.choices), mirrored=self.used == "left")

    def step_buttons(
        self, canvas: Canvas, presses: Presses, minus: pygame.Rect, plus: pygame.Rect
    ) -> None:
        """Draw the two buttons that make something smaller and larger."""
        for key, rect in (("minus", minus), ("plus", plus)):
            self._put(canvas, presses, Button(key, "", main=False), rect)
            canvas.sign(rect, plus=key == "plus")

    def _leaves_before(self, canvas: Canvas) -> list[list[str]]:
        """Return the paragraphs of what is read on leaves of their own before the page.

        Only if words do not fit the page, neither in the size that a person has asked for
        nor, where none was asked for, in the least. The page has the end of them then.
        """
        room = self._room(canvas)
        if canvas.window.text_share > 1:
            fits = canvas.fits(self.lines, room, cap_mm=canvas.sizes.text)
        else:
            fits = canvas.fits(self.lines, room) or canvas.fits(
                self.lines, self._tight_room(canvas, room)
            )
        self._own_lines, self._own_parts = self.lines, ()
        if fits or not self.lines:
            return []
        self._own_lines, self._own_parts = (), ()
        said = [canvas.say(line) for line in self.lines]
        turn = (Button(TURN, texts.GO_ON, "right"),)
        found: list[list[str]] = []
        for cap_mm in self._sizes_mm(canvas):
            self._parts_mm = cap_mm
            widths_px = [slot.width for slot in self._slots(canvas, turn)]
            found = leaves(said, canvas.lettering(cap_mm), widths_px)
            if len(found) == 1:
                break
        plain = room.height == canvas.body.height and room.width == canvas.body.width
        own_px = [slot.width for slot in self._slots(canvas, self.buttons)]
        letters = canvas.lettering(self._parts_mm)
        if plain and rows_of(found[-1], letters, own_px) is not None:
            self._own_parts = tuple(found.pop())
        elif plain and (shared := parted(found[-1], letters, own_px)) is not None:
            found[-1], own = shared  # a title alone says nothing
            self._own_parts = tuple(own)
        return found

    @staticmethod
    def _sizes_mm(canvas: Canvas) -> list[float]:
        """Return the sizes that words on leaves may have, the one to take in the end last.

        Somebody who asked for large words gets them. For anybody else one leaf in smaller words
        comes before several.
        """
        whole = canvas.sizes.text
        if canvas.window.text_share > 1:
            return [whole]
        n_steps = int(math.log(canvas.sizes.least / whole, FIT_STEP))
        return [*(whole * FIT_STEP**step for step in range(n_steps + 1)), whole]

    def _slots(self, canvas: Canvas, buttons: Sequence[Button]) -> list[pygame.Rect]:
        """Return the places of rows in large words, down to the lower edge beside buttons."""
        low_px = canvas.foot_px - canvas.px(GAP_MM)
        taken: list[pygame.Rect] = []
        if not self.wait_s:
            low_px = canvas.surface.get_height() - canvas.lettering(DEFAULT.least).pitch_px
            taken = [
                canvas.button_rect(self._mirrored(button), len(buttons)) for button in buttons
            ]
        return canvas.rows(low_px, taken, cap_mm=self._parts_mm)

    def _room(self, canvas: Canvas) -> pygame.Rect:
        """Return where words stand below the corners."""
        room = canvas.body
        if self._beside:
            return canvas.beside_picture
        share_px = round(WORDS_SHARE * canvas.surface.get_height())
        lowest = room.bottom if self.picture is None else share_px
        lowest = self.lowest_px(canvas, lowest)
        return pygame.Rect(room.left, room.top, room.width, lowest - room.top)

    @property
    def _beside(self) -> bool:
        """Whether the picture stands beside the words."""
        return self.picture is not None and self.picture.beside

    def _head(self, canvas: Canvas) -> pygame.Rect:
        """Return where the title stands."""
        speaks = canvas.window.sound.speaks
        head = canvas.beside_say(self.used) if speaks else canvas.head
        if not self.stop:  # then nothing stands in the corner of Stop
            free_px = canvas.px(STOP_MM) + canvas.px(GAP_MM) - canvas.margin_px
            head.width += free_px
            head.left -= free_px if self.used == "right" else 0
        if self.sign:
            taken_px = head.height + canvas.px(GAP_MM)
            head.width -= taken_px
            head.left += taken_px if canvas.window.language.direction == "ltr" else 0
        return head

    def _draw_sign(self, canvas: Canvas, head: pygame.Rect) -> None:
        """Draw the small picture before the title."""
        place = pygame.Rect(head.topleft, (head.height, head.height))
        place.right = head.left - canvas.px(GAP_MM)
        if canvas.window.language.direction == "rtl":
            place.left = head.right + canvas.px(GAP_MM)
        canvas.surface.blit(sign_picture(canvas.theme, self.sign, place.width), place)
        canvas.boxes.append(("sign", place))

    def _heading(self, canvas: Canvas, head: pygame.Rect) -> str:
        """Return what stands in the head."""
        del canvas, head
        return self.title

    def _tight_room(self, canvas: Canvas, room: pygame.Rect) -> pygame.Rect:
        """Return where words stand below a title of one row, between the corners."""
        if self._beside:  # there they would lie over the picture
            return room
        head = self._head(canvas)
        top = head.top + canvas.px(TITLE_ROW * canvas.sizes.title)
        return pygame.Rect(head.left, top, head.width, room.bottom - top)

    def _tight_title(
        self, canvas: Canvas, heading: str, head: pygame.Rect, bottom_px: int
    ) -> tuple[float, int]:
        """Return how large a title and words below it, between the corners, may be alike.

        Where there is no such size the title has one row.

        Returns
        -------
        tuple of float and int
            Height of the title's capitals, mm, and of its room, px.
        """
        cap_mm, said = canvas.sizes.title, [canvas.say(line) for line in self._own_lines]
        while cap_mm >= canvas.sizes.least:
            strong = canvas.lettering(cap_mm, "strong")
            title = height_px([canvas.say(heading)], strong, head.width)
            letters = canvas.lettering(min(cap_mm, canvas.sizes.text))
            room = (head.width, bottom_px - head.top - title)
            if title <= head.height and fitting(said, letters, room):
                return cap_mm, title
            cap_mm *= FIT_STEP
        return canvas.sizes.title, canvas.px(TITLE_ROW * canvas.sizes.title)

    def _put(self, canvas: Canvas, presses: Presses, button: Button, rect: pygame.Rect) -> None:
        """Draw a button and let it be pressed."""
        canvas.button(button, rect)
        presses.areas[button.key] = rect
        self._words[button.key] = button.text

    def _mirrored(self, button: Button) -> Button:
        if self.used == "right" or button.place == "centre":
            return button
        return replace(button, place="left" if button.place == "right" else "right")

    def _draw(self, canvas: Canvas, presses: Presses) -> pygame.Rect:
        """Draw everything but the buttons; return the room of the buttons."""
        canvas.clear()
        self._words.clear()
        if self.stop:
            stop = canvas.stop_area(self.used)
            canvas.draw_stop(stop, texts.STOP)
            presses.areas["stop"] = stop.rect
        if self.help_page is not None:
            presses.areas["help"] = canvas.help_area(self.used)
            canvas.draw_help(presses.areas["help"], texts.HELP)
        self._words |= {"stop": texts.STOP, "help": texts.HELP, SAY_AGAIN: texts.SAY_AGAIN}
        head = self._head(canvas)
        if canvas.window.sound.speaks:
            say = canvas.say_area(self.used)
            canvas.draw_say(say)
            presses.areas[SAY_AGAIN] = say
        if self.sign:
            self._draw_sign(canvas, head)
        if self.hand is not None:
            canvas.side_bar(self.hand)
        width_px, low_px = canvas.surface.get_size()
        left = self._room(canvas)
        lines = self._own_lines
        tight = bool(lines) and not self._beside and not canvas.fits(lines, left)
        heading, title_mm = self._heading(canvas, head), canvas.sizes.title
        if tight:  # then words stand below the title, between corners
            title_mm, title_room_px = self._tight_title(canvas, heading, head, left.bottom)
            head.height = min(head.height, title_room_px)
        title_px = canvas.words(
            (heading,), head, cap_mm=title_mm, weight="strong", down=0.0 if tight else 0.5
        )
        if tight:
            left = pygame.Rect(head.left, title_px, head.width, left.bottom - title_px)
        above = self.picture is not None and not self._beside
        text_mm = min(canvas.sizes.text, title_mm)
        bottom = canvas.words(lines, left, cap_mm=text_mm, down=0.0 if above else DOWN)
        self._draw_parts(canvas)
        foot = pygame.Rect(0, canvas.foot_px, width_px, low_px - canvas.foot_px)
        if self.picture is not None:
            room = self._picture_room(canvas, bottom)
            canvas.boxes += self._picture_boxes(canvas, room)
            self.picture.begin(canvas, room)
        if self.wait_s > 0 and self.wait_line:
            words = foot.inflate(-2 * canvas.margin_px, 0)
            canvas.words(
                (self.wait_line,), words, cap_mm=canvas.sizes.small, colour=canvas.theme.quiet
            )
        pygame.display.flip()
        if self.wait_s > 0:
            self.publish(canvas, presses)
        return foot

    def _picture_room(self, canvas: Canvas, bottom_px: int) -> pygame.Rect:
        """Return where the picture stands: below words that end there, or beside them."""
        if self._beside:
            return canvas.beside_words
        buttons = [self._mirrored(button) for button in self.buttons]
        return canvas.beside_buttons(buttons, bottom_px + canvas.px(GAP_MM))

    def _picture_boxes(
        self, canvas: Canvas, room: pygame.Rect
    ) -> list[tuple[str, pygame.Rect]]:
        """Return what the picture takes of its room."""
        del canvas
        return [("picture", room)]

    def _draw_parts(self, canvas: Canvas) -> None:
        """Draw what has come from larger words to this page."""
        if not self._own_parts:
            return
        slots = self._slots(canvas, self.buttons)
        letters = canvas.lettering(self._parts_mm)
        rows = rows_of(self._own_parts, letters, [slot.width for slot in slots])
        for row, slot in zip(rows or (), slots, strict=False):
            canvas.row(Said(row), slot, cap_mm=self._parts_mm)

    def _show_buttons(self, canvas: Canvas, presses: Presses, foot: pygame.Rect) -> None:
        if self.wait_s > 0:
            canvas.empty(foot)
            if self.hand is not None:
                canvas.side_bar(self.hand)
        canvas.edge_line(self.where, low=True)
        self.content(canvas, presses)
        self.foot(canvas, presses)
        pygame.display.flip()
        self.publish(canvas, presses)

    def foot(self, canvas: Canvas, presses: Presses) -> None:
        """Draw the row of buttons."""
        n_buttons = 3 if self.choices else len(self.buttons)  # room for a fifth choice
        for button in map(self._mirrored, self.buttons):
            self._put(canvas, presses, button, canvas.button_rect(button, n_buttons))

    def publish(self, canvas: Canvas, presses: Presses) -> None:
        """Tell what is shown."""
        canvas.window.publisher.show(
            {
                "page": self.name,
                "running": False,
                "buttons": [
                    {"key": key, "text": canvas.say(self._words[key]), "rect_px": list(rect)}
                    for key, rect in presses.areas.items()
                ],
                "boxes": [[kind, list(rect)] for kind, rect in canvas.boxes],
                "discs": [],
                "tracks": [],
                "px_per_mm": round(canvas.window.scale.length_px(1.0), 4),
            }
        )
