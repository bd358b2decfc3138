"""The tablet's start page, entered by the function that the command calls.

With a store as setting up and enrolling by the commands leave it; only the window's clock, the
hand and how blocks are done are exchanged.
"""

import itertools
import json
import uuid
from dataclasses import asdict
from datetime import timedelta

import pytest
from sqlalchemy import insert

from battery.people import picture_of
from battery.plan import SHORT, plan_hash
from battery.stage.drawing.places import DEFAULT, LARGE
from battery.stage.pages.people import leaf_of
from battery.store import Store, schema
from tests.screen.door import PANELS, Home, command
from tests.screen.manners import Person
from tests.screen.tablet_kit import BRIEF, more_people, use


@pytest.mark.parametrize("plan", [BRIEF, pytest.param(SHORT, marks=pytest.mark.long)])
def test_one_person_is_led_to_the_own_page_and_back_after_a_whole_visit(
    monkeypatch, tmp_path, plan
):
    """The record is that of `battery visit`: the same blocks, in order, scored and sealed."""
    home = Home(tmp_path / "home")
    script = [("person", "visit"), ("start", "go"), ("thanks", "end"), ("person", "practised")]
    hand, told = use(monkeypatch, home, script, plan=plan)
    assert hand.pages[0] == "person"
    assert any("visit 1 of" in line and "complete; stored" in line for line in told)
    other = Home(tmp_path / "other", plan=plan)
    other.visit(monkeypatch, Person())
    assert blocks_of(home) == blocks_of(other)
    # The visit of this week is done, so no other one is offered.
    last = next(state for state in reversed(hand.states) if state["page"] == "person")
    assert "visit" not in [button["key"] for button in last["buttons"]]
    home.now += timedelta(days=4)
    again, _ = use(monkeypatch, home, [("person", "looks")])
    assert "visit" not in [button["key"] for button in again.states[0]["buttons"]]
    home.now += timedelta(days=1)
    again, _ = use(monkeypatch, home, [("person", "visit")])
    assert again.pages[0] == "person"


def blocks_of(home):
    with Store.open(home.folder, write=False) as store:
        (visit,) = store.visits.all()
        assert visit.ending == "finished"
        return [
            (r.header.task, r.header.hand, r.header.phase, r.ending, r.header.settings.keys(),
             sorted(r.header.versions), len(store.scores.of_block(r.header.block_id)) > 0,
             len(store.records.load(r.header.block_id).samples) > 0)
            for r in store.records.of_visit(visit.header.visit_id)
        ]  # fmt: skip


def test_each_person_does_the_own_plan_and_two_that_contradict_are_named(monkeypatch, tmp_path):
    home = Home(tmp_path / "home")
    codes = more_people(home, 2)
    command(home.folder, "plan", codes[1], str(plan_file(tmp_path)), "--by", "AB")
    script = [
        ("people", codes[1]), ("person", "visit"), ("start", "go"), ("thanks", "end"),
        ("people", codes[1]),
    ]  # fmt: skip
    _, told = use(monkeypatch, home, script, plan=None)
    with Store.open(home.folder) as store:
        (visit,) = store.visits.all()
        assert visit.header.plan_name == "evenings"
        assert not any("contradict" in line for line in told)
        row = store.care.plans(codes[1])[0]
        with store.care._writing() as connection:  # as a bundle of another machine brings it
            values = asdict(row) | {"entry_id": str(uuid.uuid4()), "follows": ""}
            values |= {"plan_name": "short", "plan_hash": plan_hash(SHORT)}
            values |= {"plan_json": json.dumps(SHORT.model_dump(mode="json"))}
            connection.execute(insert(schema.person_plans).values(**values))
    home.now += timedelta(days=7)
    _, told = use(monkeypatch, home, script, plan=None)
    assert any(
        "two plans contradict each other. Visits go on with plan evenings" in x for x in told
    )
    with Store.open(home.folder, write=False) as store:
        assert {v.header.plan_name for v in store.visits.all()} == {"evenings"}


def plan_file(folder):
    path = folder / "evenings.toml"
    path.write_text('name = "evenings"\n[[tasks]]\ntask = "slide"\n')
    return path


def test_three_people_share_a_tablet_and_each_has_the_own_record(monkeypatch, tmp_path):
    home = Home(tmp_path / "home")
    codes = more_people(home, 3)
    script = []
    for code in codes[1:]:
        script += [("people", code), ("person", "visit"), ("start", "go"), ("thanks", "end")]
    script += [("people", codes[0]), ("person", "back"), ("people", codes[0])]
    hand, told = use(monkeypatch, home, script)
    assert hand.pages[0] == "people"
    assert len([line for line in told if "complete; stored" in line]) == 2
    with Store.open(home.folder, write=False) as store:
        assert [len(store.visits.all(code)) for code in codes] == [0, 1, 1]
        assert len({picture_of(store, code) for code in codes}) == 3


def test_with_eight_people_pages_are_turned_and_nobody_is_left_out(monkeypatch, tmp_path):
    home = Home(tmp_path / "home")
    codes = more_people(home, 8)
    turn = ("people", "more people")
    hand, _ = use(
        monkeypatch, home, [turn, turn, turn, ("people", codes[7]), ("person", "back")]
    )
    keys = [
        {b["key"] for b in state["buttons"]} & set(codes)
        for state in hand.states if state["page"] == "people"
    ]  # fmt: skip
    assert [len(shown) for shown in keys[:3]] == [5, 3, 5]
    assert keys[0] | keys[1] == set(codes)
    assert keys[0] == keys[2]


TIGHTEST = [("1024x600", False, 6), ("1024x600", True, 1), ("800x1280", True, 6)]


