"""Pages: each draws itself, takes contacts and returns the page that follows.

Where things stand is in `page_layout`, how presses are taken in `presses`, and how one page
follows another in `following`.
"""

from __future__ import annotations

from dataclasses import dataclass

import pygame

from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.language.languages import Said
from battery.stage.language.speech import files_of
from battery.stage.pages.live import FRAMES_PER_S
from battery.stage.pages.page_layout import SAY_AGAIN, TURN, Page, PageLayout, Picture
from battery.stage.pages.presses import Presses
from battery.stage.screen.pointer import Read
from battery.stage.screen.window import Window
from tasks.contract import NS_PER_S

__all__ = ["SAY_AGAIN", "Leaf", "Left", "Page", "Picture", "TextPage"]

FRAME_NS = NS_PER_S // FRAMES_PER_S
NO_BREAK = "\u00a0"
ANEW = "anew"  # stands for no button: the page is laid out again


class Left(Exception):  # noqa: N818  # not an error: the person left the window
    """The window was closed on a page."""


@dataclass
class TextPage(PageLayout):
    """A page that stays until a button is pressed; `PageLayout` names its fields."""

    def run(self, window: Window) -> Page | None:
        """Show the page until a button is pressed."""
        try:
            key = self._answer(window)
        finally:
            window.sound.hush()
        if key == ANEW:
            return self
        if key == "help" and self.help_page is not None:
            return self.help_page(self)
        if key == "staff" and self.staff_page is not None:
            return self.staff_page(self)
        return self.after(key)

    def show(self, window: Window) -> None:
        """Draw the page and go on at once, while the program works."""
        canvas = Canvas(window, large=self.large)
        self._own_lines = self.lines
        self._draw(canvas, Presses(canvas, stop=self.stop, main=None))

    def pressed(self, key: str, canvas: Canvas, presses: Presses) -> str | None:
        """Take a press; None keeps the page. For pages that change while they are shown."""
        del canvas, presses
        return key

    def _answer(self, window: Window) -> str:
        canvas = Canvas(window, large=self.large)
        before = self._leaves_before(canvas)
        for number, parts in enumerate(before, start=1):
            leaf = self._leaf(parts, number=number, n_leaves=len(before) + 1)
            turned = leaf._answer(window)
            if turned != TURN:
                return turned
        window.reader.forget()
        window.watch()
        main = next((b.key for b in (*self.buttons, *self.choices) if b.main), None)
        answers = (*self.answers, *(button.key for button in self.choices))
        presses = Presses(canvas, stop=self.stop, main=main, answers=answers)
        begun_ns = window.now_ns()
        foot = self._draw(canvas, presses)
        self._say(window)
        waiting = True
        frame_ns = begun_ns
        asked_ns = begun_ns + NS_PER_S
        while True:
            now_ns = window.now_ns()
            if waiting and now_ns - begun_ns >= self.wait_s * NS_PER_S:
                waiting = False
                self._show_buttons(canvas, presses, foot)
            if self.calls is not None and now_ns >= asked_ns and not presses.busy:
                asked_ns = now_ns + NS_PER_S
                called = self.calls()
                if called:
                    return called
            if window.happening():  # a press that woke the tablet presses nothing
                return ANEW
            for read in window.reader.drain():
                key = self._take(read, canvas, presses)
                if key is not None:
                    return key
            if self.picture is not None and now_ns >= frame_ns:
                changed = self.picture.step((now_ns - begun_ns) / NS_PER_S)
                if changed:
                    pygame.display.update(changed)
                frame_ns = max(frame_ns + FRAME_NS, now_ns)
            window.reader.rest(max(frame_ns, now_ns + FRAME_NS // 8))

    def _take(self, read: Read, canvas: Canvas, presses: Presses) -> str | None:
        if read == "quit":
            raise Left
        if read == "hidden":
            canvas.window.sound.hush()
            return None
        if isinstance(read, str):
            if read == "emptied" or canvas.window.happening(look=True):
                return ANEW
            pygame.display.flip()
            return None
        key = presses.take(read)
        if key is None or (key == "staff" and self.staff_page is None):
            return None
        if key in ("stop", "help", "staff"):
            return key
        if key == SAY_AGAIN:
            self._say(canvas.window, again=True)
            presses.again()
            return None
        kept = self.pressed(key, canvas, presses)
        if kept is None:
            presses.again()
            self.publish(canvas, presses)
        return kept

    def _leaf(self, parts: list[str], *, number: int, n_leaves: int) -> Leaf:
        leaf = Leaf(
            self.name,
            self.title,
            (),
            (Button(TURN, texts.GO_ON, "right"),),
            self.after,
            hand=self.hand,
            side=self.side,
            stop=self.stop,
            help_page=self.help_page,
            staff_page=self.staff_page,
            large=self.large,
            where=self.where,
            spoken=(self.title, *self.lines),
            number=number,
            n_leaves=n_leaves,
        )
        leaf._own_parts, leaf._parts_mm = tuple(parts), self._parts_mm
        return leaf

    def _say(self, window: Window, *, again: bool = False) -> None:
        """Speak the page: its words, then the answers there are to choose from."""
        lines = () if self.brief and not again else self.lines
        read = (self.title, *lines) if again or self._own_lines == self.lines else ()
        said = (*read, *(button.text for button in self.choices))
        window.sound.speak(files_of(window.language, said))


@dataclass
class Leaf(TextPage):
    """A leaf of a page whose words are too large for it.

    Parameters
    ----------
    spoken : tuple of str
        The texts its words are a part of; the first leaf speaks them all.
    number, n_leaves : int
        Which it is, of how many; the page itself is the last.
    """

    spoken: tuple[str, ...] = ()
    number: int = 1
    n_leaves: int = 2

    def _heading(self, canvas: Canvas, head: pygame.Rect) -> str:
        which = texts.LEAF.format(number=self.number, all=self.n_leaves)
        kept = f" · {canvas.say(which)}".replace(" ", NO_BREAK)
        whole = Said(canvas.say(self.title) + kept)
        return whole if canvas.fits((whole,), head, weight="strong") else self.title

    def _leaves_before(self, canvas: Canvas) -> list[list[str]]:
        del canvas
        return []

    def _say(self, window: Window, *, again: bool = False) -> None:
        if again or self.number == 1:
            window.sound.speak(files_of(window.language, self.spoken))
