"""What is known around visits is added with author and time, on a file and on a server."""

import pytest

from battery.errors import StoreError, UsageError
from battery.store import Store
from tests import store_kit as kit

EARLY, LATER = "2026-02-01T10:00:00+00:00", "2026-03-01T10:00:00+00:00"


@pytest.fixture(params=["file", "server"])
def store(request, tmp_path):
    where = tmp_path if request.param == "file" else request.getfixturevalue("empty_database")
    with Store.open(where) as opened:
        kit.enrol(opened)
        opened.people.add(kit.person("M4WX"))
        yield opened


def test_what_was_said_comes_back_in_order_of_time(store):
    later = store.care.set_goal("K7QF", "sign my name", author="A", at_utc=LATER, weight=2.0)
    early = store.care.set_goal("K7QF", "carry a cup", author="A", at_utc=EARLY)
    other = store.care.set_goal("M4WX", "sew", author="A", at_utc=EARLY)
    assert store.care.goals("K7QF") == [early, later]
    assert set(g.goal_id for g in store.care.goals()) == {
        g.goal_id for g in (early, later, other)
    }
    levels = [
        store.care.rate_goal(early.goal_id, level, author="A", at_utc=at)
        for level, at in ((-1, EARLY), (2, LATER))
    ]
    assert store.care.goal_levels() == levels
    restarts = [
        store.annotations.restart_baseline(
            "K7QF", None, author="A", reason="new drug", at_utc=at
        )
        for at in (EARLY, LATER)
    ]
    assert store.annotations.restarts("K7QF") == restarts
    assert store.annotations.restarts("M4WX") == []
    errors = [
        store.annotations.enter_outside_error(
            "trail.time_per_link_s", sem, source="s", author="A", at_utc=at
        )
        for sem, at in ((0.1, EARLY), (None, LATER))
    ]
    assert store.annotations.outside_errors() == errors


def test_plans_of_practice_are_in_order_of_the_day_they_hold_from(store):
    late = kit.planned_earlier(store, "2026-05-01", 21, at_utc=EARLY)
    early = kit.planned_earlier(store, "2026-04-01", 14, at_utc=LATER)
    assert store.care.prescriptions("K7QF") == [early, late]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda s: s.care.rate_goal("x", 3, author="A", at_utc=EARLY), "3 must be -2 to 2"),
        (lambda s: s.care.set_goal("K7QF", " ", author="A", at_utc=EARLY), "goal is empty"),
        (
            lambda s: s.care.set_goal("K7QF", "sew", author="A", at_utc=EARLY, weight=0),
            "weight must be above 0, not 0",
        ),
        (
            lambda s: s.annotations.restart_baseline(
                "K7QF", None, author="", reason="r", at_utc=EARLY
            ),
            "author is empty",
        ),
        (
            lambda s: s.annotations.enter_outside_error(
                "m", 0.0, source="s", author="A", at_utc=EARLY
            ),
            "error must be above 0, not 0.0",
        ),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_stored(store, call, words):
    with pytest.raises(UsageError, match=words):
        call(store)
    assert not store.care.goals()
    assert not store.annotations.restarts()
    assert not store.annotations.outside_errors()


def test_a_rating_needs_its_goal(store):
    with pytest.raises(StoreError):
        store.care.rate_goal("nowhere", 0, author="A", at_utc=EARLY)
