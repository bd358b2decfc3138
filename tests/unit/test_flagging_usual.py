"""Another time of day and another phase of medicine are told apart from a person's usual."""

from datetime import datetime, timedelta

import pytest

from battery.flagging import Flagging
from battery.recording import TimingAudit
from battery.report import gather, page_data
from battery.store import Store
from tests import report_cases as cases
from tests import store_kit as kit
from tests.unit.test_report_gather import ERROR, SAID, add_visit, day


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path) as opened:
        kit.enrol(opened)
        yield opened


def at(sequence, hours):
    return (datetime.fromisoformat(day(sequence)) + timedelta(hours=hours)).isoformat()


def flags(store, header):
    return Flagging.read(store).flags(
        header, block_id="none", task="tapping", hand="left", ending="finished",
        input_type="touch", audit=TimingAudit(), n_primary=24,
    )  # fmt: skip


def visits(store, *, hours=(), medication=()):
    """Eight visits; `hours` moves some of them, `medication` answers for some."""
    made = []
    for n in range(1, 9):
        header, _ = add_visit(store, n, started_utc=at(n, dict(hours).get(n, 0)))
        said = dict(medication).get(n)
        if said:
            store.visits.put_answer(
                header.visit_id, "before", "medication", said, at_utc=header.started_utc
            )
        made.append(header)
    return made


@pytest.mark.parametrize(("hours", "raised"), [(2.0, False), (2.1, True), (-2.1, True)])
def test_more_than_two_hours_from_the_usual_time_is_told(store, hours, raised):
    made = visits(store, hours={8: hours}.items())
    assert ("off_window" in flags(store, made[7])) == raised
    assert "off_window" not in flags(store, made[6])


def test_the_clock_goes_round_at_midnight(store):
    made = visits(store, hours={n: 14.25 for n in range(1, 8)}.items() | {8: 14.75}.items())
    assert "off_window" not in flags(store, made[7])


def test_medicine_at_another_time_than_usual_is_told(store):
    usual = {n: "1_to_2_h" for n in range(1, 8)}
    made = visits(store, medication=(usual | {8: "over_4_h"}).items())
    assert "off_phase" in flags(store, made[7])
    assert "off_phase" not in flags(store, made[6])


@pytest.mark.parametrize(
    "said", [{1: "none", 2: "none"}, {1: "none", 2: "over_4_h", 3: "none", 4: "over_4_h"}]
)
def test_without_a_usual_answer_nothing_is_told(store, said):
    made = visits(store, medication=(said | {8: "1_to_2_h"}).items())
    assert "off_phase" not in flags(store, made[7])


def test_another_persons_visits_say_nothing_of_what_is_usual(store):
    store.people.add(kit.person("M4WX"))
    made = visits(store)
    late, _ = add_visit(store, 1, "M4WX", started_utc=at(1, 9))
    assert "off_window" not in flags(store, late)
    store.annotations.amend("visit", late.visit_id, "person", "K7QF", **SAID, at_utc=day(20))
    assert "off_window" in flags(store, late)
    assert "off_window" not in flags(store, made[0])


def test_a_weight_on_the_wrist_makes_a_series_of_its_own(store):
    made = visits(store)
    store.visits.put_answer(
        made[7].visit_id, "before", "weight", "on", at_utc=made[7].started_utc
    )
    line = page_data(gather(store, "K7QF"), made=cases.MADE).line(ERROR, "left")
    assert line.breaks[-1].visit == 8
    assert "wrist weight" in line.breaks[-1].reason
    assert line.verdict.word == "withheld"


def test_answers_reach_the_page(store):
    made = visits(store)
    when = made[7].started_utc
    for moment, question, value in (
        ("before", "dizziness", "1"), ("after", "dizziness", "5"),
        ("before", "red_flags", "yes"), ("before", "medication", "under_1_h"),
    ):  # fmt: skip
        store.visits.put_answer(made[7].visit_id, moment, question, value, at_utc=when)
    row = gather(store, "K7QF").visits[7]
    assert row.symptoms == {"dizziness": 5}
    assert row.rises == {"dizziness": 4}
    assert (row.medication, row.red_flags) == ("under_1_h", True)
