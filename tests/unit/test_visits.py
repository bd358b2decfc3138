"""Whose picture it is, what counts as a visit, and when one may be continued."""

import random
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner

from battery.cli import app
from battery.handover import keys, send
from battery.people import PICTURES, new_person, picture_of
from battery.plan import Plan, PlannedTask
from battery.recording import Device, Screen
from battery.report.caseload import caseload
from battery.simulate import Person as Simulated
from battery.simulate import Truth
from battery.store import Store
from battery.store.opening import FILE_NAME
from battery.visits import begin_visit

NOW = datetime(2026, 3, 4, 10, tzinfo=UTC)
DATA = Path(__file__).resolve().parents[1] / "data"
PLAN = Plan(
    name="early", rest_s=0, tasks=(PlannedTask(task="tapping", options={"duration_s": 30.0}),)
)
UNWELL = [("before", "red_flags", "yes"), ("stop", "pain", "4")]
DEVICE = Device("T-A", Screen(1280, 800, 0.17, 0.17, "card"))


def run(home, *words):
    done = CliRunner().invoke(app, [*words, "--home", str(home)])
    assert done.exit_code == 0, done.output
    return done.output


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "home") as store:
        yield store


@pytest.fixture
def person(store):
    return new_person(
        store, dominant_hand="right", affected_side="left", first_hand=None, now=NOW
    )


def begun(store, person, after=timedelta(0), seed=5):
    return begin_visit(
        store,
        person,
        PLAN,
        DEVICE,
        wall=lambda: NOW + after,
        random_source=random.Random(f"{seed} {after}"),
    )


def do(visit, n_blocks):
    for planned in list(visit.todo)[:n_blocks]:
        visit.run(planned, Simulated(Truth(), seed=4))


# The picture


def test_enrolment_tells_the_picture_and_erasing_somebody_changes_nobody_elses(tmp_path):
    said = [run(tmp_path, "enrol") for _ in range(3)]
    codes = [text.split()[0] for text in said]
    for text, picture in zip(said, PICTURES, strict=False):
        assert f"Picture: {picture}." in text
    run(tmp_path, "erase", codes[0], "--by", "AB", "--yes")
    with Store.open(tmp_path) as store:
        assert [picture_of(store, code) for code in codes[1:]] == ["boat", "tree"]
    assert "Picture: house." in run(tmp_path, "enrol")  # free again


def test_people_of_an_older_store_keep_the_picture_they_were_shown(tmp_path):
    shutil.copyfile(DATA / "store_v2.sqlite", tmp_path / FILE_NAME)
    with Store.open(tmp_path) as store:
        codes = [p.code for p in store.people.all()]
        store.erasure.erase(codes[0], author="AB", at_utc=NOW.isoformat())
        assert picture_of(store, codes[1]) == PICTURES[1]


def test_more_people_than_pictures_share_them_evenly(store):
    for _ in range(2 * len(PICTURES) + 1):
        new_person(store, dominant_hand="right", affected_side="both", first_hand=None, now=NOW)
    held = [picture_of(store, p.code) for p in store.people.all()]
    assert sorted(held.count(name) for name in PICTURES) == [2] * 7 + [3]


# What counts as done


def test_a_visit_in_which_every_block_was_left_out_is_not_complete(store, person):
    visit = begun(store, person)
    for planned in list(visit.todo):
        visit.leave_out(planned)
    assert (visit.n_done, visit.n_planned) == (0, 2)
    visit.end()
    (record,) = store.visits.all(person.code)
    assert record.ending == "stopped"
    (row,) = caseload(store, now=NOW + timedelta(days=1))
    assert (row.due, row.last_visit) == ("due", None)


def test_a_visit_with_a_test_done_counts(store, person):
    visit = begun(store, person)
    do(visit, 2)
    visit.end()
    assert (visit.n_done, visit.n_planned) == (1, 2)
    assert store.visits.all(person.code)[0].ending == "finished"
    (row,) = caseload(store, now=NOW + timedelta(days=1))
    assert row.due == "not due yet"


# Ended early


def test_a_visit_that_was_ended_early_goes_on_the_same_day(store, person):
    visit = begun(store, person)
    do(visit, 2)
    visit.end("stopped")
    again = begun(store, person, timedelta(hours=3))
    assert again.resumed
    assert again.header.visit_id == visit.header.visit_id
    assert [b.hand for b in again.todo] == ["left", "left"]
    assert store.visits.all(person.code)[0].ending is None
    do(again, 2)
    again.end()
    assert store.visits.all(person.code)[0].ending == "finished"


def test_and_not_the_next_day(store, person):
    begun(store, person).end("stopped")
    assert not begun(store, person, timedelta(hours=13)).resumed


@pytest.mark.parametrize("answer", UNWELL, ids=["sign", "worse"])
def test_who_was_unwell_does_not_go_on_the_same_day(store, person, answer):
    visit = begun(store, person)
    visit.answer(*answer)
    visit.end("stopped")
    assert not begun(store, person, timedelta(hours=1)).resumed


def test_what_was_handed_over_is_not_gone_on_with(store, person, tmp_path):
    """The clinic has it as it was; a longer one under the same name would contradict it."""
    stick = tmp_path / "stick"
    stick.mkdir()
    with Store.open(tmp_path / "clinic") as clinic:
        mark = keys.make_clinic_keys(clinic, stick)
    keys.make_tablet_keys(store, keys.found_cards(stick), [mark])
    visit = begun(store, person)
    do(visit, 2)
    visit.end("stopped")
    send(store, stick, wall=lambda: NOW)
    assert not begun(store, person, timedelta(hours=1)).resumed
