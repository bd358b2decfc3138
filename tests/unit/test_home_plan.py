"""What was agreed for home, where it goes, and what is said of head turns."""

from datetime import date, datetime

import pyarrow.parquet as pq
import pytest

from battery.alarms import alarms_of
from battery.errors import UsageError
from battery.export import export_tidy
from battery.home_plan import (
    Dose,
    day_numbers,
    dose_of,
    dose_words,
    held_home_plan,
    planned_steps,
    reminder_due,
    set_home_plan,
)
from battery.report import page_of, render
from battery.store import HomeExercise, Store
from battery.store.fitting import hold_row
from tests import clinic as made_up
from tests import store_kit as kit
from tests.export_kit import EVERYBODY
from tests.unit.test_cli_store import run
from tests.unit.test_own_plan import at

TAPPING = Dose("tapping", "both", 1.0, 3, (1, 3, 5), "near", 0, ("14:00", "09:00"))
TRAIL = Dose("trail", "left", 2.0, 1, (1, 2, 3, 4, 5, 6, 7), "wall", 200)
MONDAY = date(2026, 5, 4)


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "home") as opened:
        opened.people.add(kit.person())
        yield opened


def agree(store, *doses, day=MONDAY, by="AB"):
    return set_home_plan(store, "K7QF", doses, from_date=day, author=by, at_utc=at())


def held(store, day):
    return [dose_of(entry) for entry in held_home_plan(store.care.home_plans("K7QF"), day)]


def test_what_is_planned_a_week_is_the_home_plan_and_before_it_what_was_said(store):
    """Mon, Wed, Fri three times, else once: 3 x 3 + 4 = 13; one after another is one time."""
    kit.planned_earlier(store, "2026-04-06", 21.0)
    kit.planned_earlier(store, "2026-05-06", 99.0)  # the plan says it from the 4th on
    agree(store, TRAIL, TAPPING)
    agree(store, TAPPING, day=date(2026, 5, 18))
    agree(store, day=date(2026, 5, 25))
    steps = planned_steps(store.care.prescriptions("K7QF"), store.care.home_plans("K7QF"))
    assert [(s.from_date[5:], s.per_week) for s in steps] == [
        ("04-06", 21.0), ("05-04", 13.0), ("05-18", 9.0), ("05-25", 0.0),
    ]  # fmt: skip
    earlier = store.care.prescriptions("K7QF")
    assert [s.per_week for s in planned_steps(earlier, [])] == [21.0, 99.0]


def test_the_latest_version_that_has_begun_holds_whole(store):
    assert held(store, MONDAY) == []
    agree(store, TRAIL, TAPPING)
    agree(store, TRAIL, day=date(2026, 5, 11))
    sorted_times = Dose(*[*astuple(TAPPING)[:-1], ("09:00", "14:00")])
    assert held(store, date(2026, 5, 3)) == []
    assert held(store, date(2026, 5, 10)) == [sorted_times, TRAIL]
    assert held(store, date(2026, 5, 11)) == [TRAIL]
    agree(store, day=date(2026, 5, 11))  # agreed no longer, said later on the same day
    assert held(store, date(2026, 5, 12)) == []
    assert len(store.care.home_plans()) == 4


def astuple(dose):
    return [getattr(dose, name) for name in Dose.__slots__]


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"minutes": 0.0}, "minutes is 0"),
        ({"minutes": 90.0}, "say 0.25 to 60"),
        ({"times_a_day": 13}, "say 1 to 12"),
        ({"weekdays": ()}, "1 .Monday. to 7"),
        ({"weekdays": (8,)}, "1 .Monday. to 7"),
        ({"weight_g": -1}, "weight_g is -1"),
        ({"target": ""}, "target is ''"),
        ({"hand": "neck"}, "hand is 'neck'"),
        ({"at_times": ("9 o'clock",)}, "times as 09:00"),
        ({"at_times": ("25:00",)}, "times as 09:00"),
        ({"exercise": "push-ups"}, "say each of tapping"),
    ],
)
def test_what_cannot_be_is_refused_whole(store, change, why):
    with pytest.raises(UsageError, match=why):
        agree(
            store,
            TRAIL,
            Dose(**dict(zip(Dose.__slots__, astuple(TAPPING), strict=True)) | change),
        )
    assert store.care.home_plans() == []


def test_a_plan_needs_its_author(store):
    with pytest.raises(UsageError, match="author is empty"):
        agree(store, TAPPING, by="")


