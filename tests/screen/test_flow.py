"""The pages of a whole visit: order, sides, ways out, and that everything fits."""

import itertools
import random
from datetime import datetime
from types import SimpleNamespace

import pygame
import pytest

from battery.answers import ASKED_TWICE
from battery.people import new_person
from battery.plan import Plan, PlannedTask
from battery.recording import Device
from battery.simulate import TOUCH_60, Person, Truth
from battery.stage.drawing.places import DEFAULT, LARGE
from battery.stage.pages import flow as flow_module
from battery.stage.pages.flow import VisitFlow
from battery.stage.pages.following import run_pages
from battery.stage.pages.page import TextPage
from battery.stage.pages.questions import Asking
from battery.stage.visit import about_minutes
from battery.store import Store
from battery.visits import begin_visit
from tests.screen.layout import check_page
from tests.screen.manners import Person as Somebody
from tests.screen.pilot import Pilot, open_window, tablet
from tests.sparing import only

NOW = datetime.fromisoformat("2026-03-04T10:00:00+00:00")
PLAN = Plan(
    name="test",
    tasks=(
        PlannedTask(task="tapping", options={"duration_s": 5.0}),
        PlannedTask(task="slide", options={"duration_s": 12.0}),
        PlannedTask(task="pursuit", options={"predictable_s": 4.0, "unpredictable_s": 0.0}),
        PlannedTask(task="trail", options={"kinds": ("numbers",), "n_nodes": 5}),
    ),
    rest_s=30.0,
)
BRIEF = PLAN.model_copy(update={"tasks": PLAN.tasks[:1]})


class Clinic:
    """A store with one person, and visits of theirs in a window."""

    def __init__(self, store, window, clock, monkeypatch, plan=PLAN, *, large=False, **more):
        self.store = store
        self.window = window
        self.clock = clock
        self.plan = plan
        self.large = large
        self.more = more  # for the flow
        self.idle = False  # whether nobody does the practices
        self.random = random.Random(8)
        self.endings = []  # of the blocks to come; finished when there is none
        self.person = new_person(
            store, dominant_hand="right", affected_side="left", first_hand=None, now=NOW
        )
        clinic = self

        class Source(flow_module.LiveSource):
            def play(self, run):
                if clinic.idle and run.header.phase == "practice":
                    run.tick(4_000_000_000)
                    return "finished", ""
                if clinic.endings and (ending := clinic.endings.pop(0)) != "finished":
                    return ending, "in a test"
                return Person(Truth(), TOUCH_60, 3).play(run)

        monkeypatch.setattr(flow_module, "LiveSource", Source)

    def visit(self, choose):
        """Do a visit; returns the published states of its pages."""
        pilot = choose
        if not isinstance(pilot, Pilot):
            pilot = Pilot(self.window, self.clock, choose)
        flow = VisitFlow(
            self.window, code=self.person.code, today=NOW.date(),
            begin=lambda: begin_visit(
                self.store, self.person, self.plan, Device("T-TEST", self.window.screen),
                wall=lambda: NOW, random_source=self.random,
            ),
            rest_s=self.plan.rest_s, large=self.large, seed=5, **self.more,
        )  # fmt: skip
        run_pages(self.window, flow.first())
        return pilot.states

    def blocks(self):
        visits = self.store.visits.all(self.person.code)
        return [
            record
            for visit in visits
            for record in self.store.records.of_visit(visit.header.visit_id)
        ]


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "home") as store:
        yield store


@pytest.fixture
def clinic(store, headless, monkeypatch):
    return Clinic(store, *headless, monkeypatch)


forward = Somebody()


def names(states):
    """The pages in order; a page that shows its buttons later is one page."""
    seen = []
    for state in states:
        if not seen or seen[-1] != state["page"]:
            seen.append(state["page"])
    return seen


PART = ("hand {hand} {task}", "ready {task} test")


