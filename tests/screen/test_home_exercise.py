"""Home exercise: two taps store it, slips can be taken back, the timer tells what it saw."""

import itertools
import random
import uuid
from datetime import datetime

import pytest

from battery.stage.home_exercises import home_exercise_pages
from battery.stage.pages.builder import Maker
from battery.stage.pages.flow import VisitFlow
from battery.stage.pages.following import run_pages
from battery.stage.pages.home_exercise import HomeExercisePages
from battery.stage.pages.timed import MINUTE_S, Minute, Over
from battery.store import Store
from tests import store_kit as kit
from tests.screen import door
from tests.screen.pilot import Pilot

# Half past eleven at night in a zone two hours ahead: the day is the local one.
NOW = datetime.fromisoformat("2026-03-04T23:30:00+02:00")
NUMBERS = itertools.count()


class Noted:
    """A sound device that notes what it was asked to play."""

    def __init__(self, *, heard=True):
        self.heard = heard
        self.played = []
        self.note = ""

    def play(self, tone="go"):
        self.played.append(tone)

    def speak(self, files):
        return False

    def hush(self):
        pass


class Home:
    def __init__(self, store, headless, *, heard=True):
        self.store = store
        self.window, self.clock = headless
        self.sound = Noted(heard=heard)
        self.left = 0
        make = Maker(
            large=False,
            side="right",
            stopped=lambda back: back(),
            help_page=lambda page: page,
            staff_page=lambda page: page,
        )
        self.pages = HomeExercisePages(
            make, self.sound, store.care, person="K7QF", now=lambda: NOW,
            new_id=lambda: str(uuid.UUID(int=next(NUMBERS))),
        )  # fmt: skip

    def press(self, *keys):
        """Press these one after another; returns the names of the pages. None waits."""
        script = list(keys)
        pilot = Pilot(self.window, self.clock, lambda state: script.pop(0) if script else None)
        begun_ns = self.clock.now
        run_pages(self.window, self.pages.first(self.done))
        self.took_s = (self.clock.now - begun_ns) / 1e9
        return [state["page"] for state in pilot.states]

    def done(self):
        self.left += 1


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "home") as store:
        kit.enrol(store)
        yield store


@pytest.fixture
def home(store, headless):
    return Home(store, headless)


def told(store):
    return [
        (e.kind, e.exercise, e.hand, e.minutes, e.symptoms)
        for e in store.care.home_exercises("K7QF")
    ]


def test_one_tap_here_stores_it_on_the_local_day(home, store):
    """The second tap of all, after the one that opened this page."""
    pages = home.press("all", "end")
    assert pages == ["exercises", "how long"]
    assert told(store) == [("reported", "all", None, None, None)]
    (entry,) = store.care.home_exercises("K7QF")
    assert (entry.local_date, entry.at_utc) == ("2026-03-04", "2026-03-04T21:30:00+00:00")
    assert home.left == 1


def test_it_is_stored_before_anything_more_is_asked(home, store):
    """The window is closed on the page after: nothing is lost."""
    pilot = Pilot(
        home.window, home.clock, lambda s: "all" if s["page"] == "exercises" else None
    )
    pilot.add((home.clock.now + 4_000_000_000, "quit"))
    run_pages(home.window, home.pages.first(home.done))
    assert told(store) == [("reported", "all", None, None, None)]


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        (("all", "20"), ("reported", "all", None, 20.0, None)),
        (("rest_day", "end"), ("reported", "rest_day", None, None, None)),
        (("some", "trail", "5"), ("reported", "trail", None, 5.0, None)),
        (("some", "other", "end"), ("reported", "other", None, None, None)),
        (("head_turns", "10", "1", "end"), ("reported", "head_turns", None, 10.0, 1)),
        (("head_turns", "end", "3", "end"), ("reported", "head_turns", None, None, 3)),
    ],
)
def test_what_is_said_is_what_is_stored(home, store, keys, expected):
    home.press(*keys)
    assert told(store) == [expected]
    assert home.left == 1


@pytest.mark.parametrize("keys", [("all", "undo", "end"), ("rest_day", "undo", "end")])
def test_a_slip_is_taken_back(home, store, keys):
    home.press(*keys)
    assert told(store) == []


def test_strong_symptoms_lead_to_rest_and_help(home):
    pages = home.press("head_turns", "end", "3", "end")
    assert pages[-1] == "felt strong"


def test_the_timer_sees_a_minute_of_each_arm(home, store):
    pages = home.press("timer", "left", "go", None, "other", "go", None, "end")
    assert pages.count("minute over") == 2
    assert told(store) == [
        ("seen", "other", "left", 1.0, None),
        ("seen", "other", "right", 1.0, None),
    ]
    assert home.sound.played == ["over", "over"]
    assert home.took_s > 2 * MINUTE_S


def test_a_timer_that_is_ended_has_seen_what_ran_and_nothing_if_it_hardly_did(home, store):
    Pilot.settle_ns, keep = 30_000_000_000, Pilot.settle_ns
    try:
        home.press("timer", "right", "go", "end", "end")
    finally:
        Pilot.settle_ns = keep
    ((kind, exercise, hand, minutes, symptoms),) = told(store)
    assert (kind, exercise, hand, symptoms) == ("seen", "other", "right", None)
    assert minutes == pytest.approx(0.5, abs=0.02)
    home.press("timer", "right", "go", "end", "back", "all", "end")
    assert len(told(store)) == 2