@pytest.mark.parametrize(
    ("now", "told"),
    [
        ("2026-05-04T08:59:59+02:00", ""),
        ("2026-05-04T09:00:00+02:00", "09:00"),
        ("2026-05-04T09:29:59+02:00", "09:00"),
        ("2026-05-04T09:30:00+02:00", ""),
        ("2026-05-04T14:10:00+02:00", "14:00"),
        ("2026-05-05T09:00:00+02:00", ""),  # a Tuesday
        ("2026-05-01T09:00:00+02:00", ""),  # a Friday, but before it begins
    ],
)
def test_a_reminder_is_due_on_agreed_days_for_half_an_hour(store, now, told):
    agree(store, TAPPING, TRAIL)
    entries = store.care.home_plans("K7QF")
    assert reminder_due(entries, datetime.fromisoformat(now)) == told


def test_it_says_what_was_agreed_and_advises_nothing(store):
    first, second = agree(store, TAPPING, TRAIL)
    assert dose_words(first) == (
        "tapping: 1 min with each arm, 3 times a day, Mon, Wed, Fri, target near, no weight; "
        "reminder at 09:00, 14:00"
    )
    assert dose_words(second) == (
        "trail: 2 min with the left arm, once a day, every day, target on the wall, 200 g "
        "at the wrist"
    )
    assert day_numbers("all") == tuple(range(1, 8))
    assert day_numbers("mon, Sun") == (1, 7)
    with pytest.raises(UsageError, match="are not days"):
        day_numbers("monday")


def test_a_row_that_arrives_is_held_to_what_can_be(store):
    (entry,) = agree(store, TAPPING)
    row = {name: getattr(entry, name) for name in type(entry).__slots__}
    hold_row("home_plans", row)
    for more in ({"weekdays": "1 1"}, {"at_times": "24:00"}, {"exercise": "x"}, {"hand": None}):
        with pytest.raises(ValueError, match="is"):
            hold_row("home_plans", row | more)


def turned(store, name, **said):
    store.care.put_home_exercise(
        HomeExercise(
            kit.identifier(name), "K7QF", "seen", "head_turns", None, 1.0, said.pop("after", 0),
            "2026-05-04", at(), **said,
        )
    )  # fmt: skip


def test_head_turns_stand_on_the_page_as_told_and_in_the_export(store, tmp_path):
    agree(store, TAPPING)
    turned(store, "a", symptoms_before=0, clear_beats_per_min=80, after=1)
    turned(store, "b", symptoms_before=1, clear_beats_per_min=0)
    store.people.record_consent("K7QF", form_version="1", decision="given", at_utc=at())
    made_up.one_visit(store, "K7QF", 0, device=kit.DEVICE)
    made_up.one_visit(store, "K7QF", 20, device=kit.DEVICE)
    text = render(page_of(store, "K7QF", now=made_up.FIRST_DAY))
    assert "1 min with each arm" in text
    assert "80 a minute" in text
    assert "at none" in text
    assert "not a measure of sight or balance" in text
    export_tidy(store, tmp_path / "study", selection=EVERYBODY)
    rows = pq.read_table(tmp_path / "study" / "practice.parquet").to_pylist()
    assert sorted((r["symptoms_before"], r["clear_beats_per_min"]) for r in rows) == [
        (0, 80), (1, 0),
    ]  # fmt: skip
    plans = pq.read_table(tmp_path / "study" / "home_plans.parquet").to_pylist()
    assert [(r["version"], r["exercise"], r["n_reminders"]) for r in plans] == [
        (1, "tapping", 2)
    ]
    assert "author" not in plans[0]
    store.erasure.erase("K7QF", author="AB", at_utc=at())
    assert store.care.home_plans() == []


def test_strong_symptoms_before_are_an_alarm_and_no_exercise(store):
    store.care.put_home_exercise(
        HomeExercise(
            kit.identifier("x"), "K7QF", "reported", "head_turns", None, None, None,
            "2026-05-04", at(), symptoms_before=3,
        )
    )  # fmt: skip
    (alarm,) = alarms_of(store, "K7QF")
    assert (alarm.kind, alarm.words) == ("practice", "strong symptoms before home exercise")
    assert not store.care.home_exercises("K7QF")[0].was_done


def test_the_command_sets_one_exercise_and_leaves_the_others(own_clinic):
    own = ("--home", own_clinic)
    dose = ("--hand", "both", "--minutes", "1", "--times", "3", "--days", "mon,wed")
    more = ("--target", "near", "--weight", "0", "--by", "AB", *own)
    assert "nothing is agreed" in run("home-plan", "K7QF", *own).output
    run("home-plan", "K7QF", "tapping", *dose, *more, "--at", "09:00")
    run("home-plan", "K7QF", "slide", *dose, *more)
    said = run("home-plan", "k7qf", *own).output
    assert said.count("set by AB") == 2
    assert "reminder at 09:00" in said
    run("home-plan", "K7QF", "tapping", "--stop", "--by", "CD", *own)
    said = run("home-plan", "k7qf", *own).output
    assert "tapping" not in said
    assert "slide" in said