BEFORE = [
    "start",
    "welcome",
    "red flags",
    "posture",
    *(f"before {name}" for name in ASKED_TWICE),
    "medication",
    "weight",
]
AFTER = ["effort", "helped", "as before", "thanks"]


def test_a_visit_leads_through_every_task_with_each_hand(clinic):
    states = clinic.visit(forward)
    expected = list(BEFORE)
    for task in ("tapping", "slide", "pursuit", "trail"):
        expected += [f"what to do {task}", f"demonstration {task}"]  # before the first hand
        for hand in ("right", "left"):
            expected += [page.format(hand=hand, task=task) for page in PART]
            expected += ["hand used", "rest"]
    assert names(states) == expected[:-1] + AFTER
    done = [(b.header.task, b.header.hand, b.header.phase, b.ending) for b in clinic.blocks()]
    assert done == [
        (task, hand, phase, "finished")
        for task in ("tapping", "slide", "pursuit", "trail")
        for hand in ("right", "left")
        for phase in ("practice", "test")
    ]
    (visit,) = clinic.store.visits.all(clinic.person.code)
    assert visit.ending == "finished"


def test_a_page_says_which_part_it_belongs_to(clinic, monkeypatch):
    """Which hand was used, and the rest, belong to the part that is over."""
    said, run = {}, TextPage.run

    def heard(page, window):
        said.setdefault(page.name, str(page.where))
        return run(page, window)

    monkeypatch.setattr(TextPage, "run", heard)
    clinic.visit(forward)
    assert said["red flags"] == "Before the first part"
    parts = ("what to do tapping", "ready tapping test", "hand used", "rest")
    assert {said[page] for page in parts} == {"Part 1 of 8"}
    assert said["hand left tapping"] == "Part 2 of 8"
    assert said["effort"] == "After the last part"


def test_one_part_is_not_said_in_the_plural():
    def said(n_planned):
        asking = Asking.__new__(Asking)
        asking._visit = SimpleNamespace(n_planned=n_planned)
        asking._minutes = 12
        asking._make = SimpleNamespace(text=lambda _name, _title, lines, *_, **__: lines)
        return str(asking._welcome(lambda: None, None)[0])

    assert said(1) == "One short part. It takes a few minutes."
    assert said(8) == "8 short parts, with rests. It takes about 12 minutes."
    assert about_minutes(BRIEF.model_copy(update={"rest_s": 0.0})) == 2


def test_the_start_button_stands_on_the_side_of_the_hand_and_stop_on_the_other(clinic):
    middle_px = clinic.window.screen.width_px / 2
    before = ("ready", "hand right tapping", "hand left tapping")
    pages = [s for s in clinic.visit(forward) if s["page"].startswith(before)]
    hands = iter(["right"] * 2 + ["left"] * 2)
    for state, hand in zip(pages[:4], hands, strict=True):
        places = {b["key"]: pygame.Rect(b["rect_px"]).centerx for b in state["buttons"]}
        assert (places["go"] > middle_px) == (hand == "right")
        assert (places["stop"] > middle_px) == (hand == "left")


def test_not_me_leaves_no_visit_behind(clinic):
    states = clinic.visit(lambda s: "other" if s["page"] == "start" else "end")
    assert names(states) == ["start", "other"]
    assert clinic.store.visits.all(clinic.person.code) == []


def test_a_stopped_block_may_be_tried_once_more(clinic):
    clinic.plan = BRIEF
    clinic.endings = ["finished", "stopped", "stopped"]
    states = clinic.visit(forward)
    stopped = [s for s in states if s["page"] == "stopped"]
    assert [[b["key"] for b in s["buttons"]] for s in stopped] == [
        ["help", "say again", "next", "unwell", "end", "go"],
        ["help", "say again", "unwell", "end", "next"],
    ]
    endings = [(b.header.hand, b.header.phase, b.ending) for b in clinic.blocks()]
    assert endings == [
        ("right", "practice", "finished"),
        ("right", "test", "stopped"),
        ("right", "test", "stopped"),
        ("left", "practice", "finished"),
        ("left", "test", "finished"),
    ]


