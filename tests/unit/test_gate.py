"""The practice gate: four of the last five, three times at most, then nothing is scored."""

import random
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from battery.plan import Plan, PlannedTask
from battery.recording import KIND_CODES, Device, Screen
from battery.scoring.gate import practice_passed, right_tries, understood
from battery.scoring.pursuit import parts as pursuit
from battery.simulate import Person as Simulated
from battery.simulate import Truth
from battery.store import Person, Store
from battery.visits import PRACTICES, begin_visit

NOW = datetime(2026, 3, 4, 10, tzinfo=UTC)
TASKS = ("tapping", "slide", "pursuit", "trail")
PLAN = Plan(
    name="gate",
    hands="right",
    rest_s=0,
    tasks=tuple(PlannedTask(task=task) for task in TASKS),
)


class Idle:
    """Somebody who does nothing until the time is up."""

    def play(self, run):
        while not run.finished and run.ended_ns < 200_000_000_000:
            run.tick(run.ended_ns + 250_000_000)
        return "finished", ""


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "home") as store:
        store.people.add(Person("K7QF", "right", "left", "right", NOW.isoformat()))
        yield store


def begun(store, origin="stage"):
    device = Device("T-A", Screen(1280, 800, 0.17, 0.17, "card"))
    return begin_visit(
        store, store.people.get("K7QF"), PLAN, device, wall=lambda: NOW,
        random_source=random.Random(5), origin=origin,
    )  # fmt: skip


def practice_of(visit, task):
    return next(b for b in visit.todo if (b.task, b.phase) == (task, "practice"))


@pytest.mark.parametrize("task", TASKS)
@pytest.mark.parametrize("tremor_mm", [0.5, 4.0])
def test_somebody_who_understands_passes_however_much_the_hand_shakes(store, task, tremor_mm):
    visit = begun(store)
    truth = replace(Truth(), tremor_mm=tremor_mm)
    block = visit.run(practice_of(visit, task), Simulated(truth, seed=4))
    assert right_tries(block)
    assert practice_passed(block)


@pytest.mark.parametrize("task", TASKS)
def test_who_does_nothing_does_not_pass(store, task):
    visit = begun(store)
    block = visit.run(practice_of(visit, task), Idle())
    assert not practice_passed(block)


@pytest.mark.parametrize(
    ("tries", "passed"),
    [
        ("", False),
        ("R", True),
        ("W", False),
        ("RRRRW", True),
        ("RRRWW", False),
        ("WWWWWRRRRW", True),  # only the last five count
        ("RRRRRRWRWR", False),
    ],
)
def test_four_of_the_last_five(tries, passed):
    assert understood([letter == "R" for letter in tries]) is passed


def test_after_three_practices_the_task_is_left_out(store):
    visit = begun(store)
    for number in range(1, PRACTICES + 1):
        planned = practice_of(visit, "tapping")
        visit.run(planned, Idle())
        assert visit.practise_again(planned) is (number < PRACTICES)
    assert all(block.task != "tapping" for block in visit.todo)
    assert all(
        r.header.phase == "practice" for r in store.records.of_visit(visit.header.visit_id)
    )
    assert store.scores.all("K7QF") == []


@pytest.mark.parametrize("n_done", [1, 2, 3])
def test_the_gate_holds_across_a_crash(store, n_done):
    """A visit that goes on asks for the practice again, and never more than three in all."""
    visit = begun(store)
    planned = practice_of(visit, "tapping")
    for _ in range(n_done):
        visit.todo.insert(0, planned)
        visit.run(planned, Idle())
    again = begun(store)
    assert again.resumed
    left = [(b.task, b.phase) for b in again.todo if b.task == "tapping"]
    expected = [("tapping", "practice"), ("tapping", "test")] if n_done < PRACTICES else []
    assert left == expected
    if expected:
        again.run(again.todo[0], Idle())
        assert again.practise_again(planned) is (n_done + 1 < PRACTICES)


def test_following_is_judged_by_contact_and_not_by_how_dense_the_reports_are(store):
    """Six in ten reports are dropped, 110 ms at a time; the finger never left the glass."""
    visit = begun(store)
    block = visit.run(practice_of(visit, "pursuit"), Simulated(Truth(), seed=4))
    samples = block.samples
    moves = samples["kind"] == KIND_CODES["move"]
    burst = samples["t_ns"] % 180_000_000 < 110_000_000
    sparse = replace(block, samples=samples[~(moves & burst)])
    for part in pursuit.parts(sparse):
        assert part.on.mean() < 0.5  # what is scored has gaps
    assert right_tries(sparse).count(False) <= 1
    assert practice_passed(sparse)
