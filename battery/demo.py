"""A small invented clinic: three simulated participants, their visits, pages and export.

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
from uuid import UUID

import numpy as np

from battery.errors import StoreError
from battery.export import Form, export_tidy
from battery.home_plan import EXERCISES, Dose, set_home_plan
from battery.moments import utc_text
from battery.plan import STANDARD
from battery.recording import Device, Hand, Screen
from battery.report import write_page
from battery.simulate import TOUCH_120, Person, Truth, at_visit, better
from battery.store import AffectedSide, HomeExercise, HomeExerciseKind, MarkerKind, Store
from battery.store import Person as Enrolled
from battery.visits import begin_visit
from tasks.contract import NS_PER_S

Progress = Callable[[int, int], None]

DEVICE = Device(
    alias="T-DEMO", screen=Screen(1280, 800, 0.17, 0.17, "virtual"), system="simulated tablet"
)
# From one visit to the next, and from one block to the next, everybody is a little better or
# worse for no reason at all: standard deviation of the share.
VISIT_SD, BLOCK_SD = 0.05, 0.05
MORE_AFFECTED = 1.3  # scatter and tremor of the more affected hand
DAYS_AGO = 2  # the last visit
HOUR, MINUTES_SD = 10, 20.0  # when in the day people do their visit


@dataclass(frozen=True, slots=True)
class Story:
    """One invented person.

    Parameters
    ----------
    code : str
    about : str
        What happens to the person, in words.
    base : Truth
        What the person is made of once the test is learned.
    affected_side : {"left", "right", "both"}
    improving_from : int, optional
        Visit, from 0, after which the more affected hand gets better.
    events : tuple of (int, str, str)
        Before which visit, from 0, what happened, and a few words.
    times_a_day : int, optional
        Of each exercise in the home plan.
    goals : tuple of (str, tuple of int)
        In own words, with the ratings: one before the fifth visit, one before the last.
    """

    code: str
    about: str
    base: Truth
    affected_side: AffectedSide
    improving_from: int | None = None
    events: tuple[tuple[int, MarkerKind, str], ...] = ()
    times_a_day: int | None = None
    goals: tuple[tuple[str, tuple[int, int]], ...] = ()

    def truth(self, visit: int, hand: Hand) -> Truth:
        """Say what the person is made of at a visit, from 0, with a hand; without chance."""
        truth = at_visit(self.base, visit)
        if hand != self.affected_side:
            return truth
        truth = replace(
            truth,
            aim_noise=MORE_AFFECTED * truth.aim_noise,
            tremor_mm=MORE_AFFECTED * truth.tremor_mm,
        )
        if self.improving_from is None:
            return truth
        return better(truth, min(0.035 * max(0, visit - self.improving_from), 0.3))


STORIES = (
    Story(
        "K7QF",
        "the left hand gets better from the seventh visit on",
        Truth(
            tremor_hz=4.6,
            tremor_mm=1.4,
            tremor_bandwidth_hz=0.3,
            intention=0.5,
            aim_noise=0.08,
            search_s=1.3,
            learning=0.08,
        ),
        "left",
        improving_from=5,
        events=((9, "medication", "evening dose moved to noon"),),
        times_a_day=2,
        goals=(
            ("carry a full cup to the table", (-1, 1)),
            ("sign my name on one line", (-1, 0)),
        ),
    ),
    Story(
        "M3XD",
        "nothing changes",
        Truth(
            tremor_hz=6.2,
            tremor_mm=1.0,
            tremor_bandwidth_hz=0.3,
            aim_noise=0.065,
            pursuit_gain=0.88,
            learning=0.08,
        ),
        "right",
        events=((7, "glasses", "new reading glasses"),),
        times_a_day=1,
    ),
    Story(
        "V9HN",
        "only learns the test",
        Truth(
            tremor_hz=8.5,
            tremor_mm=0.5,
            tremor_bandwidth_hz=0.4,
            aim_noise=0.06,
            search_s=1.1,
            learning=0.25,
        ),
        "both",
    ),
)


class _Wall:
    """A clock on the wall that a visit in virtual time moves on."""

    def __init__(self, started: datetime) -> None:
        self._now = started

    def __call__(self) -> datetime:
        return self._now

    def move_on(self, seconds: float) -> None:
        self._now += timedelta(seconds=seconds)


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
        Called with (steps done, steps in all): a visit made, a page written, a visit
        exported. Default: a bar on a terminal.

    Raises
    ------
    StoreError
        If the folder is not empty or cannot be written.
    """
    begun = time.monotonic()
    folder = _fresh_folder(directory)
    export = folder / "export"
    n_all = len(STORIES) * n_visits
    n_steps = 2 * n_all + len(STORIES)
    with _bar(progress) as step, Store.open(folder) as store:
        with store.records.lock():
            for index, story in enumerate(STORIES):
                _enrol(store, story, now - timedelta(weeks=n_visits))
                for visit in range(n_visits):
                    _one_visit(store, story, visit, n_visits, now)
                    step(index * n_visits + visit + 1, n_steps)
                _around(store, story, n_visits, now)
        pages = []
        for index, story in enumerate(STORIES):
            pages.append(write_page(store, story.code, folder / f"{story.code}.html", now=now))
            step(n_all + index + 1, n_steps)
        export_tidy(
            store,
            export,
            form=Form(csv=True),
            progress=lambda done, _: step(n_steps - n_all + done, n_steps),
        )
        size = sum(p.stat().st_size for p in folder.glob("battery.sqlite*"))
    return Demo(folder, pages, export, n_all, time.monotonic() - begun, size)


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
    store.people.add(
        Enrolled(
            code=story.code,
            dominant_hand="right",
            affected_side=story.affected_side,
            first_hand="left" if story.affected_side == "right" else "right",
            enrolled_utc=when.isoformat(timespec="seconds"),
        )
    )
    store.people.record_consent(
        story.code,
        form_version="1",
        decision="given",
        at_utc=when.isoformat(timespec="seconds"),
    )