def test_next_part_leaves_out_the_test_whose_practice_was_stopped(clinic):
    clinic.plan = BRIEF
    clinic.endings = ["stopped"]
    clinic.visit(lambda s: "next" if s["page"] == "stopped" else forward(s))
    endings = [(b.header.hand, b.header.phase, b.ending) for b in clinic.blocks()]
    assert endings == [
        ("right", "practice", "stopped"),
        ("left", "practice", "finished"),
        ("left", "test", "finished"),
    ]


def test_the_visit_can_be_ended_from_the_stopped_page(clinic):
    clinic.plan = BRIEF
    states = clinic.visit(
        lambda s: {"rest": "stop", "stopped": "end"}.get(s["page"], forward(s))
    )
    assert names(states)[-3:] == ["rest", "stopped", "ended"]
    (visit,) = clinic.store.visits.all(clinic.person.code)
    assert visit.ending == "stopped"


def test_stop_on_any_page_leads_to_the_stopped_page_and_back(clinic):
    clinic.plan = BRIEF
    once = set()

    def choose(state):
        keys = [button["key"] for button in state["buttons"]]
        if "stop" in keys and state["page"] not in once:
            once.add(state["page"])
            return "stop"
        return forward(state)

    states = clinic.visit(choose)
    pages = names(states)
    for page in once:
        assert pages[pages.index(page) + 1] == "stopped"
    assert {"welcome", "red flags", "hand right tapping", "rest", "as before", "helped"} <= once
    assert pages[-1] == "thanks"


def test_a_visit_that_was_closed_goes_on_where_it_stopped(clinic):
    clinic.plan = BRIEF

    def close_at_rest(state):
        if state["page"] == "rest":
            clinic.window.reader.add((clinic.clock.now, "quit"))
            return None
        return forward(state)

    clinic.visit(close_at_rest)
    assert clinic.window.closing
    clinic.window.closing = False
    pages = names(clinic.visit(forward))
    assert pages[:3] == ["start", "again", "what to do tapping"]
    assert not {"hand right tapping", "welcome", "before pain"} & set(pages)
    assert pages[-1] == "thanks"
    assert len(clinic.store.visits.all(clinic.person.code)) == 1


def test_more_rest_is_given(clinic):
    clinic.plan = BRIEF
    rests = []

    def choose(state):
        keys = [button["key"] for button in state["buttons"]]
        if state["page"] == "rest" and "more" in keys:
            rests.append(clinic.clock.now)
            return "more" if len(rests) == 1 else "go"
        return None if state["page"] == "rest" else forward(state)

    clinic.visit(choose)
    assert (rests[1] - rests[0]) / 1e9 >= 20.0


# Everything fits, on both panels and in both profiles.


@pytest.mark.parametrize(
    ("name", "large"),
    only(
        list(itertools.product(["1280x800", "1920x1200", "1024x600"], [False, True])),
        [("1024x600", True)],  # test_every_screen has all of them
    ),
)
def test_nothing_overlaps_is_cut_or_too_small(store, monkeypatch, name, large):
    screen = tablet(name)
    with open_window(monkeypatch, screen) as (window, clock):
        clinic = Clinic(store, window, clock, monkeypatch, large=large)
        clinic.endings = ["stopped"]
        states = clinic.visit(forward)
        states += clinic.visit(lambda s: "other" if s["page"] == "start" else "end")
        states += clinic.visit(
            lambda s: {"welcome": "stop", "stopped": "end"}.get(s["page"], forward(s))
        )
    pages = {state["page"]: state for state in states}
    assert {"other", "stopped", "ended", "thanks", "rest"} <= set(pages)
    for state in states:
        check_page(state, screen, LARGE if large else DEFAULT)