def test_head_turns_come_after_the_cautions_and_keep_dose_and_symptoms_only(home, store):
    pages = home.press("timer", "head_turns", "go", "1", "60", None, "0", "60")
    assert pages[:3] == ["exercises", "timer", "head cautions"]
    assert pages[3:] == ["felt before", "pace", "head turns", "felt", "clear beat"]
    assert told(store) == [("seen", "head_turns", None, 1.0, 0)]
    (entry,) = store.care.home_exercises("K7QF")
    assert (entry.symptoms_before, entry.clear_beats_per_min) == (1, 60)
    assert home.sound.played.count("beat") == 60
    assert home.sound.played[-1] == "over"


def test_only_beats_that_were_done_can_have_stayed_clear_and_none_may_be_said(home, store):
    shown = []
    script = ["timer", "head_turns", "go", "0", "80", None, "0", "none"]

    def choose(state):
        if state["page"] == "clear beat":
            shown.append([b["key"] for b in state["buttons"] if b["key"].isdecimal()])
        return script.pop(0) if script else None

    Pilot(home.window, home.clock, choose)
    run_pages(home.window, home.pages.first(home.done))
    assert shown == [["40", "60", "80"]]
    assert store.care.home_exercises("K7QF")[0].clear_beats_per_min == 0


def test_with_strong_symptoms_before_nothing_is_begun_and_it_is_not_lost(home, store):
    pages = home.press("timer", "head_turns", "go", "3", "end")
    assert pages[-2:] == ["felt before", "felt strong"]
    (entry,) = store.care.home_exercises("K7QF")
    assert (entry.symptoms_before, entry.minutes, entry.was_done) == (3, None, False)
    assert "beat" not in home.sound.played


def test_without_sound_there_is_no_beat_and_the_person_is_told(store, headless):
    home = Home(store, headless, heard=False)
    pages = home.press("timer", "head_turns", "go", "end")
    assert pages[-1] == "no sound"
    assert told(store) == []


@pytest.mark.parametrize("beats_per_min", [40.0, 60.0, 100.0, 120.0])
def test_beats_come_at_their_times_whatever_the_frames(beats_per_min):
    """Frames of 16.7 ms: a beat is late by less than one of them, and none is left out."""
    sound = Noted()
    minute = Minute(sound, beats_per_min=beats_per_min)
    heard_s = []
    for frame in range(60 * 60):
        before = len(sound.played)
        minute.step(frame / 60)
        heard_s += [frame / 60] * (len(sound.played) - before)
    due_s = [n * 60.0 / beats_per_min for n in range(round(beats_per_min))]
    assert len(heard_s) == len(due_s)
    assert all(0 <= h - d < 1 / 60 + 1e-9 for h, d in zip(heard_s, due_s, strict=True))
    with pytest.raises(Over):
        minute.step(60.0)
    assert sound.played[-1] == "over"


def test_beats_that_were_missed_are_not_made_up_for():
    sound = Noted()
    minute = Minute(sound, beats_per_min=60.0)
    minute.step(0.0)
    minute.step(5.5)
    assert sound.played == ["beat"]
    minute.step(6.0)
    assert sound.played == ["beat", "beat"]


def test_from_the_first_page_of_a_visit_it_takes_two_taps_and_less_than_five_seconds(
    store, headless
):
    """The pilot takes 0.4 s to find a button; a slow hand of 2 s each would just do."""
    window, clock = headless
    person = store.people.get("K7QF")
    taps = []

    def choose(state):
        key = {"start": "practised", "exercises": "all", "how long": "end"}[state["page"]]
        if "how long" in [s["page"] for s in pilot.states]:
            taps.append((len(pilot.states), len(store.care.home_exercises("K7QF"))))
            pilot.add((clock.now + 10**9, "quit"))
            return None
        return key

    pilot = Pilot(window, clock, choose)
    flow = VisitFlow(
        window, code=person.code, today=NOW.date(), begin=lambda: None, rest_s=1.0,
        large=False, seed=1,
        practised=lambda make, done: home_exercise_pages(
            store, person, make, window.sound, wall=lambda: NOW, random_source=random.Random(1)
        ).first(done, back=done),
    )  # fmt: skip
    begun_ns = clock.now
    run_pages(window, flow.first())
    assert taps == [(3, 1)]
    assert (clock.now - begun_ns) / 1e9 - 1.0 < 5.0
    assert store.visits.all() == []


def test_a_way_back_stays_a_way_back(tmp_path, monkeypatch):
    """From the timer back to the exercises, and from there on to the visit after all."""
    way = iter(["practised", "timer", "back", "back", "go"])

    def choose(state):
        if state["page"] == "sound":
            return "go"
        asked.append(state["page"])
        if (key := next(way, None)) is None:
            hands[0].add((hands[0].clock.now + 10**9, "quit"))
        return key

    def hand(window, clock, choose):
        hands.append(Pilot(window, clock, choose))
        return hands[0]

    asked, hands = [], []
    door.Home(tmp_path).visit(monkeypatch, choose, pilot=hand)
    assert asked == ["start", "exercises", "timer", "exercises", "start", "welcome"]