def _around(store: Store, story: Story, n_visits: int, now: datetime) -> None:
    """Enter what a therapist would enter around the visits."""

    def before(visit: int) -> datetime:
        return now - timedelta(weeks=n_visits - 1 - visit, days=DAYS_AGO + 3)

    def utc(when: datetime) -> str:
        return utc_text(when, "seconds")

    for visit, kind, note in story.events:
        if visit < n_visits:
            store.annotations.add_marker(story.code, kind, at_utc=utc(before(visit)), note=note)
    by = "therapist"
    if story.times_a_day is not None:
        days = tuple(range(1, 8))
        set_home_plan(
            store,
            story.code,
            [Dose(name, "both", 1.0, story.times_a_day, days, "near", 0) for name in EXERCISES],
            from_date=before(0).date(),
            author=by,
            at_utc=utc(before(0)),
        )
        _diary(store, story, n_visits, now)
    for text, ratings in story.goals:
        goal = store.care.set_goal(story.code, text, at_utc=utc(before(0)), author=by)
        for visit, level in zip((4, n_visits - 1), ratings, strict=True):
            store.care.rate_goal(goal.goal_id, level, at_utc=utc(before(visit)), author=by)


def _diary(store: Store, story: Story, n_visits: int, now: datetime) -> None:
    """Report most of the home exercise planned, with a rest day a week; a timer sees some."""
    chance = random.Random(story.code)
    a_day = story.times_a_day or 0
    for day in range(7 * (n_visits - 1)):
        when = now - timedelta(days=7 * (n_visits - 1) + DAYS_AGO - day)
        rest = day % 7 == 6
        times = 1 if rest else sum(chance.random() < 0.8 for _ in range(round(a_day * 7 / 6)))
        for _ in range(times):
            kinds: tuple[HomeExerciseKind, ...] = ("reported", "seen")
            for kind in kinds[: 1 + (not rest and chance.random() < 0.4)]:
                store.care.put_home_exercise(
                    HomeExercise(
                        practice_id=str(UUID(int=chance.getrandbits(128), version=4)),
                        person=story.code,
                        kind=kind,
                        exercise="rest_day" if rest else "all",
                        hand=None,
                        minutes=None if rest else 2.0,
                        symptoms=None,
                        local_date=when.date().isoformat(),
                        at_utc=utc_text(when, "seconds"),
                    )
                )


def _one_visit(store: Store, story: Story, visit: int, n_visits: int, now: datetime) -> None:
    number = int.from_bytes(story.code.encode(), "big") + visit
    day = np.random.default_rng(number)
    wall = _Wall(_morning(now - timedelta(weeks=n_visits - 1 - visit, days=DAYS_AGO), day))
    of_the_day = float(day.normal(0, VISIT_SD))
    run = begin_visit(
        store,
        store.people.get(story.code),
        STANDARD,
        DEVICE,
        wall=wall,
        random_source=random.Random(number),
        origin="simulated",
    )
    for index, planned in enumerate(list(run.todo)):
        chance = of_the_day + float(day.normal(0, BLOCK_SD))
        truth = better(story.truth(visit, planned.hand), chance)
        block = run.run(planned, Person(truth, TOUCH_120, seed=1000 * number + index))
        wall.move_on(block.ended_ns / NS_PER_S + STANDARD.rest_s)
    run.end()


def _morning(day: datetime, chance: np.random.Generator) -> datetime:
    """About ten o'clock of a day."""
    minutes = round(float(chance.normal(0, MINUTES_SD)))
    return day.replace(hour=HOUR, minute=0, second=0, microsecond=0) + timedelta(
        minutes=minutes
    )


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
        task = bar.add_task("visits, pages, export", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
