"""A task joins by existing: a fifth one, made here, is done, scored, shown and exported."""

import ast
import random
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from battery import joining
from battery.export import export_bids, export_tidy, rescore_export, verify_export
from battery.joining import PARTS, join, leave
from battery.plan import Plan, PlannedTask
from battery.report import page_of, render
from battery.report.page_rows import Trace
from battery.rescoring import rescore_all
from battery.scoring.measure import OWN, Measure
from battery.scoring.score import Score
from battery.scoring.scorers import Computing, TaskScorer
from battery.simulate import Person as Simulated
from battery.simulate import Truth
from battery.stage.drawing.demonstration import Demonstration
from battery.store import Person, Store
from battery.verify import verify
from battery.visits import begin_visit
from tasks.contract import NS_PER_S, Contact, Disc, Event, Task
from tasks.registry import TASKS
from tests.clinic import OTHER_TABLET
from tests.export_kit import EVERYBODY

ROOT = Path(__file__).resolve().parents[2]
FOUR = tuple(TASKS)


# The fifth task: keep a finger on a disc. All of it stands here.


@dataclass(frozen=True, slots=True)
class HoldingOptions:
    duration_s: float = 4.0


@dataclass(frozen=True, slots=True)
class HoldingSettings:
    x_mm: float
    y_mm: float
    r_mm: float
    duration_s: float


@dataclass(frozen=True, slots=True)
class HoldingState:
    pointer: int | None = None
    trial: int = 0
    over: bool = False


def advance(settings, state, signal):
    end_ns = round(settings.duration_s * NS_PER_S)
    if state.over:
        return state, ()
    if signal.t_ns >= end_ns:
        return replace(state, over=True), (Event(end_ns, "end"),)
    if not isinstance(signal, Contact):
        return state, ()
    place = {"x_mm": signal.x_mm, "y_mm": signal.y_mm}
    if state.pointer is None and signal.kind == "down":
        held = replace(state, pointer=signal.pointer)
        return held, (Event(signal.t_ns, "grab", state.trial, **place),)
    if signal.kind == "up" and signal.pointer == state.pointer:
        lost = replace(state, pointer=None, trial=state.trial + 1)
        return lost, (Event(signal.t_ns, "lost", state.trial, **place),)
    return state, ()


RULES = Task(
    name="holding",
    settings_type=HoldingSettings,
    start=lambda settings: HoldingState(),
    advance=advance,
    view=lambda s, state, t_ns: (
        Disc(s.x_mm, s.y_mm, s.r_mm, "go" if state.pointer is None else "held"),
    ),
    mirror=lambda s: replace(s, x_mm=-s.x_mm),
    finished=lambda state: state.over,
    event_kinds=frozenset({"grab", "lost", "end"}),
)


def behave(hand):
    while True:
        disc = hand.disc("go")
        if disc is None:
            hand.stay(0.5)
            continue
        hand.approach(disc)
        hand.press()
        hand.stay(1.0)
        hand.lift()


def holds(block):
    events = block.events
    begins = events["t_ns"][events["kind"] == "grab"] / NS_PER_S
    ends = np.append(events["t_ns"][events["kind"] == "lost"], block.ended_ns) / NS_PER_S
    return [(float(a), float(b)) for a, b in zip(begins, ends, strict=False)]


def score(block, draw, pixel_mm):
    found = [b - a for a, b in holds(block)]
    return [
        Score(
            "holding.hold_s", float(np.mean(found)), len(found), reason="no interval: made up"
        ),
        Score("holding.n_holds", float(len(found)), len(found), len(found), len(found)),
    ]


def rows(block):
    return [
        {"trial": n, "label": "", "outcome": "done", "start_s": a, "end_s": b}
        for n, (a, b) in enumerate(holds(block))
    ]


SCORER = TaskScorer(
    task="holding",
    measures=(
        Measure("holding.hold_s", "Hold", "Mean hold.", "s", "higher", OWN, primary=True),
        Measure("holding.n_holds", "Holds", "How many.", "1", "none", OWN, log_scale=False),
    ),
    partner="holding.n_holds",
    min_trials=1,
    min_trials_usual=2,
    flag_measures=(),
    load=lambda: Computing(score, rows, lambda block: [True for _ in holds(block)]),
)


def fifth():
    return {
        "rules": RULES,
        "options": HoldingOptions,
        "layout": lambda options, seed: HoldingSettings(
            random.Random(seed).uniform(10, 50), 0.0, 9.0, options.duration_s
        ),
        "extent": lambda settings: (abs(settings.x_mm) + settings.r_mm, settings.r_mm),
        "scorer": SCORER,
        "behaviour": behave,
        "name": "Holding",
        "sentences": ("Press the disc.", "Keep your finger on it."),
        "reminder": "Keep your finger on the disc.",
        "title": "Holding",
        "speed": ("holding.n_holds", "lower"),
        "accuracy": "holding.hold_s",
        "reference": (),
        "trace": lambda block, visit: Trace(visit, block.header.block_id, paths_mm=()),
        "picture": lambda trace, hand, beside: [],
        "caption": "nothing",
        "bids": ("Hold a disc.", "Press the disc and keep your finger on it."),
        "scatter": 0.2,
    }


