"""Checking what pointer and picture can do: somebody draws circles for a few seconds."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pygame

from battery.runner import SLOW_FRAME_NS
from battery.stage.drawing.canvas import Canvas
from battery.stage.language import texts
from battery.stage.pages.live import Deadlines, quiet_memory
from battery.stage.pages.page import Left
from battery.stage.screen.pointer import Key, Report
from battery.stage.screen.window import Window
from battery.store import TimingCheck
from tasks.contract import NS_PER_MS, NS_PER_S

DRAWN_NS = 5 * NS_PER_S  # of contact; enough for 150 intervals at 30 reports a second
MAX_NS = 30 * NS_PER_S
WIDE_NS = 50 * NS_PER_MS
MIN_INTERVALS = 20
MIN_CONTACT_NS = 2 * NS_PER_S
TICK_PX = 8


@dataclass
class TimingPage:
    """Collects reports and flips until somebody has drawn for five seconds.

    A key ends it at once; so does half a minute.

    Attributes
    ----------
    reports : list of Report
    flips_ns : list of int
    """

    name: str = "timing"
    reports: list[Report] = field(default_factory=list)
    flips_ns: list[int] = field(default_factory=list)

    def run(self, window: Window) -> None:
        """Show the page and watch."""
        canvas = Canvas(window, large=False)
        canvas.clear()
        canvas.words((texts.TIMING_TITLE,), canvas.head, cap_mm=canvas.sizes.title)
        canvas.words(texts.TIMING_LINES, canvas.body, cap_mm=canvas.sizes.text)
        pygame.display.flip()
        window.publisher.show({"page": self.name, "running": True, "buttons": [], "discs": []})
        with quiet_memory():
            window.reader.forget()
            self._watch(window)

    def _watch(self, window: Window) -> None:
        begun_ns = window.now_ns()
        frames = Deadlines(begun_ns)
        tick = pygame.Rect(0, window.surface.get_height() - TICK_PX, TICK_PX, TICK_PX)
        while True:
            now_ns = window.now_ns()
            for read in window.reader.drain():
                if isinstance(read, Report):
                    self.reports.append(read)
                elif isinstance(read, Key):
                    return
                elif read == "quit":
                    raise Left
            drawn_ns = contact_ns(self.reports)
            if drawn_ns >= DRAWN_NS or now_ns - begun_ns >= MAX_NS:
                return
            if now_ns >= frames.due_ns:
                pygame.display.update(tick)
                self.flips_ns.append(window.now_ns())
                frames.step(now_ns)
            window.reader.rest(frames.due_ns)


def contact_ns(reports: Sequence[Report]) -> int:
    """How long pointers were down, from the first down to the last report of each touch."""
    begun: dict[int, int] = {}
    total = 0
    for report in reports:
        if report.kind == "down":
            begun[report.pointer] = report.t_ns
        elif report.kind == "up" and report.pointer in begun:
            total += report.t_ns - begun.pop(report.pointer)
    last_ns = reports[-1].t_ns if reports else 0
    return total + sum(last_ns - t_ns for t_ns in begun.values())


def timing_check(
    device: str,
    reports: Sequence[Report],
    flips_ns: Sequence[int],
    *,
    flip_p99_ms: float | None,
    at_utc: str,
) -> TimingCheck:
    """Say what was seen.

    The rate is the inverse of the median interval between reports of motion of one touch;
    with fewer than 20 intervals it is their number over the time of contact, so that a panel
    that hardly reports motion shows as such; None without two seconds of contact.
    """
    intervals_ns: list[int] = []
    last: dict[int, int] = {}
    n_reports = 0
    for report in reports:
        if report.kind in ("down", "move"):
            if report.kind == "move":
                n_reports += 1
                if report.pointer in last:
                    intervals_ns.append(report.t_ns - last[report.pointer])
            last[report.pointer] = report.t_ns
    pressed = {r.pointer > 0 for r in reports if r.kind == "down"}
    kinds = {frozenset(): "none", frozenset({True}): "touch", frozenset({False}): "mouse"}
    rate_hz: float | None = None
    contact = contact_ns(reports)
    if len(intervals_ns) >= MIN_INTERVALS:
        rate_hz = float(NS_PER_S / max(np.median(intervals_ns), 1))
    elif contact >= MIN_CONTACT_NS:
        rate_hz = n_reports * NS_PER_S / contact
    periods_ns = np.diff(np.array(flips_ns, dtype=np.int64))
    shown = len(periods_ns) > 0
    return TimingCheck(
        check_id=str(uuid.uuid4()),
        device=device,
        input_type=kinds.get(frozenset(pressed), "mixed"),
        n_reports=n_reports,
        report_rate_hz=rate_hz,
        longest_gap_ms=max(intervals_ns) / NS_PER_MS if intervals_ns else None,
        wide_gaps=float(np.mean(np.array(intervals_ns) > WIDE_NS)) if intervals_ns else None,
        frame_rate_hz=float(NS_PER_S / periods_ns.mean()) if shown else None,
        slow_frames=float((periods_ns > SLOW_FRAME_NS).mean()) if shown else None,
        flip_p99_ms=flip_p99_ms,
        at_utc=at_utc,
    )
