"""The window: opened, measured and closed here."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Literal, Self

import numpy as np
import pygame

from battery.errors import StageError
from battery.recording import Screen, TimingAudit
from battery.stage.language.languages import ENGLISH, Language
from battery.stage.screen.desktop import LOOK_NS, Desktop, Wakefulness
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
FRAME_PX = 64  # a window manager's frame and title take no more
Happening = Literal["", "slept", "changed"]


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
        self._windowed, self._size_px, self._known = windowed, size_px, known
        try:
            _check_named()
            self._open()
            pygame.font.init()
        except (pygame.error, IndexError) as error:
            pygame.quit()
            raise _no_screen(error) from error
        self.theme = theme
        self.language = language
        self.text_share = text_share
        self._show_empty()
        self._desktop = Desktop()
        self._sizes = self._desktop.sizes()
        self.screen = screen_of(self.surface.get_size(), self.desktop_px, known)
        self.scale = Scale(self.screen)
        self.now_ns = now_ns
        self.reader: Reads = Reader(self.scale)
        self.sound = Sound(volume_percent=volume_percent, voice=voice)
        self.publisher = Publisher()
        self.closing = False
        self.last_press: pygame.Rect | None = None
        self._wakefulness = Wakefulness(now_ns)
        self._looked_ns = now_ns()
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
        self._desktop.close()
        pygame.quit()

    def _open(self) -> None:
        """Open it on the display as it is now."""
        pygame.display.init()
        _check_seen(pygame.display.get_driver())
        self.desktop_px = pygame.display.get_desktop_sizes()[0]
        size_px, flags = self._size_px or self.desktop_px, 0
        if self._size_px is None and not self._windowed:
            flags = pygame.FULLSCREEN
        elif self._size_px is None:
            pairs = list(zip(WINDOW_PX, self.desktop_px, strict=True))
            size_px = (min(pairs[0]), min(pairs[1]))
            # a frame around a window as large as the screen would push it off
            close = any(most - FRAME_PX < wanted for wanted, most in pairs)
            flags = pygame.NOFRAME if close else 0
        pygame.display.set_caption(NAME)
        pygame.display.set_icon(icon_surface(ICON_PX))
        self.surface = pygame.display.set_mode(size_px, flags)

    def _show_empty(self) -> None:
        self.surface.fill(self.theme.background)
        pygame.display.flip()
        pygame.event.set_blocked(None)
        pygame.event.set_allowed(READ)

    def watch(self) -> None:
        """From now on `happening` tells what happens."""
        self._wakefulness.begin()
        self._looked_ns = self.now_ns()

    def happening(self, *, look: bool = False) -> Happening:
        """Tell whether the machine has slept, or the screen is another than it was.

        Parameters
        ----------
        look : bool
            Look at the screen now; otherwise once a second.
        """
        if self._wakefulness.slept():
            return "slept"
        now_ns = self.now_ns()
        if look or now_ns - self._looked_ns >= LOOK_NS:
            self._looked_ns = now_ns
            return "changed" if self._is_other() else ""
        return ""

    def _is_other(self) -> bool:
        """Whether size or display have changed since it was opened."""
        shown = pygame.display.get_surface()
        shown_px = shown.get_size() if shown is not None else None
        drawn_px = (self.screen.width_px, self.screen.height_px)
        return shown_px != drawn_px or self._desktop.sizes() != self._sizes

    def refit(self) -> bool:
        """Open it anew if the screen is another than it was; say whether it is.

        Between two pages; what was drawn is gone then.

        What is known of the size of the new screen is taken from then on.

        Raises
        ------
        StageError
            If there is no display left to open it on.
        """
        if not self._is_other():
            self.surface = pygame.display.get_surface() or self.surface
            return False
        try:
            pygame.display.quit()
            self._open()
        except (pygame.error, IndexError) as error:
            raise _no_screen(error) from error
        self._show_empty()
        self._sizes = self._desktop.sizes()
        self.last_press = None
        self.use(screen_of(self.surface.get_size(), self.desktop_px, self._known))
        return True

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


def _no_screen(error: Exception) -> StageError:
    msg = (
        f"no screen to draw on ({error}); start it in a desktop session, or set "
        "DISPLAY. Nothing was changed."
    )
    return StageError(msg)


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
