"""Answers around a visit: kept in order, and the flags they raise for its blocks."""

import random
import uuid
from datetime import UTC, datetime

import pytest

from battery.answers import QUESTIONS, SYMPTOMS, Answer, hand_flags, latest, rises, visit_flags
from battery.errors import UsageError
from battery.export import export_tidy
from battery.flagging import Flagging, flags_of_check, last_check
from battery.plan import Plan, PlannedTask
from battery.recording import Device, Screen
from battery.report import gather
from battery.scoring.flags import FLAGS, comparable
from battery.simulate import Person as Simulated
from battery.simulate import Truth
from battery.store import Person, Store, TimingCheck
from battery.visits import begin_visit
from tests.export_kit import EVERYBODY

AT = "2026-03-04T10:00:00.000+00:00"
NOW = datetime(2026, 3, 4, 10, tzinfo=UTC)


def said(*rows):
    """Answers of a visit from (moment, question, value) or (..., block)."""
    return [
        Answer(str(n), "v", n, row[3] if len(row) > 3 else None, *row[:3], AT)
        for n, row in enumerate(rows)
    ]


def flags(answers, **given):
    settled = {"hand_amended": False, "helped_amended": False} | given
    helped = settled.pop("helped_amended")
    return [
        *hand_flags(answers, block_id="b1", hand_asked="right", **settled),
        *visit_flags(answers, helped_amended=helped),
    ]


WELL = [("before", name, "1") for name in SYMPTOMS[:5]] + [
    ("before", "weight", "off"),
    ("block", "hand_used", "right", "b1"),
    ("after", "helped", "no"),
    *[("after", name, "2") for name in SYMPTOMS[:5]],
]
CASES = {
    "hand_mismatch": ("block", "hand_used", "left", "b1"),
    "hand_uncertain": ("block", "hand_used", "not_sure", "b1"),
    "stopped_symptom": ("after", "pain", "4"),
    "helped": ("after", "helped", "yes"),
    "weight_on": ("before", "weight", "on"),
    "clock_odd": ("before", "clock", "odd"),
}


def test_a_visit_without_anything_odd_raises_nothing():
    assert flags(said(*WELL)) == []
    assert flags([]) == []


@pytest.mark.parametrize("name", CASES)
def test_each_flag_is_raised_by_its_answer(name):
    assert flags(said(*WELL, CASES[name])) == [name]
    assert name in FLAGS


def test_what_another_block_was_done_with_flags_only_that_one():
    assert flags(said(*WELL, ("block", "hand_used", "left", "b2"))) == []


def test_the_later_answer_counts():
    wrong_then_right = said(CASES["hand_mismatch"], *WELL)
    assert flags(wrong_then_right) == []
    assert latest(wrong_then_right, "block", "hand_used", "b1") == "right"
    assert latest(wrong_then_right, "block", "hand_used", "b7") is None


def test_an_amendment_settles_hand_and_help():
    assert flags(said(*WELL, CASES["hand_mismatch"]), hand_amended=True) == []
    assert flags(said(*WELL, CASES["helped"]), helped_amended=True) == []


@pytest.mark.parametrize(("value", "flagged"), [("3", False), ("4", True)])
@pytest.mark.parametrize("moment", ["stop", "after"])
def test_a_rise_by_three_is_where_it_stops(moment, value, flagged):
    """The start was 1; the rule of the trade: pause at +2 over the start, stop at +3."""
    raised = flags(said(*WELL, (moment, "dizziness", value)))
    assert ("stopped_symptom" in raised) is flagged


def test_a_rise_stays_a_rise_when_the_symptom_has_settled_since():
    answers = said(*WELL, ("stop", "vision", "6"), ("after", "vision", "1"))
    assert rises(answers)["vision"] == 5


def test_what_nobody_asked_at_the_start_counts_from_nought():
    assert rises(said(("stop", "sickness", "3"))) == {"sickness": 3}


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "home") as store:
        yield store


