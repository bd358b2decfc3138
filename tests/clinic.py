"""A small invented clinic, recorded through the real path by simulated people.

Everything in it that must never leave the store carries one of the planted words.
"""

import random
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from battery.plan import Plan, PlannedTask
from battery.recording import Device, Screen
from battery.runner import run_block
from battery.simulate import Person as Simulated
from battery.simulate import Truth
from battery.store import HomeExercise, Person, Store
from battery.visits import begin_visit
from tests.store_kit import identifier

PLAN = Plan(
    name="margarethe",  # a name in place of a plan's name
    hands="right",
    rest_s=0,
    tasks=(
        PlannedTask(task="tapping", options={"duration_s": 14.0}, practice={"duration_s": 5.0}),
        PlannedTask(task="slide", options={"duration_s": 12.0}, practice={"duration_s": 5.0}),
        PlannedTask(
            task="pursuit",
            options={"predictable_s": 4.0, "unpredictable_s": 20.0},
            practice={"predictable_s": 4.0, "unpredictable_s": 0.0},
        ),
        PlannedTask(
            task="trail",
            options={"kinds": ("numbers", "alternating"), "n_nodes": 5},
            practice={"kinds": ("numbers",), "n_nodes": 5},
        ),
    ),
)
PLANTED = (
    "margarethe",
    "Margarethe",
    "Musterfrau",
    "SN-4711-0815",
    "hostname77",
    "dr.beispiel",
)
SCREEN = Screen(1280, 800, 0.17, 0.17, "virtual")
TABLET = Device("SN-4711-0815", SCREEN, "Linux hostname77 6.1")
OTHER_TABLET = Device("T-B", SCREEN, "simulated tablet", 20.0)
FIRST_DAY = datetime(2026, 3, 2, 23, 30, tzinfo=timezone(timedelta(hours=1)))


class Stopping(Simulated):
    """Stops the block after a second, with a name as the reason."""

    def play(self, run):
        run.tick(1_000_000_000)
        return "stopped", "Margarethe felt dizzy"


PRACTICE = (
    ("K7QF", "reported", "all", 10.0),
    ("K7QF", "seen", "head_turns", 1.0),
    ("M4WX", "reported", "rest_day", None),
    ("X3CF", "reported", "all", 5.0),
)


def one_visit(store, code, week, *, device=TABLET, sources=None):
    """Do a visit `week` weeks after the first; every source plays one block."""
    started = FIRST_DAY + timedelta(weeks=week)
    run = begin_visit(
        store,
        store.people.get(code),
        PLAN,
        device,
        wall=lambda: started,
        random_source=random.Random(f"{code} {week}"),
        origin="simulated",
    )
    for number, planned in enumerate(list(run.todo)):
        source = (sources or {}).get(number) or Simulated(Truth(), seed=number)
        run.run(planned, source)
    run.end()
    return run.header


def make(folder):
    """Three people: one with a baseline, one with a single visit, one who withdrew."""
    with Store.open(folder) as store:
        for code, side in (("K7QF", "left"), ("M4WX", "both"), ("X3CF", "right")):
            store.people.add(
                Person(code, "right", side, "right", "2026-03-01T08:00:00+00:00",
                       n_familiarisation=1, n_baseline=2)
            )  # fmt: skip
        for week in range(3):
            one_visit(store, "K7QF", week)
        stopped = one_visit(
            store, "M4WX", 1, device=OTHER_TABLET, sources={1: Stopping(Truth())}
        )
        one_visit(store, "X3CF", 0)
        cut_off(store, stopped)
        say_things(store)


def make_small(folder):
    """The same three people; every visit has one task only."""
    with pytest.MonkeyPatch.context() as patch:
        small = PLAN.model_copy(update={"tasks": PLAN.tasks[:1]})
        patch.setattr(sys.modules[__name__], "PLAN", small)
        make(folder)


def cut_off(store, visit):
    """Leave a block as a killed program would, and recover it."""
    header = replace(
        store.records.of_visit(visit.visit_id)[1].header,
        block_id="00000000-0000-4000-8000-000000000001",
        index=99,
    )
    sink = store.records.begin(header)
    run_block(header, Simulated(Truth(), seed=5), OnlyPuts(sink, n_puts=4))
    sink.stop()
    store.records.recover()


class OnlyPuts:
    """Hands on so many parts and then nothing, as if the power had gone."""

    def __init__(self, sink, n_puts):
        self.sink, self.n_puts = sink, n_puts

    def put(self, *parts):
        if self.n_puts > 0:
            self.sink.put(*parts)
            self.n_puts -= 1

    def close(self, block):
        pass


def say_things(store):
    first = store.visits.all("K7QF")[0].header
    block = store.records.of_visit(first.visit_id)[1].header
    said = {"author": "dr.beispiel", "reason": "Musterfrau said so"}
    at = datetime(2026, 3, 20, 12, tzinfo=UTC)
    stamps = [(at + timedelta(hours=hour)).isoformat() for hour in range(5)]
    store.annotations.amend("block", block.block_id, "hand", "left", **said, at_utc=stamps[0])
    store.annotations.amend(
        "block", block.block_id, "note", "Musterfrau", **said, at_utc=stamps[1]
    )
    store.annotations.amend(
        "visit", first.visit_id, "excluded", "yes", **said, at_utc=stamps[2]
    )
    store.annotations.amend(
        "visit", first.visit_id, "note", "Musterfrau", **said, at_utc=stamps[3]
    )
    store.annotations.add_marker(
        "K7QF", "medication", at_utc=stamps[4], note="Musterfrau, new dose"
    )
    for n, (code, kind, exercise, minutes) in enumerate(PRACTICE):
        store.care.put_home_exercise(
            HomeExercise(
                identifier(f"practice {n}"), code, kind, exercise, "left" if minutes else None,
                minutes, 1 if exercise == "head_turns" else None, "2026-03-12", stamps[4],
            )
        )  # fmt: skip
    store.annotations.add_marker("X3CF", "relapse", at_utc=stamps[4], note="Musterfrau")
    store.setup.put_setting("clinic", "Margarethe-Musterfrau-Haus")
    store.people.record_consent("X3CF", form_version="1", decision="given", at_utc=stamps[0])
    store.people.record_consent(
        "X3CF", form_version="1", decision="withdrawn", at_utc=stamps[1]
    )
    for code in ("K7QF", "M4WX"):
        store.people.record_consent(code, form_version="1", decision="given", at_utc=stamps[0])
