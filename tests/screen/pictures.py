"""Save a picture of every page and of the tasks at several moments, to be looked at.

``python -m tests.screen.pictures FOLDER [1280x800|1920x1200] [default|large]``
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
from datetime import datetime
from pathlib import Path

from battery.people import new_person
from battery.plan import Plan, PlannedBlock, PlannedTask, planned_blocks
from battery.recording import BlockHeader, Device
from battery.runner import run_block
from battery.simulate import TOUCH_60, Person, Truth
from battery.store import Store
from battery.visits import begin_visit
from tasks.contract import settings_to_dict
from tests.screen.pilot import TABLETS, Pilot, Replayed, open_window, tablet

NOW = datetime.fromisoformat("2026-03-04T10:00:00+00:00")
MOMENTS_S = {
    "tapping": (0.2, 1.4, 2.6, 4.0),
    "slide": (0.2, 1.6, 3.0),
    "pursuit": (0.2, 4.0),
    "trail": (0.5, 4.0, 9.0),
}


class Setter:
    """What `monkeypatch` does for the environment, outside a test."""

    @staticmethod
    def setenv(name: str, value: str) -> None:
        os.environ[name] = value


def save(window, folder: Path, name: str) -> None:
    number = len(list(folder.glob("*.png"))) + 1
    window.save_picture(folder / f"{number:02d}-{name.replace(' ', '-')}.png")


def pages(folder: Path, screen_name: str, *, large: bool) -> None:
    """Walk through a visit, with a made-up person at the blocks, stopping on the way."""
    from battery.stage import flow as flow_module

    plan = Plan(
        name="pictures",
        tasks=tuple(
            PlannedTask(task=task) for task in ("tapping", "slide", "pursuit", "trail")
        ),
        rest_s=30.0,
    )
    folder.mkdir(parents=True, exist_ok=True)
    with (
        tempfile.TemporaryDirectory() as home,
        Store.open(home) as store,
        open_window(Setter, tablet(screen_name)) as (window, clock),
    ):
        person = new_person(
            store, dominant_hand="right", affected_side="left", first_hand=None, now=NOW
        )
        seen: set[str] = set()
        stops = iter(("stop",))

        def choose(state):
            keys = [button["key"] for button in state["buttons"]]
            page = state["page"]
            if page == "rest" and keys == ["stop"]:
                save(window, folder, "rest waiting")
                return None
            if page not in seen:
                seen.add(page)
                wait_ns = 2_500_000_000 if page.startswith("demo") else 0
                pilot.settle_ns = max(400_000_000, wait_ns)
                pilot.later = page
            else:
                pilot.settle_ns = 400_000_000
            if page == "hand right" and next(stops, None):
                return "stop"
            return "go" if "go" in keys else "next" if "next" in keys else "end"

        pilot = Pilot(window, clock, choose)
        pilot.later = None
        drain = pilot.drain

        def drain_and_save():
            reads = drain()
            if reads and pilot.later:
                save(window, folder, pilot.later)
                pilot.later = None
            return reads

        pilot.drain = drain_and_save
        real = flow_module.LiveSource

        class Quick(real):
            def play(self, run):
                return Person(Truth(), TOUCH_60, 3).play(run)

        flow_module.LiveSource = Quick
        try:
            flow = flow_module.VisitFlow(
                window, code=person.code, today=NOW.date(),
                begin=lambda: begin_visit(
                    store, person, plan, Device("T-TEST", window.screen), wall=lambda: NOW,
                    random_source=random.Random(1),
                ),
                rest_s=plan.rest_s, large=large, seed=5,
            )  # fmt: skip
            walk(window, flow)
        finally:
            flow_module.LiveSource = real


def walk(window, flow) -> None:
    from battery.stage.pages import run_pages

    run_pages(window, flow.first())
    for page in (flow._other(), flow._stopped(planned_of(flow)), flow._ended()):
        page.after = lambda _: None
        run_pages(window, page)


def planned_of(flow) -> PlannedBlock:
    from battery.plan import STANDARD

    return planned_blocks(STANDARD, "right")[0]


def tasks(folder: Path, screen_name: str, *, large: bool) -> None:
    """Play every task with a made-up finger through the live window; save some moments."""
    from battery.plan import STANDARD
    from battery.runner import Run
    from battery.stage.live import LiveSource

    folder.mkdir(parents=True, exist_ok=True)
    with open_window(Setter, tablet(screen_name)) as (window, clock):
        for planned in planned_blocks(STANDARD, "right"):
            if planned.phase != "test" or planned.hand != "right":
                continue
            header = BlockHeader(
                "", "", 0, planned.task, planned.hand, "test", 3, "",
                settings_to_dict(planned.settings(3)), "",
            )  # fmt: skip
            played = run_block(header, Person(Truth(slip_rate=0.3), TOUCH_60, 3))
            reader = window.reader = Replayed(clock, played)
            due_s = list(MOMENTS_S[planned.task])
            begun = clock.now
            drain = reader.drain

            def drain_and_save(drain=drain, due_s=due_s, begun=begun, task=planned.task):
                if due_s and clock.now - begun >= due_s[0] * 1e9:
                    save(window, folder, f"{task} {due_s.pop(0):g}")
                return drain()

            reader.drain = drain_and_save
            LiveSource(window, hand="right", name=planned.task, large=large).play(Run(header))


def main() -> None:
    folder = Path(sys.argv[1])
    sizes = [a for a in sys.argv[2:] if a in TABLETS] or list(TABLETS)
    profiles = [a for a in sys.argv[2:] if a in ("default", "large")] or ["default", "large"]
    for size in sizes:
        for profile in profiles:
            where = folder / f"{size}-{profile}"
            pages(where, size, large=profile == "large")
            tasks(where, size, large=profile == "large")
            sys.stdout.write(f"{where} {len(list(where.glob('*.png')))} pictures\n")


if __name__ == "__main__":
    main()