@pytest.fixture
def visit(store):
    """A visit of one task with the right hand, done."""
    store.people.add(Person("K7QF", "right", "left", "right", AT))
    plan = Plan(
        name="one", hands="right",
        tasks=(PlannedTask(task="tapping", options={"duration_s": 70.0}),),
    )  # fmt: skip
    device = Device("T-A", Screen(1280, 800, 0.17, 0.17, "card"))
    run = begin_visit(
        store, store.people.get("K7QF"), plan, device, wall=lambda: NOW,
        random_source=random.Random(2), origin="simulated",
    )  # fmt: skip
    for planned in list(run.todo):
        run.run(planned, Simulated(Truth(), seed=1))
    run.end()
    return run.header


def test_answers_come_back_in_order_and_wrong_ones_are_refused(store, visit):
    for value in ("3", "4", "3"):
        store.visits.put_answer(visit.visit_id, "before", "pain", value, at_utc=AT)
    assert [(a.number, a.value) for a in store.visits.answers(visit.visit_id)] == [
        (0, "3"), (1, "4"), (2, "3"),
    ]  # fmt: skip
    for question, value in (("pain", "11"), ("pain", "-1"), ("pain", ""), ("mood", "3")):
        with pytest.raises(UsageError, match="must be answered with one of"):
            store.visits.put_answer(visit.visit_id, "before", question, value, at_utc=AT)
    assert len(store.visits.answers()) == 3
    for question in QUESTIONS.values():
        for word in question.words or ("0", "10"):
            assert question.allows(word)


def test_the_wrong_hand_is_not_trended_until_somebody_says_which_it_was(store, visit, tmp_path):
    block = next(b for b in store.records.of_visit(visit.visit_id) if b.header.phase == "test")
    block_id = block.header.block_id

    def asides():
        return {r.aside for r in gather(store, "K7QF").readings}

    assert asides() == {""}
    store.visits.put_answer(
        visit.visit_id, "block", "hand_used", "left", at_utc=AT, block_id=block_id
    )
    assert asides() == {FLAGS["hand_mismatch"].says}
    assert {r.hand for r in gather(store, "K7QF").readings} == {"right"}
    store.annotations.amend(
        "block", block_id, "hand", "left", author="T", reason="asked", at_utc=AT
    )
    assert asides() == {""}
    assert {r.hand for r in gather(store, "K7QF").readings} == {"left"}
    assert (
        store.records.of_visit(visit.visit_id)[-1].sha256 == block.sha256
    )  # the record is as it was
    done = export_tidy(store, tmp_path / "out", selection=EVERYBODY)
    assert done.n_rows["answers"] == 1


def test_the_check_before_a_visit_flags_its_blocks(store, visit):
    def check(at, rate, gaps=0.0, slow=0.0):
        check_id = str(uuid.uuid5(uuid.NAMESPACE_OID, at))
        return TimingCheck(check_id, "T-A", "touch", 400, rate, 60.0, gaps, 60.0, slow, 1.0, at)

    good = check("2026-03-01T10:00:00.000+00:00", 120.0)
    slow = check("2026-03-03T10:00:00.000+00:00", 30.0)
    later = check("2026-03-05T10:00:00.000+00:00", 120.0)
    assert last_check([good, slow, later], visit.started_utc) is slow
    assert flags_of_check(good) == []
    assert flags_of_check(slow) == ["low_rate"]
    assert flags_of_check(check(AT, 120.0, gaps=0.02)) == ["low_rate"]
    assert flags_of_check(check(AT, 120.0, slow=0.02)) == ["slow_frames"]
    assert flags_of_check(check(AT, None)) == []
    for row in (good, slow, later):
        store.setup.put_timing_check(row)
    block = next(b for b in store.records.of_visit(visit.visit_id) if b.header.phase == "test")
    raised = Flagging.read(store).flags(
        visit, block_id=block.header.block_id, task="tapping", hand="right",
        ending=block.ending, input_type="touch", audit=block.audit, n_primary=40,
    )  # fmt: skip
    assert raised == ["learning", "low_rate"]
    assert comparable(raised)
