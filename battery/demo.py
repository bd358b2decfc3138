"""A small invented clinic: three made-up people, their visits, pages and export.

Everything goes through the very path of a real visit: plan, layouts, tasks, recording, store,
scores, baseline, page and export. Only the source of the signals is simulated.
"""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from battery.errors import StoreError
from battery.export import export_tidy
from battery.plan import STANDARD
from battery.recording import Device, Screen
from battery.report import write_page
from battery.simulate import TOUCH_120, Person, Truth, better
from battery.store import Person as Enrolled
from battery.store import Store
from battery.visits import begin_visit

Progress = Callable[[int, int], None]

DEVICE = Device(
    alias="T-DEMO", screen=Screen(1280, 800, 0.17, 0.17, "virtual"), system="simulated tablet"
)
# From one visit to the next everybody is a little better or worse for no reason at all.
DAY_SD = 0.05
LEARNING_SHARE, LEARNING_VISITS = 0.25, 1.8


@dataclass(frozen=True, slots=True)
class Story:
    """One invented person: a base, and how much better each hand is at visit k from 0."""

    code: str
    about: str
    base: Truth
    gain: Callable[[int, str], float]
    dominant_hand: str = "right"
    affected_side: str = "left"


def _learning(visit: int) -> float:
    """Share by which the first visits are worse: everybody learns the test."""
    return -LEARNING_SHARE * float(np.exp(-visit / LEARNING_VISITS))


def _improving(visit: int, hand: str) -> float:
    grown = 0.045 * max(0, visit - 5) if hand == "left" else 0.0
    return _learning(visit) / 3 + min(grown, 0.4)


def _unchanged(visit: int, hand: str) -> float:
    del hand
    return _learning(visit) / 3


def _learner(visit: int, hand: str) -> float:
    del hand
    return _learning(visit)


STORIES = (
    Story(
        "K7QF",
        "left arm improves from the sixth visit on",
        Truth(tremor_hz=4.6, tremor_mm=1.6, aim_noise=0.09, search_s=1.3),
        _improving,
    ),
    Story(
        "M3XD",
        "nothing changes",
        Truth(tremor_hz=6.2, tremor_mm=1.1, aim_noise=0.07, pursuit_gain=0.88),
        _unchanged,
        affected_side="right",
    ),
    Story(
        "V9HN",
        "only learns the test",
        Truth(tremor_hz=8.5, tremor_mm=0.5, aim_noise=0.06, search_s=1.1),
        _learner,
        affected_side="both",
    ),
)


@dataclass(frozen=True, slots=True)
class Demo:
    """Where everything is."""

    folder: Path
    pages: list[Path]
    export: Path
    n_visits: int
    seconds: float
    store_bytes: int

    def summary(self) -> str:
        """Say what was made and where it is."""
        per_visit = self.store_bytes / 1e6 / max(self.n_visits, 1)
        lines = [
            f"An invented clinic: {len(STORIES)} people, {self.n_visits} visits, "
            f"made in {self.seconds:.0f} s; {per_visit:.1f} MB a visit.",
            *(f"  {s.code}: {s.about}" for s in STORIES),
            "Pages:",
            *(f"  {page}" for page in self.pages),
            f"Export: {self.export}",
            f"Store:  {self.folder}   (use it with --home '{self.folder}')",
        ]
        return "\n".join(lines)


def make_demo(
    directory: Path | None = None,
    *,
    n_visits: int = 14,
    now: datetime,
    progress: Progress | None = None,
) -> Demo:
    """Make the demo in a folder that is new or empty.

    Parameters
    ----------
    directory : Path, optional
        Default: ``battery-demo`` here, numbered if that exists.
    n_visits : int
        Weekly visits a person; the last one is two days before `now`.
    progress : callable, optional
        Called with (visits done, visits in all). Default: a bar on a terminal.

    Raises
    ------
    StoreError
        If the folder is not empty or cannot be written.
    """
    begun = time.monotonic()
    folder = _fresh_folder(directory)
    with _bar(progress) as step, Store.open(folder) as store:
        with store.lock_for_recording():
            for index, story in enumerate(STORIES):
                _enrol(store, story, now - timedelta(weeks=n_visits))
                for visit in range(n_visits):
                    _one_visit(store, story, visit, n_visits, now)
                    step(index * n_visits + visit + 1, len(STORIES) * n_visits)
        pages = [
            write_page(store, story.code, folder / f"{story.code}.html", now=now)
            for story in STORIES
        ]
        export = folder / "export"
        export_tidy(store, export)
        size = sum(p.stat().st_size for p in folder.glob("battery.sqlite*"))
    return Demo(folder, pages, export, len(STORIES) * n_visits, time.monotonic() - begun, size)


def _fresh_folder(directory: Path | None) -> Path:
    folder = directory or Path("battery-demo")
    number = 2
    while directory is None and folder.exists():
        folder, number = Path(f"battery-demo-{number}"), number + 1
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        msg = f"'{folder}' is not an empty folder; nothing was changed, name a new one"
        raise StoreError(msg)
    return folder


def _enrol(store: Store, story: Story, when: datetime) -> None:
    store.add_person(
        Enrolled(
            code=story.code,
            dominant_hand="right",
            affected_side=story.affected_side,  # type: ignore[arg-type]
            first_hand="left" if story.affected_side == "right" else "right",
            enrolled_utc=when.isoformat(timespec="seconds"),
        )
    )


def _one_visit(store: Store, story: Story, visit: int, n_visits: int, now: datetime) -> None:
    started = now - timedelta(weeks=n_visits - 1 - visit, days=2)
    number = int.from_bytes(story.code.encode(), "big") + visit
    day = np.random.default_rng(number)
    shift = float(day.normal(0, DAY_SD))
    run = begin_visit(
        store,
        store.person(story.code),
        STANDARD,
        DEVICE,
        wall=lambda: started,
        random_source=random.Random(number),
        origin="simulated",
    )
    for index, planned in enumerate(list(run.todo)):
        own = shift + float(day.normal(0, DAY_SD))
        truth = better(story.base, story.gain(visit, planned.hand) + own)
        if planned.hand == story.affected_side:
            truth = replace(truth, aim_noise=1.3 * truth.aim_noise)
        run.run(planned, Person(truth, TOUCH_120, seed=1000 * number + index))
    run.end()


@contextmanager
def _bar(progress: Progress | None) -> Iterator[Progress]:
    if progress is not None:
        yield progress
        return
    if not sys.stderr.isatty():
        yield lambda _done, _total: None
        return
    from rich.console import Console
    from rich.progress import Progress as Bar

    with Bar(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("simulating visits", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
