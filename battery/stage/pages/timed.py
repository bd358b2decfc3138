"""A page that ends by itself after a minute, with a sound at its end and a beat if asked for.

It shows no clock and nothing on it moves: eyes and hands are at the exercise.
"""

from __future__ import annotations

import pygame

from battery.stage.drawing.canvas import Canvas
from battery.stage.pages.page import Page, TextPage
from battery.stage.screen.sound import Sound
from battery.stage.screen.window import Window

MINUTE_S = 60.0
MAX_LATE_S = 0.2  # a beat that is later than this is left out instead of made up for


class Over(Exception):  # noqa: N818  # not an error: the minute is over
    """The time of a page is over."""


class Minute:
    """One minute, as a picture that shows nothing and sounds.

    Parameters
    ----------
    sound : Sound
    beats_per_min : float
        Of the metronome; 0 is none.
    length_s : float

    Attributes
    ----------
    ran_s : float
        How long it has run so far.
    """

    beside = False

    def __init__(
        self, sound: Sound, *, beats_per_min: float = 0.0, length_s: float = MINUTE_S
    ) -> None:
        self._sound = sound
        self._beat_s = 60.0 / beats_per_min if beats_per_min else length_s + 1.0
        self._length_s = length_s
        self._next_s = 0.0 if beats_per_min else length_s + 1.0
        self.ran_s = 0.0

    def begin(self, canvas: Canvas, room: pygame.Rect) -> None:
        """Show nothing."""
        del canvas, room
        self.ran_s = 0.0

    def step(self, shown_s: float) -> list[pygame.Rect]:
        """Sound what is due.

        Raises
        ------
        Over
            At the end of the minute.
        """
        self.ran_s = min(shown_s, self._length_s)
        if shown_s >= self._length_s:
            self._sound.play("over")
            raise Over
        if shown_s >= self._next_s:
            if shown_s - self._next_s <= MAX_LATE_S:
                self._sound.play("beat")
            self._next_s += self._beat_s * (1 + (shown_s - self._next_s) // self._beat_s)
        return []


class TimedPage(TextPage):
    """A page whose picture may end it; then `after` gets "over"."""

    def run(self, window: Window) -> Page | None:
        """Show it until a button is pressed or its time is over."""
        try:
            return super().run(window)
        except Over:
            return self.after("over")
