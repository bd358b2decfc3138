"""Saying what is known of this screen, and storing its size."""

from __future__ import annotations

from battery.errors import UsageError
from battery.recording import Screen
from battery.stage.device import load_device, save_device
from battery.stage.window import Window
from battery.store import Store

SLOW_FLIP_MS = 4.0
LEAST_MM, MOST_MM = 50.0, 2000.0
LEAST_RATIO, MOST_RATIO = 0.95, 1.05  # pixels are square but for a few percent
SOURCES = {"ruler": "measured with a ruler", "card": "measured with a card"}


def measured_screen(size_px: tuple[int, int], width_mm: float, height_mm: float) -> Screen:
    """Return a screen of that size.

    Raises
    ------
    UsageError
        If no screen has that size, or its pixels would be far from square.
    """
    ratio = (width_mm / size_px[0]) / (height_mm / size_px[1])
    sizes_fit = all(LEAST_MM <= length <= MOST_MM for length in (width_mm, height_mm))
    if not (sizes_fit and LEAST_RATIO <= ratio <= MOST_RATIO):
        msg = (
            f"{width_mm:g} x {height_mm:g} mm for {size_px[0]} x {size_px[1]} pixels makes "
            f"pixels {ratio:.2f} times as wide as high (limit {LEAST_RATIO} to {MOST_RATIO}, "
            f"each side {LEAST_MM:g} to {MOST_MM:g} mm); measure again. Nothing was changed."
        )
        raise UsageError(msg)
    return Screen(*size_px, width_mm / size_px[0], height_mm / size_px[1], "ruler")


def measure_screen(
    store: Store, *, width_mm: float | None, height_mm: float | None
) -> list[str]:
    """Say what is known of this screen; with both sizes, store them as measured by ruler.

    Returns
    -------
    list of str
        Lines to print.

    Raises
    ------
    UsageError
        If only one size is given, or a size is no screen's.
    StageError, StoreError
        No display; a home that cannot be written.
    """
    if (width_mm is None) != (height_mm is None):
        msg = "give both --width-mm and --height-mm; nothing was changed"
        raise UsageError(msg)
    alias, known = load_device(store)
    with Window(windowed=False, known=known) as window:
        size_px = window.desktop_px
        flip_p99_ms = window.audit.flip_p99_ms or 0.0
        screen = window.screen
    if width_mm is not None and height_mm is not None:
        screen = known[size_px] = measured_screen(size_px, width_mm, height_mm)
        save_device(store, alias, known)
    source = SOURCES.get(screen.scale_source, "a guess: measure it")
    return [
        f"device {alias}, screen {size_px[0]} x {size_px[1]} pixels",
        f"scale {1 / screen.mm_per_px_x:.2f} pixels a mm ({source}), "
        f"{screen.width_mm:.0f} x {screen.height_mm:.0f} mm",
        f"showing a small change takes {flip_p99_ms:.1f} ms (99th percentile)"
        + slow_flip_note(flip_p99_ms),
    ]


def slow_flip_note(flip_p99_ms: float | None) -> str:
    """Say what a slow screen means, or nothing."""
    if flip_p99_ms is None or flip_p99_ms <= SLOW_FLIP_MS:
        return ""
    return f"; above {SLOW_FLIP_MS:g} ms, so stamps are less exact on this screen"
