"""A process that shows a task and reads the pointer, for the measurement of stamps.

``python -m tests.bench.reading {stage|plain} TASK FILE``: prints where to press, reads until a
key is pressed, and writes what it read, when it drew and how much processor time it took.

`stage` is the program's own window and live block. `plain` is the loop most programs have:
sixty times a second draw everything, flip, take the events and stamp them.
"""

from __future__ import annotations

import json
import os
import resource
import sys
import time
import uuid
from pathlib import Path

import numpy as np

from battery.recording import KIND_CODES, BlockHeader
from battery.runner import Run
from tasks.contract import Disc, settings_to_dict
from tasks.layout import PursuitOptions, SlideOptions, TappingOptions, TrailOptions
from tasks.registry import make_settings

OPTIONS = {  # long enough not to end by themselves
    "tapping": TappingOptions(duration_s=600.0),
    "slide": SlideOptions(duration_s=600.0),
    "pursuit": PursuitOptions(predictable_s=0.0, unpredictable_s=300.0),
    "trail": TrailOptions(limit_s=600.0),
}


def new_run(task: str) -> Run:
    settings = make_settings(task, OPTIONS[task], 7, hand="right")
    return Run(
        BlockHeader(
            block_id=str(uuid.uuid4()), visit_id="", index=0, task=task, hand="right",
            phase="test", layout_seed=7, layout_hash="", settings=settings_to_dict(settings),
            started_utc="",
        )
    )  # fmt: skip


def press_place(run: Run, scale) -> tuple[float, float]:
    """Where the task wants to be pressed first."""
    discs = [mark for mark in run.marks(0) if isinstance(mark, Disc)]
    first = next(disc for disc in discs if disc.role in ("go", "home"))
    return scale.to_px(first.x_mm, first.y_mm)


def busy_s() -> float:
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime


class Measured:
    """Processor and wall time of the reading itself."""

    def __enter__(self):
        self.begun_s, self.busy_s = time.perf_counter(), busy_s()
        return self

    def __exit__(self, *_):
        self.busy_s = busy_s() - self.busy_s
        self.span_s = time.perf_counter() - self.begun_s


def when_drawn(run: Run, act) -> None:
    """Do something once, after the first frame."""
    keep = run.frame

    def first(drawn_ns: int, flip_ns: int) -> None:
        run.frame = keep
        keep(drawn_ns, flip_ns)
        act()

    run.frame = first


def say_ready(place_px) -> None:
    sys.stdout.write(json.dumps([round(v) for v in place_px]) + "\n")
    sys.stdout.flush()


def stage(task: str, path: Path) -> None:
    import battery.stage  # noqa: F401  # sets the toolkit's environment
    from battery.stage.pages.live import LiveSource
    from battery.stage.screen.window import Window

    with Window(windowed=True, known={}) as window:
        run = new_run(task)
        source = LiveSource(window, hand="right", name="bench")
        when_drawn(run, lambda: say_ready(press_place(run, window.scale)))
        with Measured() as measured:
            source.play(run)
        block = run.block("stopped", "")
        kinds = block.samples["kind"]
        motion = block.samples[(kinds == KIND_CODES["move"]) | (kinds == KIND_CODES["down"])]
        places = [window.scale.to_px(s["x_mm"], s["y_mm"]) for s in motion]
        np.savez(
            path,
            t_ns=motion["t_ns"] + source.begun_ns,
            gap_ns=motion["stamp_gap_ns"],
            px=np.floor(np.array(places).reshape(-1, 2)).astype(int),
            flip_ns=block.frames["flip_ns"] + source.begun_ns,
            cpu=measured.busy_s / measured.span_s,
        )


def plain(task: str, path: Path) -> None:
    os.environ["PYGAME_HIDE_SUPPORT_PROMPT"] = "1"
    import pygame

    pygame.display.init()
    screen = pygame.display.set_mode((1280, 800))
    from battery.recording import Screen
    from battery.stage.screen.scale import GUESS_MM_PER_PX, Scale

    scale = Scale(Screen(1280, 800, GUESS_MM_PER_PX, GUESS_MM_PER_PX))
    run = new_run(task)
    when_drawn(run, lambda: say_ready(press_place(run, scale)))
    clock = pygame.time.Clock()
    read, flips = [], []
    pressed, running = False, True
    begun_ns = time.perf_counter_ns()
    with Measured() as measured:
        while running:
            clock.tick(60)
            now_ns = time.perf_counter_ns() - begun_ns
            run.tick(now_ns)
            screen.fill((15, 19, 24))
            for mark in run.marks(now_ns):
                if isinstance(mark, Disc):
                    r_px = scale.length_px(mark.r_mm)
                    place = scale.to_px(mark.x_mm, mark.y_mm)
                    pygame.draw.circle(screen, (200, 200, 200), place, r_px)
                else:
                    points = [scale.to_px(*p) for p in mark.points_mm]
                    pygame.draw.lines(screen, (120, 130, 140), False, points, 6)
            pygame.display.flip()
            flips.append(time.perf_counter_ns())
            run.frame(now_ns, flips[-1] - begun_ns)
            for event in pygame.event.get():
                t_ns = time.perf_counter_ns()
                if event.type == pygame.MOUSEMOTION:
                    read.append((t_ns, *event.pos))
                    kind = "move" if pressed else "hover"
                elif event.type == pygame.MOUSEBUTTONDOWN:
                    pressed, kind = True, "down"
                elif event.type == pygame.MOUSEBUTTONUP:
                    pressed, kind = False, "up"
                else:
                    running = running and event.type != pygame.KEYDOWN
                    continue
                run.contact(t_ns - begun_ns, kind, *scale.to_mm(*event.pos))
    rows = np.array(read, dtype=np.int64).reshape(-1, 3)
    np.savez(
        path, t_ns=rows[:, 0], gap_ns=np.full(len(rows), -1), px=rows[:, 1:],
        flip_ns=np.array(flips), cpu=measured.busy_s / measured.span_s,
    )  # fmt: skip
    pygame.quit()


if __name__ == "__main__":
    {"stage": stage, "plain": plain}[sys.argv[1]](sys.argv[2], Path(sys.argv[3]))
