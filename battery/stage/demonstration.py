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
from battery.stage.canvas import Canvas
from battery.stage.pages import Picture
from battery.stage.painter import FINGER, Painter
from battery.stage.scale import Scale
from tasks.contract import NS_PER_S, Contact, settings_to_dict

LONGEST_S = 10.0
STEADY = Truth(
    reaction_s=0.6,
    reaction_sd_s=0.0,
    movement_s=0.8,
    aim_noise=0.01,
    tremor_mm=0.0,
    pursuit_delay_s=0.05,
    pursuit_gain=1.0,
    search_s=0.7,
    slip_rate=0.0,
)


def demonstration(planned: PlannedBlock, seed: int) -> Picture:
    """Return a moving picture of a task, up to ten seconds, over and over."""
    header = BlockHeader(
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
    )
    block = run_block(header, Person(STEADY, TOUCH_60, seed))
    moves = contacts(block.samples)
    length_s = min(LONGEST_S, block.ended_ns / NS_PER_S)

    def draw(canvas: Canvas, room: pygame.Rect, shown_s: float) -> None:
        now_ns = round((shown_s % (length_s + 0.8)) * NS_PER_S)
        run = Run(header)
        finger: Contact | None = None
        for move in moves:
            if move.t_ns > now_ns:
                break
            run.contact(move.t_ns, move.kind, move.x_mm, move.y_mm, move.pointer)
            finger = move
        run.tick(max(now_ns, finger.t_ns if finger else 0))
        _paint(canvas, room, run, now_ns, finger)

    return draw


def _paint(
    canvas: Canvas, room: pygame.Rect, run: Run, now_ns: int, finger: Contact | None
) -> None:
    """Draw the task into the room of the page, smaller if it does not fit."""
    from tasks.registry import extent_mm

    half_x_mm, half_y_mm = extent_mm(run.settings)
    scale = canvas.window.scale
    shrink = min(
        1.0,
        room.width / 2 / scale.length_px(half_x_mm + 6),
        room.height / 2 / scale.length_px(half_y_mm + 6),
    )
    picture = canvas.surface.subsurface(room)
    screen = replace(
        scale.screen,
        width_px=room.width,
        height_px=room.height,
        mm_per_px_x=scale.screen.mm_per_px_x / shrink,
        mm_per_px_y=scale.screen.mm_per_px_y / shrink,
    )
    small = Scale(screen)
    Painter(picture, small).draw(run.marks(now_ns))
    if finger is not None:
        x_px, y_px = small.to_px(finger.x_mm, finger.y_mm)
        r_px = max(5, round(small.length_px(4.0)))
        pressed = finger.kind != "up"
        pygame.draw.circle(picture, FINGER, (x_px, y_px), r_px, 0 if pressed else 2)
