"""How pages can look and sound for somebody: language, theme, words, buttons, voice, side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from battery.errors import UsageError

OWN_NAMES: Mapping[str, str] = {
    "en": "English",
    "de": "Deutsch",
}  # as their speakers write them
THEMES = ("light", "dark", "dim")
SIZES_PERCENT = (100, 150, 200)  # that are offered
MIN_PERCENT, MAX_PERCENT = 100, 200  # WCAG 2.2, 1.4.4: up to 200 % without loss
LOUDEST = 100  # percent
SIDES = ("", "left", "right")
BUTTONS = ("", "usual", "large")
WORDS = {True: "on", False: "off"}


@dataclass(frozen=True, slots=True)
class Comfort:
    """What a person sees and hears best.

    Parameters
    ----------
    language : str
        Code of the language of texts and voice.
    theme : str
        Colours: light, dark or dim (light-sensitive eyes).
    text_percent : int
        Size of words beside what the profile has, 100 to 200.
    volume_percent : int
        Loudness of tones and voice, 0 to 100. The tone of a cue is a condition of the test.
    voice : bool
        Whether pages are spoken.
    side : str
        Hand that presses on pages, left or right; empty: the one that writes.
    buttons : str
        Size of buttons and letters, large or usual; empty: as set for the tablet.
    """

    language: str = "en"
    theme: str = THEMES[0]
    text_percent: int = 100
    volume_percent: int = 70
    voice: bool = True
    side: str = ""
    buttons: str = ""

    def __post_init__(self) -> None:
        """Refuse what the stage cannot do."""
        for what, told, known in (
            ("language", self.language, OWN_NAMES),
            ("theme", self.theme, THEMES),
            ("side", self.side, SIDES),
            ("buttons", self.buttons, BUTTONS),
        ):
            if told not in known:
                words = ", ".join(filter(None, known))
                msg = f"no {what} {told!r}; there are {words}. Nothing was changed"
                raise UsageError(msg, field=what)
        if not MIN_PERCENT <= self.text_percent <= MAX_PERCENT:
            msg = (
                f"text at {self.text_percent} %; say {MIN_PERCENT} to {MAX_PERCENT}. "
                "Nothing was changed"
            )
            raise UsageError(msg, field="text_percent")
        if not 0 <= self.volume_percent <= LOUDEST:
            msg = f"volume {self.volume_percent} %; say 0 to {LOUDEST}. Nothing was changed"
            raise UsageError(msg, field="volume_percent")

    def changed(self, **asked: Any) -> Comfort:
        """Return it with what was asked for; None leaves a thing as it is."""
        return replace(self, **{name: v for name, v in asked.items() if v is not None})

    def is_large(self, tablets: bool) -> bool:
        """Whether buttons are large, on a tablet whose own are so or not."""
        return self.buttons == "large" if self.buttons else tablets

    def versions(self) -> dict[str, str]:
        """As it is written into the record of a block."""
        return {
            "theme": self.theme,
            "language": self.language,
            "text_percent": str(self.text_percent),
            "volume_percent": str(self.volume_percent),
            "voice": WORDS[self.voice],
        }

    def in_words(self) -> str:
        """One line for the command line."""
        buttons = f", buttons {self.buttons}" if self.buttons else ""
        return (
            f"language {self.language} ({OWN_NAMES[self.language]}), theme {self.theme}, "
            f"text {self.text_percent} %, volume {self.volume_percent} %, "
            f"voice {WORDS[self.voice]}{buttons}"
        )
