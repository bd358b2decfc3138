"""Settings on the glass: language, words, colours, sound and side, each one tap further."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pygame

from battery.looks import OWN_NAMES, SIZES_PERCENT, THEMES, Comfort
from battery.recording import Hand
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.places import GAP_MM, Button
from battery.stage.language import texts
from battery.stage.language.languages import Said, Text, language
from battery.stage.pages.builder import BACK, Maker, Next
from battery.stage.pages.page import Page, TextPage
from battery.stage.pages.presses import Presses
from battery.stage.screen.theme import theme_named
from battery.stage.screen.window import Window

SETTINGS = "settings"
Keep = Callable[[dict[str, Any]], Comfort]


@dataclass
class StartPage(TextPage):
    """The first page, with the way to the settings beside Stop."""

    def content(self, canvas: Canvas, presses: Presses) -> None:
        """Draw the button of the settings."""
        place = canvas.say_area("left" if self.used == "right" else "right")
        self._put(canvas, presses, Button(SETTINGS, Said("Aa"), main=False), place)

    def _head(self, canvas: Canvas) -> pygame.Rect:
        head = super()._head(canvas)
        taken = canvas.px(canvas.sizes.button + GAP_MM)
        left = head.left + taken if self.used == "right" else head.left
        return pygame.Rect(left, head.top, head.width - taken, head.height)


class Settings:
    """The page of settings; what is changed holds at once and is kept for the person.

    Parameters
    ----------
    window : Window
    make : Maker
    held : Comfort
        What holds now.
    keep : callable
        Gets changes and returns what holds then.
    sound : callable
        Gets a way back and returns the page of the sound.
    usual_side : {"left", "right"}
        Hand that presses unless the person says another.
    """

    def __init__(
        self,
        window: Window,
        make: Maker,
        held: Comfort,
        *,
        keep: Keep,
        sound: Callable[[Next], Page],
        usual_side: Hand,
    ) -> None:
        self._window = window
        self._make = make
        self.held = held
        self._keep = keep
        self._sound = sound
        self._usual_side = usual_side

    def page(self, done: Next) -> Page:
        """Return the page; `done` gives what follows it."""

        def after(key: str) -> Page | None:
            if key == "back":
                return done()
            if key == "sound":
                return self._sound(lambda: self.page(done))
            self.held = self._keep(self._changed(key))
            self.use()
            return self.page(done)

        choices = {
            "language": texts.LANGUAGE_IS.format(name=OWN_NAMES[self.held.language]),
            "text_percent": texts.WORDS_ARE.format(percent=self.held.text_percent),
            "theme": texts.COLOURS_ARE[self.held.theme],
            "side": texts.BUTTONS_ARE[self._make.side],
            "sound": texts.SOUND,
        }
        return self._make.text(
            SETTINGS,
            texts.SETTINGS_TITLE,
            (),
            (BACK,),
            after,
            choices=tuple(Button(key, word, main=False) for key, word in choices.items()),
        )

    def use(self) -> None:
        """Let window and pages look as it is held."""
        look(self._window, self.held)
        self._make.side = side_of(self.held, self._usual_side)

    def _changed(self, key: str) -> dict[str, Any]:
        """Return the next value of what was pressed."""
        if key == "side":
            return {"side": "left" if self._make.side == "right" else "right"}
        values: tuple[Any, ...] = {
            "language": tuple(OWN_NAMES),
            "text_percent": SIZES_PERCENT,
            "theme": THEMES,
        }[key]
        now = getattr(self.held, key)
        at = values.index(now) if now in values else -1
        return {key: values[(at + 1) % len(values)]}


def look(window: Window, held: Comfort) -> None:
    """Let a window look as it is held, from the next page on."""
    window.language = language(held.language)
    window.theme = theme_named(held.theme)
    window.text_share = held.text_percent / 100


def wear(window: Window, held: Comfort) -> None:
    """Let a window look and sound as it is held, from the next page on."""
    look(window, held)
    window.sound.volume_percent = held.volume_percent
    window.sound.voice = held.voice


def side_of(held: Comfort, usual: Hand) -> Hand:
    """Return the hand that presses where none is asked for."""
    if held.side in ("left", "right"):
        return "left" if held.side == "left" else "right"
    return usual


def quiet_page(make: Maker, yes: Next, back: Next) -> TextPage:
    """Ask whether there shall be no sound from now on, since it holds for later visits too."""
    title: Text = texts.QUIET_TITLE
    return make.text(
        "quiet",
        title,
        texts.QUIET_LINES,
        (BACK, Button("quiet", texts.NO_SOUND, "right", main=False)),
        lambda key: yes() if key == "quiet" else back(),
    )
