"""A small window of the system's own, for what went wrong before there is a window of ours."""

from __future__ import annotations

import contextlib

import pygame

from battery.stage.screen.window import NAME


def show_message(line: str) -> None:
    """Show a line until it is closed, if anything can be shown; it is printed in any case."""
    try:
        with contextlib.suppress(pygame.error):
            pygame.display.init()
            pygame.display.message_box(NAME, line, message_type="error")
    finally:
        pygame.quit()
