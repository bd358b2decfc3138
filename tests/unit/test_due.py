"""When the next visit is due on a tablet, from visits as a store keeps them."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from battery.due import due_after, next_visit
from battery.store import Store
from tests import store_kit as kit

FIRST = datetime.fromisoformat("2026-03-04T10:00:00+00:00")
DAY = timedelta(days=1)


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "home") as store:
        kit.enrol(store)
        yield store


def done(store, *, ending="finished", tested=True):
    header = replace(kit.visit(), started_utc=FIRST.isoformat())
    store.visits.begin(header)
    if tested:
        kit.record(store, kit.block_header(header, 0), seed=1)
    store.visits.end(header.visit_id, ending)


def after(store, days):
    return next_visit(store, kit.person(), FIRST + days * DAY)


def test_a_week_give_or_take_two_days():
    """By hand: 5 days are the first that is due, 9 the last that is not overdue."""
    said = [due_after(d, visits=True, state=None) for d in (4.99, 5, 9, 9.01)]
    assert said == ["not due yet", "due", "due", "overdue"]


def test_before_the_first_visit_it_is_due(store):
    assert after(store, 0) == FIRST.date()


def test_after_a_visit_the_next_is_due_five_days_later(store):
    done(store)
    assert after(store, 0.1) == after(store, 4.9) == date(2026, 3, 9)
    assert after(store, 5) == date(2026, 3, 9)
    assert after(store, 20) == date(2026, 3, 24)


def test_a_visit_that_was_broken_off_may_be_gone_on_with_for_some_hours(store):
    done(store, ending="stopped")
    assert after(store, 0.4) == FIRST.date()
    assert after(store, 0.6) == date(2026, 3, 9)


def test_a_visit_in_which_nothing_was_tested_does_not_count(store):
    done(store, tested=False)
    assert after(store, 1) == date(2026, 3, 5)


def test_who_is_paused_has_no_due_day(store):
    store.care.set_state(
        kit.person().code, "paused", from_date=FIRST.date(), reason="holiday", author="AB",
        at_utc=FIRST.isoformat(),
    )  # fmt: skip
    assert after(store, 1) is None