@pytest.mark.parametrize("n_people", range(1, 15))
def test_every_person_stands_on_exactly_one_leaf(n_people):
    codes = [str(n) for n in range(n_people)]
    leaves = -(-n_people // 5) if n_people > 6 else 1
    shown = [code for leaf in range(leaves) for code in leaf_of(codes, leaf)[0]]
    assert shown == codes
    assert leaf_of(codes, leaves) == leaf_of(codes, 0)


@pytest.mark.parametrize(
    ("panel", "large", "n_people"),
    [
        pytest.param(*case, marks=() if case in TIGHTEST else pytest.mark.long)
        for case in itertools.product(
            ["1024x600", "1280x800", "1920x1200", "800x1280"], [False, True], [1, 6]
        )
    ],
)
def test_everything_to_press_is_large_and_on_the_glass(
    monkeypatch, tmp_path, panel, large, n_people
):
    """At least 20 mm, in the large profile 30 mm; nothing lies over anything else."""
    home = Home(tmp_path / "home", panel=panel, large=large)
    codes = more_people(home, n_people)
    script = (
        [("person", "looks")] if n_people == 1 else [("people", codes[5]), ("person", "looks")]
    )
    hand, _ = use(monkeypatch, home, script)
    least = (LARGE if large else DEFAULT).button
    for state in hand.states:
        if state["page"] not in ("people", "person"):
            continue
        rects = [button["rect_px"] for button in state["buttons"]]
        for left, top, width, height in rects:
            assert min(width, height) / state["px_per_mm"] >= least - 0.3
            assert left >= 0
            assert left + width <= PANELS[panel][0]
            assert top + height <= PANELS[panel][1]
        for n, one in enumerate(rects):
            assert not any(overlap(one, other) for other in rects[n + 1 :]), state["page"]


def overlap(one, other):
    return (
        one[0] < other[0] + other[2]
        and other[0] < one[0] + one[2]
        and one[1] < other[1] + other[3]
        and other[1] < one[1] + one[3]
    )


@pytest.mark.parametrize("n_people", [1, 3])
def test_german_at_twice_the_size_in_the_large_profile(monkeypatch, tmp_path, n_people):
    """The first page comes up, with no leaf before it, and its words lie on the glass."""
    home = Home(tmp_path / "home", large=True, comfort={"language": "de", "text_percent": 200})
    command(home.folder, "comfort", "--language", "de", "--text", "200")
    codes = more_people(home, n_people)
    script = [("person", "looks")]
    hand, _ = use(
        monkeypatch, home, script if n_people == 1 else [("people", codes[0]), *script]
    )
    assert hand.pages[0] == ("person" if n_people == 1 else "people")
    assert "turn" not in [button["key"] for button in hand.states[0]["buttons"]]
    texts = [b["text"] for state in hand.states for b in state["buttons"]]
    assert "Ich habe geübt" in texts
    for state in hand.states[:2]:
        for _, (left, top, width, height) in state["boxes"]:
            assert left >= 0
            assert left + width <= 1280
            assert top >= 0
            assert top + height <= 800


def agreed(home, code, *times):
    words = ["--hand", "both", "--minutes", "1", "--times", "2", "--days", "all"]
    words += ["--target", "near", "--weight", "0", "--by", "AB", "--on", "2026-01-01"]
    for at in times:
        words += ["--at", at]
    command(home.folder, "home-plan", code, "tapping", *words)


def test_a_person_sees_what_was_agreed_and_the_own_days(monkeypatch, tmp_path):
    home = Home(tmp_path / "home")
    agreed(home, home.code)
    script = [
        ("person", "plan"), ("home plan", "days"), ("home days", "back"), ("home plan", "back"),
        ("person", "practised"), ("exercises", "all"), ("how long", "end"), ("person", "plan"),
        ("home plan", "days"), ("home days", "back"), ("home plan", "back"),
        ("person", "looks"),
    ]  # fmt: skip
    shown = []

    def look(window, state):
        if state["page"] == "home days":
            shown.append(bytes(window.surface.get_view("2")))

    use(monkeypatch, home, script, look=look)
    assert len(shown) == 2
    assert shown[0] != shown[1]  # today is filled


def test_a_reminder_comes_at_its_time_once_and_goes_by_itself(monkeypatch, tmp_path):
    """The start page stays for half a day; two people, of whom one has agreed on times."""
    home = Home(tmp_path / "home")
    codes = more_people(home, 2)
    agreed(home, codes[1], "10:05", "11:00")
    command(home.folder, "state", codes[0], "paused", "--by", "AB", "--reason", "away")
    agreed(home, codes[0], "10:01")
    begun, seen = home.now, []

    def look(_window, state):
        if state["page"] == "reminder":
            seen.append(home.now)
        home.now += timedelta(minutes=2)

    def wall_moves(monkeypatch):
        """Let the wall clock run a minute with every second that a page waits."""
        from battery.stage import tablet as module

        asked = module.Tablet._reminders

        def counted(self, people):
            due = asked(self, people)

            def ask():
                home.now += timedelta(minutes=1)
                return due()

            return ask

        monkeypatch.setattr(module.Tablet, "_reminders", counted)

    wall_moves(monkeypatch)
    script = [
        ("reminder", "later"), ("reminder", "go"), ("exercises", "all"), ("how long", "end"),
        ("people", codes[0]), ("person", "back"),
    ]  # fmt: skip
    hand, _ = use(monkeypatch, home, script, look=look)
    assert [page for page in hand.pages if page == "reminder"] == ["reminder"] * 2
    assert begun + timedelta(minutes=5) <= seen[0] < begun + timedelta(minutes=35)
    with Store.open(home.folder, write=False) as store:
        assert [e.exercise for e in store.care.home_exercises(codes[1])] == ["all"]
        assert store.care.home_exercises(codes[0]) == []
