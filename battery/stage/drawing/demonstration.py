"""Showing a task: a steady simulated finger plays it in virtual time and is played back.

It is the very task with the very settings of the practice, so that a demonstration cannot show
something the task does not do. Nothing of it is recorded.
"""

from __future__ import annotations

import functools
import uuid
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import pygame

from battery.plan import PlannedBlock
from battery.recording import BlockHeader, contacts
from battery.runner import Run, run_block
from battery.simulate import TOUCH_60, Person, Truth
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.hands import pointing_hand
from battery.stage.drawing.painter import Painter, apart
from battery.stage.screen.scale import Scale
from tasks.contract import NS_PER_S, Contact, Disc, Mark, settings_to_dict
from tasks.registry import TASKS

Box = tuple[float, float, float, float]  # left, right, lower and upper end, mm

MAX_S = 10.0
PAUSE_S = 0.8  # between two showings
ROUND_MM = 3.0  # room around what is shown
HAND_MM = 0.9  # to a unit of the drawn hand: its finger is 10 mm wide
RING_MM, RING_LINE_MM = 7.0, 1.2  # around a fingertip that touches
LIFTED_MM = 6.0  # how far a lifted hand is drawn below its place
LIFTED_ALPHA = 150
BOUNDS_EVERY = 6  # contacts between two looks at what is shown
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

    beside = False
    shows = True

    def __init__(self, planned: PlannedBlock, seed: int) -> None:
        self.spill = pygame.Rect(0, 0, 0, 0)  # free room of the page below, for the hand alone
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
        self._length_s = min(MAX_S, block.ended_ns / NS_PER_S)
        self._boxes_mm = self._shown_mm()
        left, right, low, high = functools.reduce(joined, self._boxes_mm)
        self._bounds_mm = (
            left - ROUND_MM, right + ROUND_MM, low - ROUND_MM, high + ROUND_MM,
        )  # fmt: skip
        self._run = Run(self._header)
        self._next = 0
        self._now_ns = 0
        self._finger: Contact | None = None

    def _shown_mm(self) -> set[Box]:
        """Boxes of everything that is shown."""
        run = Run(self._header)
        found = boxes_mm(run.marks(0))
        for number, move in enumerate(self._moves):
            if move.t_ns > self._length_s * NS_PER_S:
                break
            run.contact(move.t_ns, move.kind, move.x_mm, move.y_mm, move.pointer)
            if number % BOUNDS_EVERY == 0:
                found |= boxes_mm(run.marks(move.t_ns))
        return found

    def share(self, scale: Scale, size_px: tuple[int, int]) -> float:
        """Size in a room of so many pixels over the size in the task, 1 at most."""
        left, right, low, high = self._bounds_mm
        return min(
            1.0,
            size_px[0] / scale.length_px(right - left),
            size_px[1] / scale.length_px(high - low),
        )

    def places(self, scale: Scale, room: pygame.Rect) -> list[pygame.Rect]:
        """Return where everything stands that is shown in a room, px."""
        own = self._scale_in(scale, room)
        found = []
        for left, right, low, high in sorted(self._boxes_mm):
            (x0, y0), (x1, y1) = own.to_px(left, high), own.to_px(right, low)
            found.append(pygame.Rect(x0, y0, x1 - x0, y1 - y0).move(room.topleft))
        return found

    def _scale_in(self, scale: Scale, room: pygame.Rect) -> Scale:
        """Return the scale in which the middle of what is shown is that of the room."""
        share = self.share(scale, room.size)
        left, right, low, high = self._bounds_mm
        px = scale.length_px(share)
        return Scale(
            replace(
                scale.screen,
                width_px=round(room.width - (left + right) * px),
                height_px=round(room.height + (low + high) * px),
                mm_per_px_x=scale.screen.mm_per_px_x / share,
                mm_per_px_y=scale.screen.mm_per_px_y / share,
            )
        )

    def begin(self, canvas: Canvas, room: pygame.Rect) -> None:
        """Draw its beginning into the room of the page, smaller if it does not fit."""
        self._room = room
        self._surface = canvas.surface.subsurface(
            room.union(self.spill) if self.spill else room
        )
        self._clips = [place.move(-room.left, -room.top) for place in (room, self.spill)]
        self._theme = canvas.theme
        self._scale = self._scale_in(canvas.window.scale, room)
        self._painter = Painter(self._surface, self._scale, canvas.theme)
        unit_px = self._scale.length_px(HAND_MM)
        self._hand = pointing_hand(canvas.theme, self._header.hand, unit_px)
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
            changed.append(self._draw_hand(self._finger))
        return [rect.move(self._room.topleft) for rect in apart(changed)]

    def _rewind(self) -> None:
        self._run = Run(self._header)
        self._next = 0
        self._now_ns = 0
        self._finger = None

    def _draw_hand(self, finger: Contact) -> pygame.Rect:
        """Draw the hand with its fingertip there, and a ring around it while it touches.

        Lifted, it is paler and a little lower. What is under it is kept.
        """
        x_px, y_px = self._scale.to_px(finger.x_mm, finger.y_mm)
        picture, tip_x, tip_y = self._hand
        touches = finger.kind in ("down", "move")
        down_px = 0.0 if touches else self._scale.length_px(LIFTED_MM)
        hand = picture.get_rect(topleft=(round(x_px) - tip_x, round(y_px + down_px) - tip_y))
        ring_px = max(6, round(self._scale.length_px(RING_MM)))
        ring = pygame.Rect(0, 0, 2 * ring_px + 4, 2 * ring_px + 4)
        ring.center = (round(x_px), round(y_px))
        self._under_at = hand.union(ring).clip(self._surface.get_rect())
        if not self._under_at.size[0] or not self._under_at.size[1]:
            return self._under_at
        self._under = self._surface.subsurface(self._under_at).copy()
        picture.set_alpha(255 if touches else LIFTED_ALPHA)
        for clip in self._clips:
            self._surface.set_clip(clip)
            self._surface.blit(picture, hand)
        self._surface.set_clip(None)
        if touches:
            line_px = max(2, round(self._scale.length_px(RING_LINE_MM)))
            pygame.draw.aacircle(
                self._surface, self._theme.finger, ring.center, ring_px, line_px
            )
        return self._under_at


def boxes_mm(marks: Sequence[Mark]) -> set[Box]:
    """Left, right, lower and upper end of each mark, of a track from point to point, mm."""
    found: set[Box] = set()
    for mark in marks:
        if isinstance(mark, Disc):
            ways, reach = [((mark.x_mm, mark.y_mm),) * 2], mark.r_mm
        else:
            points = list(mark.points_mm)
            ways, reach = list(pairwise(points)) or [(points[0],) * 2], mark.width_mm / 2
        for (x0, y0), (x1, y1) in ways:
            found.add(
                (
                    min(x0, x1) - reach, max(x0, x1) + reach,
                    min(y0, y1) - reach, max(y0, y1) + reach,
                )
            )  # fmt: skip
    return found


def joined(one: Box, other: Box) -> Box:
    """Return the bounds of two."""
    return (
        min(one[0], other[0]),
        max(one[1], other[1]),
        min(one[2], other[2]),
        max(one[3], other[3]),
    )
