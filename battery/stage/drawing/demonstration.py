"""Showing a task: a steady made-up finger plays it in virtual time and is played back.

It is the very task with the very settings of the practice, so that a demonstration cannot show
something the task does not do. Nothing of it is recorded.
"""

from __future__ import annotations

import uuid
from dataclasses import replace

import pygame

from battery.plan import PlannedBlock
from battery.recording import BlockHeader, contacts
from battery.runner import Run, run_block
from battery.simulate import TOUCH_60, Person, Truth
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.painter import Painter, apart
from battery.stage.screen.scale import Scale
from tasks.contract import NS_PER_S, Contact, settings_to_dict
from tasks.registry import TASKS, extent_mm

LONGEST_S = 10.0
PAUSE_S = 0.8  # between two showings
ROUND_MM = 6.0  # room around the task
FINGER_MM = 3.5
STEADY = Truth(
    reaction_s=0.6,
    reaction_sd_s=0.0,
    movement_s=0.8,
    aim_noise=0.01,
    tremor_mm=0.0,
    pursuit_delay_s=0.05,
    pursuit_gain=1.0,
    search_s=0.7,
    error_rate=0.0,
    wander_mm=0.0,
)


class Demonstration:
    """A moving picture of a task, up to ten seconds, over and over."""

    def __init__(self, planned: PlannedBlock, seed: int) -> None:
        self._header = BlockHeader(
            block_id=str(uuid.UUID(int=seed)),
            visit_id="",
            index=0,
            task=planned.task,
            hand=planned.hand,
            phase="practice",
            layout_seed=seed,
            layout_hash="",
            settings=settings_to_dict(planned.settings(seed)),
            started_utc="",
            task_version=TASKS[planned.task].version,
        )
        block = run_block(self._header, Person(STEADY, TOUCH_60, seed))
        self._moves = contacts(block.samples)
        self._length_s = min(LONGEST_S, block.ended_ns / NS_PER_S)
        self._run = Run(self._header)
        self._next = 0
        self._now_ns = 0
        self._finger: Contact | None = None

    def begin(self, canvas: Canvas, room: pygame.Rect) -> None:
        """Draw its beginning into the room of the page, smaller if it does not fit."""
        self._room = room
        self._surface = canvas.surface.subsurface(room)
        self._colour = canvas.theme.finger
        scale = canvas.window.scale
        half_x_mm, half_y_mm = extent_mm(Run(self._header).settings)
        shrink = min(
            1.0,
            room.width / 2 / scale.length_px(half_x_mm + ROUND_MM),
            room.height / 2 / scale.length_px(half_y_mm + ROUND_MM),
        )
        self._scale = Scale(
            replace(
                scale.screen,
                width_px=room.width,
                height_px=room.height,
                mm_per_px_x=scale.screen.mm_per_px_x / shrink,
                mm_per_px_y=scale.screen.mm_per_px_y / shrink,
            )
        )
        self._painter = Painter(self._surface, self._scale, canvas.theme)
        self._under: pygame.Surface | None = None
        self._under_at = pygame.Rect(0, 0, 0, 0)
        self._rewind()
        self.step(0.0)

    def step(self, shown_s: float) -> list[pygame.Rect]:
        """Draw what it looks like after `shown_s` seconds; return what has changed."""
        now_ns = round(shown_s % (self._length_s + PAUSE_S) * NS_PER_S)
        if now_ns < self._now_ns:
            self._rewind()
        self._now_ns = now_ns
        while self._next < len(self._moves) and self._moves[self._next].t_ns <= now_ns:
            move = self._finger = self._moves[self._next]
            self._run.contact(move.t_ns, move.kind, move.x_mm, move.y_mm, move.pointer)
            self._next += 1
        self._run.tick(now_ns)
        changed = []
        if self._under is not None:
            self._surface.blit(self._under, self._under_at)
            changed.append(self._under_at)
            self._under = None
        changed += self._painter.draw(self._run.marks(now_ns))
        if self._finger is not None:
            changed.append(self._draw_finger(self._finger))
        return [rect.move(self._room.topleft) for rect in apart(changed)]

    def _rewind(self) -> None:
        self._run = Run(self._header)
        self._next = 0
        self._now_ns = 0
        self._finger = None

    def _draw_finger(self, finger: Contact) -> pygame.Rect:
        """Draw the finger: filled on the glass, a ring in the air. Keep what is under it."""
        x_px, y_px = self._scale.to_px(finger.x_mm, finger.y_mm)
        r_px = max(5, round(self._scale.length_px(FINGER_MM)))
        place = pygame.Rect(0, 0, 2 * r_px + 4, 2 * r_px + 4)
        place.center = (round(x_px), round(y_px))
        self._under_at = place.clip(self._surface.get_rect())
        self._under = self._surface.subsurface(self._under_at).copy()
        line = 0 if finger.kind in ("down", "move") else max(2, r_px // 4)
        pygame.draw.aacircle(self._surface, self._colour, place.center, r_px, line)
        return self._under_at