@pytest.fixture
def joined():
    join("holding", fifth())
    yield
    leave("holding")


PLAN = Plan(
    name="five",
    hands="left",
    rest_s=0,
    tasks=(
        PlannedTask(task="holding"),
        PlannedTask(task="slide", options={"duration_s": 10.0}, practice={"duration_s": 5.0}),
    ),
)


@pytest.fixture
def store(tmp_path, joined):
    with Store.open(tmp_path / "home") as opened:
        first = datetime(2026, 1, 5, 9, 30, tzinfo=UTC)
        opened.people.add(Person("K7QF", "right", "left", "left", first.isoformat(), 1, 2))
        for week in range(4):
            run = begin_visit(
                opened, opened.people.get("K7QF"), PLAN, OTHER_TABLET,
                wall=lambda week=week: first + timedelta(weeks=week),
                random_source=random.Random(week), origin="simulated",
            )  # fmt: skip
            for number, planned in enumerate(list(run.todo)):
                run.run(planned, Simulated(Truth(), seed=10 * week + number))
            run.end()
        yield opened


def test_a_fifth_task_passes_through_everything(store, tmp_path):
    """Plan, visit, record, verify, scores, page, both exports, and back from the export."""
    assert verify(store).findings == verify(store).notes == ()
    scored = [s for s in store.scores.all("K7QF") if s.measure == "holding.hold_s"]
    assert [round(s.value, 1) for s in scored] == pytest.approx([1.0] * 4, abs=0.3)
    assert "differ" not in rescore_all(store, progress=lambda done, of: None)
    page = render(page_of(store, "K7QF", now=datetime(2026, 2, 2, tzinfo=UTC)))
    assert "Holding" in page
    done = export_tidy(store, tmp_path / "out", selection=EVERYBODY)
    assert done.n_rows["blocks"] == 16
    assert verify_export(tmp_path / "out").findings == ()
    assert rescore_export(tmp_path / "out").differ == []
    export_bids(store, tmp_path / "bids", selection=EVERYBODY)
    assert list((tmp_path / "bids").rglob("*task-holding*_motion.json"))


def test_a_fifth_task_is_shown_before_it_is_done(joined):
    from battery.plan import planned_blocks

    planned = planned_blocks(PLAN, "left")[0]
    assert Demonstration(planned, seed=4) is not None


@pytest.mark.parametrize("part", PARTS)
def test_a_task_that_lacks_a_part_is_refused_by_its_name(part):
    parts = fifth()
    del parts[part]
    with pytest.raises(ValueError, match=f"task 'holding' lacks {part} \\({PARTS[part].where}"):
        join("holding", parts)
    assert all("holding" not in other.table for other in PARTS.values())


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("tapping", {}),
        ("holding", {"rules": TASKS["slide"]}),
        ("holding", {"smell": "of roses"}),
    ],
)
def test_a_task_of_two_names_or_twice_is_refused(name, change):
    with pytest.raises(ValueError, match=f"task '{name}'"):
        join(name, fifth() | change)
    assert tuple(TASKS) == FOUR


@pytest.mark.parametrize("part", PARTS)
def test_every_task_has_every_part(part):
    """And no part is of a task that is not there."""
    assert set(PARTS[part].table) == set(TASKS)


def test_a_part_stands_where_the_list_says():
    for part in PARTS.values():
        module, _, name = part.where.rpartition(".")
        found = __import__(module, fromlist=[name])
        assert getattr(found, name) is part.table


def test_no_other_table_by_task_has_to_be_known():
    """A dict with a key for each task, anywhere, is one of the parts."""
    known = {part.where.rpartition(".")[::2] for part in PARTS.values()}
    # The diary's words for exercises at home: "other" stands for any further task.
    known.add(("battery.stage.pages.home_exercise", "EXERCISES"))
    # Main measures by other means, on purpose without anything of the program.
    known.add(("battery.export.redo", "MAIN"))
    found = set()
    for top in ("battery", "tasks", "norms"):
        for path in (ROOT / top).rglob("*.py"):
            module = ".".join(path.relative_to(ROOT).with_suffix("").parts)
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Dict):
                    keys = {k.value for k in node.keys if isinstance(k, ast.Constant)}
                    if len(keys & set(FOUR)) >= 2:
                        found.add((module, node.lineno))
    tables = set()
    for module, line in found:
        tree = ast.parse((ROOT / (module.replace(".", "/") + ".py")).read_text("utf-8"))
        for node in tree.body:
            if node.lineno <= line <= (node.end_lineno or 0):
                target = getattr(node, "target", None) or getattr(node, "targets", [None])[0]
                tables.add((module, getattr(target, "id", f"line {line}")))
    assert tables <= known, sorted(tables - known)


def test_the_list_is_the_one_in_the_notes_for_developers():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for name, part in PARTS.items():
        assert f"`{part.where}`" in text, name
    assert joining.__doc__
