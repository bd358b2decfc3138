"""What is filmed to find the delay from a finger to light: a counter, and a patch that changes.

The counter shows a new number with every frame, so that a film of it tells the camera's own
rate. The patch changes with the very report of the finger and not with the next frame, so that
the film shows panel, display and as little of the program as there can be; how long the
program takes is measured beside it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pygame

from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.lettering import Lettering
from battery.stage.language import texts
from battery.stage.pages.live import Deadlines, quiet_memory
from battery.stage.pages.page import Left
from battery.stage.screen.pointer import Key, Report
from battery.stage.screen.window import Window
from battery.store.rows.device_checks import Edge
from tasks.contract import NS_PER_MS, NS_PER_S

COUNT_NS = 15 * NS_PER_S
DIGITS = 4
NUMBER_MM = 28.0
PATCH_MM, TOUCH_MM = 40.0, 30.0
APART_MM = 8.0
BOUNCE_NS = 250 * NS_PER_MS  # a finger that comes back sooner has bounced
LINGER_NS = 700 * NS_PER_MS


@dataclass
class CounterPage:
    """Shows a number that grows by one with every frame, for a while; a key ends it.

    Attributes
    ----------
    shown_ns : list of int
        When each number was on the screen, from 0.
    """

    name: str = "loop counter"
    length_ns: int = COUNT_NS
    shown_ns: list[int] = field(default_factory=list)

    def run(self, window: Window) -> None:
        """Count."""
        canvas = Canvas(window, large=False)
        canvas.clear()
        width_px, height_px = window.surface.get_size()
        size = min(canvas.px(NUMBER_MM), height_px // 4, width_px // (2 * DIGITS))
        letters = Lettering(size, weight="strong")
        theme = window.theme
        signs = [letters.picture(sign, theme.text) for sign in "0123456789"]
        wide = max(sign.get_width() for sign in signs)
        tall = max(sign.get_height() for sign in signs)
        whole = pygame.Rect(0, 0, DIGITS * wide, tall)
        whole.center = (width_px // 2, height_px // 2)
        pygame.display.flip()
        window.publisher.show({"page": self.name, "running": True, "buttons": [], "discs": []})
        self.shown_ns.clear()
        with quiet_memory():
            window.reader.forget()
            begun_ns = window.now_ns()
            frames = Deadlines(begun_ns)
            before = ""
            while True:
                now_ns = window.now_ns()
                if now_ns - begun_ns >= self.length_ns or _ended(window):
                    return
                if now_ns < frames.due_ns:
                    window.reader.rest(frames.due_ns)
                    continue
                text = f"{len(self.shown_ns):0{DIGITS}d}"[-DIGITS:]
                for place, sign in enumerate(text):
                    if place < len(before) and before[place] == sign:
                        continue
                    cell = pygame.Rect(whole.left + place * wide, whole.top, wide, tall)
                    window.surface.fill(theme.background, cell)
                    picture = signs[int(sign)]
                    window.surface.blit(picture, picture.get_rect(center=cell.center))
                before = text
                pygame.display.update(whole)
                self.shown_ns.append(window.now_ns())
                frames.step(now_ns)


def _ended(window: Window) -> bool:
    for read in window.reader.drain():
        if read == "quit":
            raise Left
        if isinstance(read, Key):
            return True
    return False


@dataclass
class PatchPage:
    """A patch that changes with every touch, or with every lift, so often; Stop ends it sooner.

    Parameters
    ----------
    edge : {"touch", "lift"}
    wanted : int

    Attributes
    ----------
    took_ns : list of int
        For each change: from the report of the finger to the return of the picture's update.
    gaps_ns : list of int
        How much earlier each report may have come.
    """

    edge: Edge
    wanted: int
    name: str = "loop patch"
    took_ns: list[int] = field(default_factory=list)
    gaps_ns: list[int] = field(default_factory=list)

    def run(self, window: Window) -> None:
        """Show the patch and change it."""
        canvas = Canvas(window, large=False)
        drawn = self._draw(canvas)
        stop = canvas.stop_area("right")
        self.took_ns.clear()
        self.gaps_ns.clear()
        stopping: int | None = None
        last_ns = window.now_ns() - BOUNCE_NS
        with quiet_memory():
            window.reader.forget()
            window.publisher.show(drawn)
            while len(self.took_ns) < self.wanted:
                for read in window.reader.drain():
                    if read == "quit":
                        raise Left
                    if isinstance(read, Key):
                        return
                    if not isinstance(read, Report) or read.kind not in ("down", "up"):
                        continue
                    if stop.contains_mm(read.x_mm, read.y_mm):
                        if read.kind == "up" and stopping == read.pointer:
                            return
                        stopping = read.pointer
                        continue
                    if read.kind != ("down" if self.edge == "touch" else "up"):
                        continue
                    if read.t_ns - last_ns < BOUNCE_NS:
                        continue
                    last_ns = read.t_ns
                    self._change(window)
                    self.took_ns.append(window.now_ns() - read.t_ns)
                    self.gaps_ns.append(read.gap_ns)
                    self._number(canvas)
                now_ns = window.now_ns()
                window.reader.rest(now_ns + NS_PER_S // 60)
            self._linger(window)

    @property
    def program_ms(self) -> float | None:
        """What the program took on average, ms: with half of the time that it did not look."""
        if not self.took_ns:
            return None
        halves = [gap / 2 for gap in self.gaps_ns]
        return (sum(self.took_ns) + sum(halves)) / len(self.took_ns) / NS_PER_MS

    def _draw(self, canvas: Canvas) -> dict[str, Any]:
        """Draw patch and ring; return what to publish of them."""
        window, theme = canvas.window, canvas.theme
        canvas.clear()
        canvas.draw_stop(canvas.stop_area("right"), texts.STOP)
        side, touch, apart = (canvas.px(mm) for mm in (PATCH_MM, TOUCH_MM, APART_MM))
        width_px, height_px = window.surface.get_size()
        side = min(side, (height_px - touch - apart) // 2)
        top = (height_px - side - apart - touch) // 2
        self._patch = pygame.Rect((width_px - side) // 2, top, side, side)
        self._place = pygame.Rect(self._patch.right + apart, top, touch, side // 2)
        ring = pygame.Rect(0, 0, touch, touch)
        ring.midtop = (width_px // 2, self._patch.bottom + apart)
        self._light = False
        frame = self._patch.inflate(canvas.px(2), canvas.px(2))
        pygame.draw.rect(window.surface, theme.text, frame, canvas.px(0.6))
        pygame.draw.rect(window.surface, (0, 0, 0), self._patch)
        pygame.draw.circle(window.surface, theme.text, ring.center, touch // 2, canvas.px(1))
        pygame.display.flip()
        return {
            "page": self.name,
            "running": True,
            "buttons": [canvas.stop_area("right").as_button(texts.STOP)],
            "discs": [],
            "patch_px": list(self._patch),
            "ring_px": list(ring),
        }

    def _change(self, window: Window) -> None:
        self._light = not self._light
        colour = (255, 255, 255) if self._light else (0, 0, 0)
        window.surface.fill(colour, self._patch)
        pygame.display.update(self._patch)

    def _number(self, canvas: Canvas) -> None:
        """Write beside the patch which change it was, after it."""
        canvas.empty(self._place)
        canvas.caption(str(len(self.took_ns)), self._place)
        pygame.display.update(self._place)

    def _linger(self, window: Window) -> None:
        """Leave the last change to be filmed."""
        until_ns = window.now_ns() + LINGER_NS
        while window.now_ns() < until_ns and not _ended(window):
            window.reader.rest(until_ns)
