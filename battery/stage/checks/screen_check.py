"""Saying what is known of this screen, and storing its size."""

from __future__ import annotations

from datetime import datetime

from battery.errors import UsageError
from battery.moments import utc_text
from battery.recording import Device, Screen
from battery.stage.pages.card import CardPages
from battery.stage.pages.following import run_pages
from battery.stage.pages.timing_check import TimingPage, timing_check
from battery.stage.screen.scale import MAX_RATIO, MIN_RATIO
from battery.stage.screen.window import Window
from battery.stage.settings.device import Screens, keep_screen, load_device, system_name
from battery.store import Store, TimingCheck
from battery.trouble_notes import note_trouble
from battery.visits import Wall


def local_now() -> datetime:
    """Return the time of the wall clock with its offset."""
    return datetime.now().astimezone()


SLOW_FLIP_MS = 4.0
MIN_MM, MAX_MM = 50.0, 2000.0
SOURCES = {"ruler": "measured with a ruler", "card": "measured with a card"}


def measured_screen(size_px: tuple[int, int], width_mm: float, height_mm: float) -> Screen:
    """Return a screen of that size.

    Raises
    ------
    UsageError
        If no screen has that size, or its pixels would be far from square.
    """
    ratio = (width_mm / size_px[0]) / (height_mm / size_px[1])
    sizes_fit = all(MIN_MM <= length <= MAX_MM for length in (width_mm, height_mm))
    if not (sizes_fit and MIN_RATIO <= ratio <= MAX_RATIO):
        msg = (
            f"{width_mm:g} x {height_mm:g} mm for {size_px[0]} x {size_px[1]} pixels makes "
            f"pixels {ratio:.2f} times as wide as high (limit {MIN_RATIO} to {MAX_RATIO}, "
            f"each side {MIN_MM:g} to {MAX_MM:g} mm); measure again. Nothing was changed."
        )
        raise UsageError(msg)
    return Screen(*size_px, width_mm / size_px[0], height_mm / size_px[1], "ruler")


def measure_screen(
    store: Store,
    *,
    width_mm: float | None,
    height_mm: float | None,
    show: bool = False,
    wall: Wall = local_now,
) -> list[str]:
    """Measure this screen with a card and check its pointer, or take its size by ruler.

    Parameters
    ----------
    width_mm, height_mm : float or None
        Its size by ruler; both or neither.
    show : bool
        Only say what is known.

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
    lines: list[str] = []
    with Window(windowed=False, known=known) as window:
        size_px = window.desktop_px
        flip_p99_ms = window.audit.flip_p99_ms or 0.0
        if width_mm is not None and height_mm is not None:
            screen = measured_screen(size_px, width_mm, height_mm)
            keep_screen(store, alias, known, screen, at_utc=utc_text(wall()))
        elif not show:
            lines = measure_with_card(store, alias, known, window, wall)
        screen = known.get(size_px, window.screen)
    source = SOURCES.get(screen.scale_source, "a guess: measure it")
    return [
        f"device {alias}, screen {size_px[0]} x {size_px[1]} pixels",
        f"scale {1 / screen.mm_per_px_x:.2f} pixels a mm ({source}), "
        f"{screen.width_mm:.0f} x {screen.height_mm:.0f} mm",
        *lines,
        f"showing a small change takes {flip_p99_ms:.1f} ms (99th percentile)"
        + slow_flip_note(flip_p99_ms),
    ]


def measure_with_card(
    store: Store, alias: str, known: Screens, window: Window, wall: Wall
) -> list[str]:
    """Show the pages of card and timing; return what the second one found."""
    timing = TimingPage()
    pages = CardPages(
        window,
        changed=False,
        found=lambda screen: keep_screen(store, alias, known, screen, at_utc=utc_text(wall())),
        after=lambda: timing,
    )
    run_pages(window, pages.first(), note=lambda error: note_trouble(store, error, now=wall()))
    if not timing.flips_ns:
        return []
    check = timing_check(
        alias,
        timing.reports,
        timing.flips_ns,
        flip_p99_ms=window.audit.flip_p99_ms,
        at_utc=utc_text(wall()),
    )
    store.setup.put_device(Device(alias, window.screen, system_name()))
    store.setup.put_timing_check(check)
    return check_lines(check)


def check_lines(check: TimingCheck) -> list[str]:
    """Say what a timing check found, and what it means for blocks done later."""

    def said(value: float | None, unit: str) -> str:
        return "unknown" if value is None else f"{value:.0f} {unit}"

    from battery.flagging import flags_of_check
    from battery.scoring.flags import FLAGS

    raised = [FLAGS[name].says for name in flags_of_check(check)]
    return [
        f"pointer: {check.input_type}, {said(check.report_rate_hz, 'reports a second')}, "
        f"longest gap {said(check.longest_gap_ms, 'ms')}; "
        f"picture: {said(check.frame_rate_hz, 'frames a second')}",
        "timing: " + ("; ".join(raised) + " (flagged)" if raised else "nothing to flag"),
    ]


def slow_flip_note(flip_p99_ms: float | None) -> str:
    """Say what a slow screen means, or nothing."""
    if flip_p99_ms is None or flip_p99_ms <= SLOW_FLIP_MS:
        return ""
    return f"; above {SLOW_FLIP_MS:g} ms, so stamps are less exact on this screen"
