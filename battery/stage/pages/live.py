"""A live block: the window as a source of signals.

One thread reads and draws. It reads all the time and draws at absolute deadlines, sixty times a
second; nothing is allocated in bulk, written to disk or collected while a block runs.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import pygame

from battery.recording import Ending, Hand
from battery.runner import Run
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.flicker import Calm
from battery.stage.drawing.painter import Painter
from battery.stage.drawing.places import StopArea
from battery.stage.language import texts
from battery.stage.screen.pointer import Key, Report
from battery.stage.screen.publish import shown_marks
from battery.stage.screen.window import Window
from tasks.contract import NS_PER_MS, NS_PER_S, Event, Mark

FRAMES_PER_S = 60
LINGER_NS = 350 * NS_PER_MS  # the last picture stays a moment, so that the end does not startle
STOP_TAPPED = "the person tapped Stop"
HELP_TAPPED = "the person asked for help"
LEFT = "the window was left"
HAPPENED = {"slept": "the tablet slept", "changed": "the screen was turned or changed"}
STOP_SLACK_MM = 10.0  # a shaking finger may come up this far beside Stop


@dataclass(slots=True)
class Deadlines:
    """Absolute times at which frames are due: no frame's delay is handed on to the next.

    Parameters
    ----------
    begun_ns : int
        When frame 0 is due.
    number : int
        The frame that is due next.
    """

    begun_ns: int
    number: int = 0

    @property
    def due_ns(self) -> int:
        """When the next frame is due."""
        return self.begun_ns + self.number * NS_PER_S // FRAMES_PER_S

    def step(self, now_ns: int) -> None:
        """One frame was drawn; frames that are already past are left out, not caught up."""
        late = (now_ns - self.begun_ns) * FRAMES_PER_S // NS_PER_S
        self.number = max(self.number, late) + 1


class LiveSource:
    """Feeds a run from the window until the task is finished, stopped or broken off.

    Stop is one tap on its area, or a key; help is a tap on the other corner. Losing the
    window, another size of the screen and sleep break the block off.

    Parameters
    ----------
    window : Window
    hand : {"left", "right"}
        Stop stands in the upper corner away from it.
    name : str
        What the block is called while it is shown.
    reminder : str
        What is to be done, on one line at the upper edge, where no target ever lies.
    large : bool
        The large profile.

    Attributes
    ----------
    begun_ns : int
        The block's time 0 on the window's clock.
    """

    def __init__(
        self,
        window: Window,
        *,
        hand: Hand,
        name: str,
        reminder: str = "",
        large: bool = False,
    ) -> None:
        self._window = window
        self._hand = hand
        self._name = name
        self._reminder = reminder
        self._large = large
        self._stop_pointer: int | None = None
        self._help_pointer: int | None = None
        self._help = pygame.Rect(0, 0, 0, 0)
        self.begun_ns = -1

    def play(self, run: Run) -> tuple[Ending, str]:
        """Run the block in real time."""
        window = self._window
        canvas = Canvas(window, large=self._large)
        stop = canvas.stop_area(self._hand)
        canvas.clear()
        canvas.draw_stop(stop, texts.STOP)
        self._help = canvas.help_area(self._hand)
        canvas.draw_help(self._help, texts.HELP)
        canvas.edge_line(self._reminder)
        painter = Painter(window.surface, window.scale, window.theme)
        painter.prepare(run.marks(0))
        pygame.display.flip()
        with quiet_memory():
            window.reader.forget()
            window.watch()
            ending = self._loop(run, painter, stop)
            if ending[0] == "finished":
                self._linger()
        canvas.clear()
        canvas.words((texts.MOMENT,), canvas.body, cap_mm=canvas.sizes.text)
        pygame.display.flip()
        return ending

    def _loop(self, run: Run, painter: Painter, stop: StopArea) -> tuple[Ending, str]:
        window = self._window
        now_ns = window.now_ns
        begun_ns = self.begun_ns = now_ns()
        frames = Deadlines(begun_ns)
        calm = Calm()
        while True:
            happened = window.happening()
            if happened:
                return "interrupted", HAPPENED[happened]
            for read in window.reader.drain():
                if isinstance(read, Report):
                    self._sound(run, self._feed(run, read, begun_ns))
                    way_out = self._way_out(read, stop)
                    if way_out:
                        return "stopped", way_out
                elif isinstance(read, Key):
                    return "stopped", "the person pressed a key"
                elif read == "quit":
                    window.closing = True
                    return "interrupted", "the window was closed"
                elif happened := window.happening(look=True):
                    return "interrupted", HAPPENED[happened]
                elif read == "uncovered":
                    pygame.display.flip()
                else:
                    return "interrupted", LEFT
            t_ns = now_ns()
            if t_ns < frames.due_ns:
                window.reader.rest(frames.due_ns)
                continue
            drawn_ns = t_ns - begun_ns
            self._sound(run, run.tick(drawn_ns))
            if run.finished:
                return "finished", ""
            marks = calm.marks(run.marks(drawn_ns), drawn_ns)
            changed = painter.draw(marks)
            if changed:
                pygame.display.update(changed)
            run.frame(drawn_ns, now_ns() - begun_ns)
            frames.step(t_ns)
            if window.publisher.on:
                self._publish(marks, stop)

    @staticmethod
    def _feed(run: Run, read: Report, begun_ns: int) -> tuple[Event, ...]:
        return run.contact(
            max(read.t_ns - begun_ns, 0),
            read.kind,
            read.x_mm,
            read.y_mm,
            read.pointer,
            stamp_gap_ns=read.gap_ns,
        )

    def _sound(self, run: Run, events: tuple[Event, ...]) -> None:
        for event in events:
            if event.kind in run.task.tones:
                self._window.sound.play()

    def _way_out(self, read: Report, stop: StopArea) -> str:
        """Say which way out was tapped; empty for none.

        A tap that began on Stop may end close by. One on help must end on it.
        """
        at_mm = (read.x_mm, read.y_mm)
        on_help = self._help.collidepoint(self._window.scale.to_px(*at_mm))
        if read.kind == "down":
            if stop.contains_mm(*at_mm):
                self._stop_pointer = read.pointer
            elif on_help:
                self._help_pointer = read.pointer
        elif read.kind == "up" and read.pointer == self._stop_pointer:
            self._stop_pointer = None
            if stop.contains_mm(*at_mm, slack_mm=STOP_SLACK_MM):
                return STOP_TAPPED
        elif read.kind == "up" and read.pointer == self._help_pointer:
            self._help_pointer = None
            if on_help:
                return HELP_TAPPED
        return ""

    def _publish(self, marks: tuple[Mark, ...], stop: StopArea) -> None:
        self._window.publisher.show(
            {
                "page": self._name,
                "running": True,
                "buttons": [
                    stop.as_button(texts.STOP),
                    {"key": "help", "text": texts.HELP, "rect_px": list(self._help)},
                ],
                **shown_marks(marks, self._window.scale),
            }
        )

    def _linger(self) -> None:
        window = self._window
        until_ns = window.now_ns() + LINGER_NS
        while window.now_ns() < until_ns and not window.closing:
            window.closing = "quit" in window.reader.drain()
            window.reader.rest(until_ns)


@contextmanager
def quiet_memory() -> Iterator[None]:
    """Keep the collector of garbage from pausing a block."""
    gc.collect()
    gc.disable()
    try:
        yield
    finally:
        gc.enable()
