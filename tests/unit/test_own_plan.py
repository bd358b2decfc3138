"""The plan that belongs to a person: versions, what holds, and two that contradict."""

import json
import random
from datetime import UTC, datetime, timedelta

import pyarrow.parquet as pq
import pytest

from battery.errors import PlanError, UsageError
from battery.export import export_tidy
from battery.own_plan import contradictions, off_plan_words, own_plan, plan_for, set_plan
from battery.plan import NUMBERS, SHORT, STANDARD, plan_hash
from battery.store import Store
from battery.store.arrival import Beside
from battery.store.fitting import hold_row
from battery.visits import begin_visit
from tests import handover_kit as hand
from tests import store_kit as kit
from tests.export_kit import EVERYBODY
from tests.unit.test_cli_store import run

MINUTES = iter(range(10_000))
OWN = """
name = "evenings"
hands = "left"
rest_s = 20.0
[[tasks]]
task = "slide"
options = {duration_s = 20.0}
"""


def at(minute=None):
    later = timedelta(minutes=next(MINUTES) if minute is None else minute)
    return (datetime(2026, 5, 1, tzinfo=UTC) + later).isoformat()


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "home") as opened:
        opened.people.add(kit.person())
        yield opened


def put(store, told, author="AB"):
    return set_plan(store, "K7QF", told, author=author, at_utc=at())


def test_the_latest_holds_and_earlier_ones_stay(store, tmp_path):
    assert own_plan(store, "K7QF") is None
    assert plan_for(store, "K7QF") == STANDARD
    first = put(store, "short")
    file = tmp_path / "evenings.toml"
    file.write_text(OWN)
    second = put(store, str(file), author="CD")
    held = own_plan(store, "K7QF")
    assert (held.row, held.against) == (second, ())
    assert (second.follows, second.author, second.source) == (
        first.entry_id, "CD", "evenings.toml",
    )  # fmt: skip
    assert first.source_sha256 is None
    assert len(second.source_sha256) == 64
    assert store.care.plans("K7QF") == [first, second]
    assert plan_for(store, "K7QF").tasks[0].options == {"duration_s": 20.0}
    assert plan_hash(plan_for(store, "K7QF")) == second.plan_hash
    file.unlink()  # what was set stays without its file
    assert plan_for(store, "K7QF").name == "evenings"


def test_a_plan_needs_a_name_and_one_that_is_none_changes_nothing(store, tmp_path):
    with pytest.raises(UsageError, match="author is empty"):
        put(store, "short", author=" ")
    with pytest.raises(PlanError, match="no plan 'weekly'"):
        put(store, "weekly")
    with pytest.raises(UsageError, match="no person"):
        set_plan(store, "XXXX", "short", author="AB", at_utc=at())
    assert store.care.plans() == []


def test_a_visit_by_another_plan_is_named(store):
    put(store, "short")
    assert "follows 'standard' as asked" in off_plan_words(store, "K7QF", STANDARD)
    assert off_plan_words(store, "K7QF", SHORT) == ""


def begun(store, plan):
    device = kit.DEVICE
    begin_visit(
        store, store.people.get("K7QF"), plan, device, wall=lambda: hand.NOW,
        random_source=random.Random(1),
    ).end()  # fmt: skip


@pytest.fixture
def pair(tmp_path):
    made = hand.Pair(tmp_path, n_visits=0)
    yield made
    made.close()


def test_a_plan_set_at_the_tablet_comes_to_the_clinic_with_its_person(pair):
    row = put(pair.tablet, "short")
    pair.tablet.setup.put_device(kit.DEVICE)
    pair.send()
    pair.receive()
    assert own_plan(pair.clinic, "K7QF").row == row
    assert pair.receive().notes == []


def test_two_plans_that_do_not_know_of_each_other_are_named_and_neither_is_lost(pair):
    """The visits go on as they were, on both sides, until somebody sets a plan anew."""
    begun(pair.tablet, NUMBERS)
    clinic = put(pair.clinic, "short")
    tablet = put(pair.tablet, "numbers", author="EF")
    pair.send()
    notes = pair.receive().lines()
    assert any("K7QF: two plans contradict" in line for line in notes)
    held = own_plan(pair.clinic, "K7QF")
    assert (held.row, held.against) == (tablet, (clinic,))
    assert contradictions(pair.clinic)[0] in notes
    settled = put(pair.clinic, "short")
    assert set(settled.follows.split()) == {clinic.entry_id, tablet.entry_id}
    assert own_plan(pair.clinic, "K7QF").row == settled
    assert contradictions(pair.clinic) == []
    assert len(pair.clinic.care.plans("K7QF")) == 3


