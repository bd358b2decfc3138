"""The window: opened, measured and closed here."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
import pygame

from battery.errors import StageError
from battery.recording import Screen, TimingAudit
from battery.stage.language.languages import ENGLISH, Language
from battery.stage.screen.icon import icon_surface
from battery.stage.screen.pointer import READ, Reader, Reads
from battery.stage.screen.publish import Publisher
from battery.stage.screen.scale import Scale, screen_of
from battery.stage.screen.sound import Sound
from battery.stage.screen.theme import FIRST_THEME, Theme

WINDOW_PX = (1280, 800)
NAME = "Coordination battery"
ICON_PX = 128
FLIPS = 60
FLIP_SIDE_PX = 200
UNSEEN = ("offscreen", "dummy")


class Window:
    """A drawing area with its scale, its reader, its clock and its tones. Use it as a context.

    Parameters
    ----------
    windowed : bool
        A window of at most 1280 x 800 pixels; otherwise the full screen.
    known : dict of (width_px, height_px) to Screen
        Screens that were measured on this machine.
    theme : Theme
    language : Language
        Pages are shown in it.
    text_share : float
        Size of words on pages over that of the profile, 1 to 2.
    volume_percent, voice
        As `Sound` takes them.
    now_ns : callable
        The monotonic clock; a test brings its own.
    size_px : (width, height), optional
        Exact size of a window, for tests and pictures.

    Attributes
    ----------
    closing : bool
        The window was closed: every page and block ends at once.
    audit : TimingAudit
        What was measured about this window at the start.
    last_press : Rect or None
        The control that was pressed last, on this page or the one before.

    Raises
    ------
    StageError
        If there is no display to open a window on.
    """

    def __init__(
        self,
        *,
        windowed: bool,
        known: dict[tuple[int, int], Screen],
        theme: Theme = FIRST_THEME,
        language: Language = ENGLISH,
        text_share: float = 1.0,
        volume_percent: int = 70,
        voice: bool = True,
        now_ns: Callable[[], int] = time.perf_counter_ns,
        size_px: tuple[int, int] | None = None,
    ) -> None:
        try:
            _check_named()
            pygame.display.init()
            _check_seen(pygame.display.get_driver())
            pygame.font.init()
            desktop_px = pygame.display.get_desktop_sizes()[0]
            flags = 0
            if size_px is None:
                size_px = desktop_px
                flags = pygame.FULLSCREEN
                if windowed:
                    size_px = (
                        min(WINDOW_PX[0], desktop_px[0]),
                        min(WINDOW_PX[1], desktop_px[1]),
                    )
                    # a frame around a window as large as the screen would push it off
                    flags = pygame.NOFRAME if size_px == desktop_px else 0
            pygame.display.set_caption(NAME)
            pygame.display.set_icon(icon_surface(ICON_PX))
            self.surface = pygame.display.set_mode(size_px, flags)
        except (pygame.error, IndexError) as error:
            pygame.quit()
            msg = (
                f"no screen to draw on ({error}); start it in a desktop session, or set "
                "DISPLAY. Nothing was changed."
            )
            raise StageError(msg) from error
        self.theme = theme
        self.language = language
        self.text_share = text_share
        self.surface.fill(theme.background)
        pygame.display.flip()
        pygame.event.set_blocked(None)
        pygame.event.set_allowed(READ)
        self.desktop_px = desktop_px
        self.screen = screen_of(self.surface.get_size(), desktop_px, known)
        self.scale = Scale(self.screen)
        self.now_ns = now_ns
        self.reader: Reads = Reader(self.scale)
        self.sound = Sound(volume_percent=volume_percent, voice=voice)
        self.publisher = Publisher()
        self.closing = False
        self.last_press: pygame.Rect | None = None
        self.audit = TimingAudit(flip_p99_ms=self._flip_p99_ms())

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.sound.close()
        pygame.quit()

    def use(self, screen: Screen) -> None:
        """Draw and read at this scale from now on."""
        self.screen = screen
        self.scale = Scale(screen)
        self.reader.rescale(self.scale)

    def check_flips(self) -> None:
        """Measure anew how long showing takes, in a window that has been open for long."""
        self.audit = TimingAudit(flip_p99_ms=self._flip_p99_ms())

    def _flip_p99_ms(self) -> float:
        """How long showing a small change takes, 99th percentile of sixty, ms."""
        rect = pygame.Rect(0, 0, FLIP_SIDE_PX, FLIP_SIDE_PX)
        took_ms = []
        for _ in range(FLIPS):
            begun_ns = time.perf_counter_ns()
            pygame.display.update(rect)
            took_ms.append((time.perf_counter_ns() - begun_ns) / 1e6)
        return float(np.percentile(took_ms, 99))

    def save_picture(self, path: Path) -> None:
        """Write what is shown as a PNG file."""
        pygame.image.save(self.surface, str(path))


def versions() -> dict[str, str]:
    """Versions of the toolkit, for the record."""
    return {
        "pygame": pygame.version.ver,
        "sdl": ".".join(str(n) for n in pygame.get_sdl_version()),
    }


def _check_named() -> None:
    """Refuse a Linux session that names no display before the toolkit goes looking for one."""
    names = ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER")
    if sys.platform.startswith("linux") and not any(os.environ.get(name) for name in names):
        msg = "neither DISPLAY nor WAYLAND_DISPLAY is set"
        raise pygame.error(msg)


def _check_seen(driver: str) -> None:
    """Refuse a driver that shows nothing, unless it was asked for by name.

    Without a display the toolkit would draw into memory and wait for ever for a touch.
    """
    if driver in UNSEEN and os.environ.get("SDL_VIDEODRIVER") != driver:
        msg = f"only the driver {driver!r} was found, which shows nothing"
        raise pygame.error(msg)
