"""The list of people: due dates, flags and verdicts, each with somebody who has it and one who
has not.
"""

import itertools
import random
import re
from datetime import datetime, timedelta

import pytest

from battery.report import gather, page_data
from battery.report.caseload import (
    AWAY,
    PLACES,
    STATES,
    JudgedPerson,
    caseload,
    chosen,
    listed,
)
from battery.report.combined import COMPOSITE
from battery.store import PersonState, Store
from tests import store_kit as kit
from tests.unit.test_cli_store import run
from tests.unit.test_report_gather import SAID, add_visit, day

FIRST = datetime.fromisoformat(day(1))
LAST = FIRST + timedelta(weeks=11)


def week(n):
    """When the nth weekly visit began: visits of a few days would be one look."""
    return (FIRST + timedelta(weeks=n - 1)).isoformat(timespec="seconds")


@pytest.fixture
def store(tmp_path):
    """K7QF grows worse, M4WX stays, X3CF has one visit that is left out, Q9HN none."""
    with Store.open(tmp_path) as opened:
        kit.enrol(opened)
        for code in ("M4WX", "X3CF", "Q9HN"):
            opened.people.add(kit.person(code))
        for n in range(1, 13):
            wave = 1 + 0.02 * ((n % 3) - 1)
            add_visit(opened, n, value=9 * wave * (1 if n < 7 else 2.5), started_utc=week(n))
            add_visit(opened, n, "M4WX", value=9 * wave, started_utc=week(n))
        header, _ = add_visit(opened, 1, "X3CF")
        opened.annotations.amend("visit", header.visit_id, "excluded", "yes",
                     **{**SAID, "reason": "the carer did it"}, at_utc=day(13))  # fmt: skip
        yield opened


def states(rows):
    return {row.code: row.states for row in rows}


def test_each_state_has_who_it_is_meant_for(store):
    found = states(caseload(store, now=LAST + timedelta(days=1)))
    assert "beyond" in found["K7QF"]
    assert "beyond" not in found["M4WX"]
    assert {"flagged", "overdue"} <= found["X3CF"]
    assert found["Q9HN"] == {"due"}
    assert set().union(*found.values()) <= set(STATES)


@pytest.mark.parametrize(
    ("days", "due"), [(4.9, "not due yet"), (5, "due"), (9, "due"), (9.1, "overdue")]
)
def test_a_visit_is_due_after_a_week_give_or_take_two_days(store, days, due):
    rows = caseload(store, now=LAST + timedelta(days=days))
    assert {r.due for r in rows if r.code in ("K7QF", "M4WX")} == {due}


def test_not_due_yet_hides_no_alarm(store):
    """Who has one stands before those who wait longest, whatever the day."""
    (visit,) = [v for v in store.visits.all("M4WX") if v.header.sequence == 12]
    store.visits.put_answer(visit.header.visit_id, "before", "red_flags", "yes", at_utc=day(12))
    first = caseload(store, now=LAST + timedelta(days=1))[0]
    assert (first.code, first.due) == ("M4WX", "not due yet")
    assert "emergency sign" in first.alarms[0]


def test_everybody_stands_where_they_need_somebody(store):
    """Flagged, beyond error, due, the rest; paused last, unless there is an alarm."""
    rows = caseload(store, now=LAST + timedelta(days=1))
    told = [(r.code, r.place) for r in rows]
    assert told == [
        ("X3CF", "flagged"), ("K7QF", "beyond"), ("Q9HN", "due"), ("M4WX", "not due yet")
    ]  # fmt: skip
    assert chosen(rows, "beyond") == [r for r in rows if r.code == "K7QF"]
    assert chosen(rows, None) == rows
    said = {"reason": "on holiday", "author": "AB", "at_utc": day(20)}
    for code in ("X3CF", "M4WX"):
        store.care.set_state(code, "paused", from_date=FIRST.date(), **said)
    (visit,) = [v for v in store.visits.all("M4WX") if v.header.sequence == 12]
    store.visits.put_answer(visit.header.visit_id, "before", "red_flags", "yes", at_utc=day(12))
    rows = caseload(store, now=LAST + timedelta(days=1))
    told = [(r.code, r.place) for r in rows]
    assert told == [
        ("M4WX", "alarm"), ("K7QF", "beyond"), ("Q9HN", "due"), ("X3CF", "paused")
    ]  # fmt: skip


WORDS = [(), ("possible, repeat",), ("beyond error",), ("possible, repeat", "beyond error")]
WANTED = (  # as it was asked for: the first that fits is where somebody stands
    lambda r: r.alarms,
    lambda r: r.flags and r.due not in AWAY,
    lambda r: "beyond" in r.states and r.due not in AWAY,
    lambda r: "possible" in r.states and r.due not in AWAY,
    lambda r: r.due == "overdue",
    lambda r: r.due in ("due", "no visit yet"),
    lambda r: r.due == "not due yet",
    lambda r: r.due == "paused",
    lambda r: r.due == "discharged",
)


def test_the_order_holds_for_whatever_comes_together():
    """Everything that may be true of somebody, in any mixture: 288 people, shuffled."""
    said = {"from_date": day(1)[:10], "reason": "", "author": "AB", "at_utc": day(1)}
    states = [None, *(PersonState(f"s{w}", "K7QF", w, **said) for w in AWAY)]
    mixed = itertools.product(
        ((), ("an alarm",)), ((), ("stopped",)), WORDS, (None, 0, 1, 6, 6.5, 30), states
    )
    people = [
        JudgedPerson(
            kit.person(f"P{n}"), 1, None if days is None else LAST - timedelta(days=days),
            (), flags, frozenset(words), state, alarms,
        )
        for n, (alarms, flags, words, days, state) in enumerate(mixed)
    ]  # fmt: skip
    random.Random(1).shuffle(people)
    rows = listed(people, now=LAST)
    ranks = [next(n for n, fits in enumerate(WANTED) if fits(row)) for row in rows]
    assert ranks == sorted(ranks)
    assert set(ranks) == set(range(len(WANTED)))
    assert [PLACES[rank] for rank in ranks] == [row.place for row in rows]
    for rank in set(ranks):
        days = [row.days_ago for row, held in zip(rows, ranks, strict=True) if held == rank]
        assert days == sorted(days, reverse=True)


def test_the_list_says_what_the_page_says(store):
    rows = {r.code: r for r in caseload(store, now=LAST)}
    for code in ("K7QF", "M4WX"):
        page = page_data(gather(store, code), made=LAST)
        for hand in page.hands:
            word = page.headline(hand).verdict.word
            assert any(hand in told and word.split(",")[0] in told for told in rows[code].hands)
    assert page.headline("left").measure.name != COMPOSITE.name  # one task: it leads itself


def test_the_command_lists_chooses_and_refuses(store, tmp_path):
    home = ("--home", tmp_path)
    everybody = run("people", *home)
    places = [everybody.output.index(code) for code in ("X3CF", "K7QF", "M4WX", "Q9HN")]
    assert places == sorted(places)
    assert re.search(r"X3CF .* flagged .*\n +overdue", everybody.output)
    some = run("people", "--only", "flagged", *home)
    assert "X3CF" in some.output
    assert "M4WX" not in some.output
    assert "nobody of 4 is possible" in run("people", "--only", "possible", *home).output
    assert "no state 'late'" in str(run("people", "--only", "late", *home).exception)