def test_before_any_visit_the_one_that_was_set_first_holds(pair):
    clinic = put(pair.clinic, "short")
    put(pair.tablet, "numbers")
    pair.tablet.setup.put_device(kit.DEVICE)
    pair.send()
    pair.receive()
    assert own_plan(pair.clinic, "K7QF").row == clinic


def test_the_same_plan_set_twice_is_no_contradiction(pair):
    put(pair.clinic, "short")
    put(pair.tablet, "short")
    pair.tablet.setup.put_device(kit.DEVICE)
    pair.send()
    assert pair.receive().notes == []


def row_of(**more):
    plan = SHORT.model_dump(mode="json")
    return {
        "entry_id": kit.identifier("own"), "person": "K7QF", "plan_name": "short",
        "plan_hash": plan_hash(SHORT), "plan_json": json.dumps(plan), "source": "short",
        "source_sha256": None, "follows": "", "author": "AB", "at_utc": at(0),
    } | more  # fmt: skip


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"plan_json": json.dumps(STANDARD.model_dump(mode="json"))}, "the plan in it has"),
        ({"plan_json": "[]"}, "plan is"),
        ({"plan_json": "{"}, "Expecting"),
        ({"follows": "the one before"}, "follows is"),
        ({"plan_hash": "x"}, "plan_hash is"),
    ],
)
def test_a_forged_plan_does_not_pass_the_gate(pair, more, why):
    hold_row("person_plans", row_of())
    with pytest.raises(ValueError, match=why):
        hold_row("person_plans", row_of(**more))
    beside = Beside(person={"person_plans": [row_of(**more)]})
    sealed = hand.packed(None, beside=beside)
    from tests.unit.test_compatibility import put as put_bundle

    put_bundle(pair, sealed)
    assert pair.receive().outcomes.get("added") is None
    assert pair.clinic.care.plans() == []


def test_a_plan_of_a_later_program_is_kept_and_says_so_when_it_is_to_be_done(store):
    plan = SHORT.model_dump(mode="json") | {"breaks": "long"}
    row = row_of(plan_json=json.dumps(plan))
    hold_row("person_plans", row)
    from sqlalchemy import insert

    from battery.store import schema

    with store.care._writing() as connection:
        connection.execute(insert(schema.person_plans).values(**row))
    with pytest.raises(PlanError, match="Update it"):
        plan_for(store, "K7QF")


def test_it_is_exported_without_author_and_goes_with_the_person(store, tmp_path):
    first, second = put(store, "short"), put(store, "numbers")
    store.people.record_consent("K7QF", form_version="1", decision="given", at_utc=at())
    export_tidy(store, tmp_path / "study", selection=EVERYBODY)
    rows = pq.read_table(tmp_path / "study" / "person_plans.parquet").to_pylist()
    assert [row["plan_hash"] for row in rows] == [first.plan_hash, second.plan_hash]
    assert [row["in_place_of"] for row in rows] == [None, rows[0]["entry_id"]]
    assert "author" not in rows[0]
    plans = pq.read_table(tmp_path / "study" / "plans.parquet").to_pylist()
    assert {row["plan_hash"] for row in plans} == {first.plan_hash, second.plan_hash}
    store.erasure.erase("K7QF", author="AB", at_utc=at())
    assert store.care.plans() == []


def test_the_command_sets_and_shows_it_and_a_visit_needs_no_name_of_a_plan(
    tmp_path, monkeypatch
):
    home = tmp_path / "home"
    said = run("enrol", "--plan", "short", "--checked-by", "AB", "--home", home)
    code = said.output.split()[0]
    assert "Own plan short" in said.output
    run("plan", code, "numbers", "--by", "CD", "--home", home)
    shown = run("plan", code.lower(), "--home", home).output.splitlines()
    assert len(shown) == 2
    assert "numbers" in shown[1]
    assert "set by CD" in shown[1]
    asked = []

    def seen(store, person, plan, **_):
        asked.append(plan.name)
        return "done"

    monkeypatch.setattr("battery.stage.visit.visit_on_screen", seen)
    run("visit", code, "--home", home)
    off = run("visit", code, "--plan", "short", "--home", home)
    assert asked == ["numbers", "short"]
    assert "series of its own" in off.output
