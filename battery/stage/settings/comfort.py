"""A window that looks and sounds as a person has it."""

from __future__ import annotations

from battery.looks import Comfort
from battery.recording import Screen
from battery.stage.language.languages import language
from battery.stage.screen.theme import theme_named
from battery.stage.screen.window import Window


def comfortable_window(
    comfort: Comfort, *, windowed: bool, known: dict[tuple[int, int], Screen]
) -> Window:
    """Open a window that looks and sounds as a person has it."""
    return Window(
        windowed=windowed,
        known=known,
        theme=theme_named(comfort.theme),
        language=language(comfort.language),
        text_share=comfort.text_percent / 100,
        volume_percent=comfort.volume_percent,
        voice=comfort.voice,
    )
