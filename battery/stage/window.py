"""The window: opened, measured and closed here."""

from __future__ import annotations

import time
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
import pygame

from battery.errors import StageError
from battery.recording import Screen, TimingAudit
from battery.stage.pointer import READ, Reader
from battery.stage.publish import Publisher
from battery.stage.scale import Scale, guessed_screen
from battery.stage.sound import Tones

WINDOW_PX = (1280, 800)
FLIPS = 60


class Window:
    """A drawing area with its scale, its reader and its tones. Use it as a context.

    Parameters
    ----------
    windowed : bool
        A window of at most 1280 x 800 pixels; otherwise the full screen.
    known : dict of (width_px, height_px) to Screen
        Screens that were measured on this machine.

    Raises
    ------
    StageError
        If there is no display to open a window on.
    """

    def __init__(self, *, windowed: bool, known: dict[tuple[int, int], Screen]) -> None:
        try:
            pygame.display.init()
            pygame.font.init()
            desktop_px = pygame.display.get_desktop_sizes()[0]
            size_px = desktop_px
            flags = pygame.FULLSCREEN
            if windowed:
                size_px = (min(WINDOW_PX[0], desktop_px[0]), min(WINDOW_PX[1], desktop_px[1]))
                flags = 0
            self.surface = pygame.display.set_mode(size_px, flags)
        except (pygame.error, IndexError) as error:
            pygame.quit()
            msg = (
                f"no screen to draw on ({error}); start it in a desktop session, or set "
                "DISPLAY. Nothing was changed."
            )
            raise StageError(msg) from error
        pygame.display.set_caption("Coordination battery")
        pygame.event.set_blocked(None)
        pygame.event.set_allowed(READ)
        width_px, height_px = self.surface.get_size()
        measured = known.get(desktop_px)
        if measured is None:
            self.screen = guessed_screen(width_px, height_px)
        else:  # a window shares the scale of its screen
            self.screen = Screen(
                width_px,
                height_px,
                measured.mm_per_px_x,
                measured.mm_per_px_y,
                measured.scale_source,
            )
        self.desktop_px = desktop_px
        self.scale = Scale(self.screen)
        self.reader = Reader(self.scale)
        self.tones = Tones()
        self.publisher = Publisher()
        self.audit = TimingAudit(flip_p99_ms=self._flip_p99_ms())

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.tones.close()
        pygame.quit()

    def _flip_p99_ms(self) -> float:
        """How long showing a small change takes, 99th percentile of sixty."""
        rect = pygame.Rect(0, 0, 200, 200)
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
