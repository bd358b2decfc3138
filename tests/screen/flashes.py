"""The area that flashes in pictures that were shown, by the definitions of WCAG 2.2.

A general flash is a pair of opposing changes of relative luminance by 10 % of the largest or
more, where the darker picture is below 0.80. A red flash is a pair of opposing changes that
involve a saturated red, R / (R + G + B) >= 0.8, of more than 20 in (R - G - B) x 320.
More than three flashes in a second are allowed only on an area of less than 0.006 steradians
(2.3.1), which is 1500 mm² at 500 mm.

Source: W3C, Web Content Accessibility Guidelines 2.2, "general flash and red flash thresholds"
and its notes.
"""

from __future__ import annotations

import numpy as np
import pygame

EVERY_PX = 4  # of both axes: a disc of 10 mm has more than a hundred such points
MAX_CHANGES = 6  # three pairs
LIMIT_MM2 = 0.006 * 500.0**2
LINEAR = np.where(
    np.arange(256) / 255 <= 0.04045,
    np.arange(256) / 255 / 12.92,
    ((np.arange(256) / 255 + 0.055) / 1.055) ** 2.4,
).astype(np.float32)
WEIGHTS = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)


class Changes:
    """Opposing changes of one quantity at every point, as pictures come in.

    Parameters
    ----------
    least : float
        A smaller change does not count.
    darkest : float
        Changes between values that are both at or above it do not count.
    """

    def __init__(self, least: float, darkest: float = np.inf) -> None:
        self._least = least
        self._darkest = darkest
        self._low = self._high = self._way = None
        self._when_s = None
        self.most_points = 0

    def show(self, t_s: float, value: np.ndarray, counts: np.ndarray | None = None) -> None:
        """Take what is shown from now on; `counts` says where a change counts at all."""
        if self._low is None:
            self._low, self._high = value.copy(), value.copy()
            self._way = np.zeros(value.shape, dtype=np.int8)
            self._when_s = np.full((MAX_CHANGES + 1, *value.shape), -np.inf)
            return
        self._low = np.minimum(self._low, value)
        self._high = np.maximum(self._high, value)
        up = (value - self._low >= self._least) & (self._low < self._darkest) & (self._way < 1)
        down = (self._high - value >= self._least) & (value < self._darkest) & (self._way > -1)
        if counts is not None:
            up, down = up & counts, down & counts
        self._turn(t_s, up, down, value)

    def _turn(self, t_s, up, down, value) -> None:
        turned = up | down
        self._way[up], self._way[down] = 1, -1
        # After a rise only the highest since then matters, after a fall only the lowest.
        self._low = np.where(self._way == 1, value, self._low)
        self._high = np.where(self._way == -1, value, self._high)
        if turned.any():
            where = np.nonzero(turned)
            times = self._when_s[:, *where]
            times = np.concatenate([times[1:], np.full((1, times.shape[1]), t_s)])
            self._when_s[:, *where] = times
        flashing = (self._when_s[-MAX_CHANGES - 1] > t_s - 1.0 + 1e-6).sum()
        self.most_points = max(self.most_points, int(flashing))


class Watcher:
    """Watches a surface at every showing of the display."""

    def __init__(self, surface: pygame.Surface, now_ns) -> None:
        self._surface = surface
        self._now_ns = now_ns
        self._last = None
        self._red = None
        self.n_pictures = 0
        self.general = Changes(0.1, 0.8)
        self.red = Changes(20.0)

    def area_mm2(self, px_per_mm: float) -> float:
        """Largest area that flashed more than three times in one second."""
        points = max(self.general.most_points, self.red.most_points)
        return points * (EVERY_PX / px_per_mm) ** 2

    def look(self) -> None:
        """Take the picture as it is."""
        shown = pygame.surfarray.pixels3d(self._surface)[::EVERY_PX, ::EVERY_PX]
        if self._last is not None and np.array_equal(shown, self._last):
            return
        self._last = shown.copy()
        self.n_pictures += 1
        t_s = self._now_ns() / 1e9
        linear = LINEAR[self._last]
        self.general.show(t_s, linear @ WEIGHTS)
        total = linear.sum(axis=2)
        red = linear[..., 0] >= 0.8 * np.maximum(total, 1e-6)
        counts = red if self._red is None else red | self._red
        self._red = red
        strength = np.maximum(0, linear[..., 0] - linear[..., 1] - linear[..., 2]) * 320
        self.red.show(t_s, strength, counts)


def watched(monkeypatch, window) -> Watcher:
    """Have every showing of the window's picture looked at."""
    watcher = Watcher(window.surface, window.now_ns)

    def shown(*_args) -> None:
        watcher.look()

    monkeypatch.setattr(pygame.display, "flip", shown)
    monkeypatch.setattr(pygame.display, "update", shown)
    return watcher
