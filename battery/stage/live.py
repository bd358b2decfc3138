"""A live block: the window as a source of signals.

One thread reads and draws. It reads all the time and draws at absolute deadlines, sixty times a
second; nothing is allocated in bulk, written to disk or collected while a block runs.
"""

from __future__ import annotations

import gc
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pygame

from battery.recording import Ending, Hand
from battery.runner import Run
from battery.stage.canvas import Canvas, StopArea
from battery.stage.painter import Painter
from battery.stage.pointer import Report
from battery.stage.window import Window
from tasks.contract import NS_PER_S, Disc, Event, Mark

FRAME_NS = NS_PER_S // 60
LINGER_S = 0.35  # the last picture stays a moment, so that the end does not startle


class LiveSource:
    """Feeds a run from the window until the task is finished, stopped or broken off.

    Stop is one tap on its area, or any key. Losing the window breaks the block off.
    """

    def __init__(self, window: Window, *, hand: Hand, name: str, large: bool = False) -> None:
        self._window = window
        self._hand = hand
        self._name = name
        self._large = large
        self._stop_pointer: int | None = None

    def play(self, run: Run) -> tuple[Ending, str]:
        """Run the block in real time."""
        window = self._window
        canvas = Canvas(window, large=self._large)
        stop = canvas.stop_area(self._hand)
        canvas.clear()
        canvas.draw_stop(stop)
        painter = Painter(window.surface, window.scale)
        painter.keep_background()
        painter.prepare(run.marks(0))
        pygame.display.flip()
        with _quiet_memory():
            window.reader.forget()
            ending = self._loop(run, painter, stop)
        if ending[0] == "finished":
            self._linger()
        return ending

    def _loop(self, run: Run, painter: Painter, stop: StopArea) -> tuple[Ending, str]:
        window = self._window
        zero_ns = time.perf_counter_ns()
        frame_ns = zero_ns
        while True:
            for read in window.reader.drain():
                if isinstance(read, Report):
                    self._sound(self._feed(run, read, zero_ns))
                    if self._stopped(read, stop):
                        return "stopped", "the person tapped Stop"
                elif read == "key":
                    return "stopped", "the person pressed a key"
                else:
                    reason = (
                        "the window was closed" if read == "quit" else "the window was left"
                    )
                    return "interrupted", reason
            now_ns = time.perf_counter_ns()
            if now_ns >= frame_ns:
                drawn_ns = now_ns - zero_ns
                self._sound(run.tick(drawn_ns))
                if run.finished:
                    return "finished", ""
                marks = run.marks(drawn_ns)
                changed = painter.draw(marks)
                if changed:
                    pygame.display.update(changed)
                run.frame(drawn_ns, time.perf_counter_ns() - zero_ns)
                self._publish(marks, stop)
                frame_ns += FRAME_NS
                if now_ns - frame_ns > FRAME_NS:  # late by more than a frame: do not catch up
                    frame_ns = now_ns + FRAME_NS
            else:
                window.reader.nap()

    @staticmethod
    def _feed(run: Run, read: Report, zero_ns: int) -> tuple[Event, ...]:
        return run.contact(
            max(read.t_ns - zero_ns, 0),
            read.kind,
            read.x_mm,
            read.y_mm,
            read.pointer,
            stamp_gap_ns=read.gap_ns,
        )

    def _sound(self, events: tuple[Event, ...]) -> None:
        if any(event.kind == "go" for event in events):
            self._window.tones.play()

    def _stopped(self, read: Report, stop: StopArea) -> bool:
        """Whether a tap that began on Stop has ended on it."""
        on_it = stop.contains_mm(read.x_mm, read.y_mm)
        if read.kind == "down":
            self._stop_pointer = read.pointer if on_it else self._stop_pointer
        elif read.kind == "up" and read.pointer == self._stop_pointer:
            self._stop_pointer = None
            return on_it
        return False

    def _publish(self, marks: tuple[Mark, ...], stop: StopArea) -> None:
        if not self._window.publisher.on:
            return
        scale = self._window.scale
        discs = [
            {
                "x_px": round(scale.to_px(m.x_mm, m.y_mm)[0], 1),
                "y_px": round(scale.to_px(m.x_mm, m.y_mm)[1], 1),
                "r_px": round(scale.length_px(m.r_mm), 1),
                "role": m.role,
                "label": m.label,
                "filled": m.filled,
            }
            for m in marks
            if isinstance(m, Disc)
        ]
        tracks = [
            [[round(v, 1) for v in scale.to_px(*p)] for p in m.points_mm]
            for m in marks
            if not isinstance(m, Disc)
        ]
        self._window.publisher.show(
            {
                "page": self._name,
                "running": True,
                "buttons": [stop.as_button()],
                "discs": discs,
                "tracks": tracks,
            }
        )

    def _linger(self) -> None:
        until_s = time.perf_counter() + LINGER_S
        while time.perf_counter() < until_s:
            for _ in self._window.reader.drain():
                pass
            self._window.reader.nap()


@contextmanager
def _quiet_memory() -> Iterator[None]:
    """Keep the collector of garbage from pausing a block."""
    gc.collect()
    gc.freeze()
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
        gc.unfreeze()
