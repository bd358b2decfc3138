"""Home exercise is kept as it was said, on a file and on a server."""

import uuid
from dataclasses import replace

import pytest

from battery.errors import StoreError, UsageError
from battery.store import HomeExercise, Store
from tests import store_kit as kit


def entry(name="one", **changes):
    made = HomeExercise(
        practice_id=str(uuid.uuid5(uuid.NAMESPACE_OID, name)),
        person="K7QF",
        kind="reported",
        exercise="all",
        hand=None,
        minutes=None,
        symptoms=None,
        local_date="2026-03-04",
        at_utc="2026-03-04T22:30:00+00:00",
    )
    return replace(made, **changes)


@pytest.fixture(params=["file", "server"])
def store(request, tmp_path):
    where = tmp_path if request.param == "file" else request.getfixturevalue("empty_database")
    with Store.open(where) as opened:
        kit.enrol(opened)
        opened.people.add(kit.person("M4WX"))
        yield opened


def test_entries_come_back_by_day_and_then_by_time(store):
    late = entry("late", local_date="2026-03-05", at_utc="2026-03-04T23:10:00+00:00")
    rest = entry("rest", exercise="rest_day", local_date="2026-03-01")
    seen = entry("seen", kind="seen", exercise="head_turns", minutes=1.0, symptoms=2)
    other = entry("other", person="M4WX", hand="left")
    for practice in (late, seen, rest, other):
        store.care.put_home_exercise(practice)
    assert store.care.home_exercises("K7QF") == [rest, seen, late]
    assert store.care.home_exercises("M4WX") == [other]
    assert len(store.care.home_exercises()) == 4


def test_how_long_can_be_said_after_the_fact_and_a_slip_taken_back(store):
    first = entry()
    store.care.put_home_exercise(first)
    longer = replace(first, minutes=10.0, hand="right")
    store.care.put_home_exercise(longer)
    assert store.care.home_exercises("K7QF") == [longer]
    store.care.take_back_home_exercise(first.practice_id)
    store.care.take_back_home_exercise(first.practice_id)
    assert store.care.home_exercises() == []


@pytest.mark.parametrize(
    "changes",
    [
        {"kind": "planned"},
        {"exercise": "swimming"},
        {"hand": "middle"},
        {"minutes": 0.0},
        {"minutes": float("nan")},
        {"minutes": 1441.0},
        {"exercise": "rest_day", "minutes": 5.0},
        {"symptoms": 4},
        {"local_date": "4 March"},
    ],
)
def test_what_cannot_be_is_refused_whole(tmp_path, changes):
    with Store.open(tmp_path) as store:
        kit.enrol(store)
        with pytest.raises(UsageError, match="Nothing was stored"):
            store.care.put_home_exercise(entry(**changes))
        assert store.care.home_exercises() == []


def test_practice_of_nobody_is_refused(store):
    with pytest.raises(StoreError):
        store.care.put_home_exercise(entry(person="NOBODY"))
