"""What was said later holds everywhere; the record itself stays as it was read."""

import pytest
from typer.testing import CliRunner

from battery.cli import app
from battery.effective import visits_of
from battery.errors import UsageError
from battery.export import export_tidy
from battery.report import write_page
from battery.store import Amended, Store
from tests import clinic as made_up
from tests.export_kit import rows


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def said(result):
    assert result.exit_code == 0, result.exception
    return result.output


def hashes(folder):
    with Store.open(folder, write=False) as store:
        return {
            record.header.block_id: (
                record.sha256,
                store.records.load(record.header.block_id).sha256,
            )
            for visit in store.visits.all()
            for record in store.records.of_visit(visit.header.visit_id)
        }


def test_a_hand_is_put_right_by_command_and_the_raw_hash_stays(own_clinic):
    before = hashes(own_clinic)
    words = ("--visit", 2, "--block", 2, "--by", "AB", "--home", own_clinic)
    listing = said(run("amend", "K7QF", "--visit", 2, "--home", own_clinic))
    assert "block 2  tapping  right hand  test" in listing
    first = said(run("amend", "K7QF", *words, "--hand", "left", "--reason", "pen in the left"))
    assert "hand is now left (was right). The record was not changed." in first
    said(run("amend", "K7QF", *words, "--hand", "right", "--reason", "no, it was right"))
    listing = said(run("amend", "K7QF", "--visit", 2, "--home", own_clinic))
    assert "block 2  tapping  right hand  test" in listing  # the latest word holds
    assert "hand 'right' became 'left', by AB" in listing
    assert "pen in the left" in listing
    assert hashes(own_clinic) == before
    assert all(stored == computed for stored, computed in before.values())


def test_a_visit_of_another_person_moves_on_page_and_export(own_clinic, tmp_path):
    said(
        run("amend", "K7QF", "--visit", 3, "--person", "M4WX", "--by", "AB",
            "--reason", "wrong tile pressed", "--home", own_clinic)
    )  # fmt: skip
    with Store.open(own_clinic, write=False) as store:
        moved = [v for v in visits_of(store, "M4WX") if v.header.person == "K7QF"]
        assert len(moved) == 1
        assert len(visits_of(store, "K7QF")) == 2
        export_tidy(store, tmp_path / "export")
        page = write_page(store, "M4WX", tmp_path / "page.html", now=made_up.FIRST_DAY)
    assert "wrong tile pressed" in page.read_text(encoding="utf-8")
    owners = {v["visit_id"]: v["person"] for v in rows(tmp_path / "export", "visits")}
    assert owners[moved[0].header.visit_id] == "M4WX"
    said_later = rows(tmp_path / "export", "amendments")
    assert ("person", "K7QF", "M4WX") in {(a["field"], a["old"], a["new"]) for a in said_later}


def test_a_visit_is_left_out_and_taken_back(own_clinic):
    words = ("K7QF", "--visit", 3, "--by", "AB", "--reason", "fire alarm", "--home", own_clinic)
    for option, holds in (("--exclude", True), ("--include", False)):
        said(run("amend", *words, option))
        with Store.open(own_clinic, write=False) as store:
            visit = visits_of(store, "K7QF")[2].header.visit_id
            assert Amended(store.annotations.amendments()).excluded(visit) is holds


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--visit", 9, "--exclude"), "has no visit 9"),
        (("--visit", 1, "--block", 77, "--hand", "left"), "has no block 77"),
        (("--visit", 1, "--block", 1, "--hand", "both"), "hand 'both'"),
        (("--visit", 1, "--person", "NONE"), "no person 'NONE'"),
        (("--visit", 1, "--hand", "left"), "hand"),
        (("--exclude",), "which visit?"),
        (("--visit", 1, "--exclude", "--note", "x"), "one change at a time"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_stored(own_clinic, words, told):
    with Store.open(own_clinic, write=False) as store:
        n_before = len(store.annotations.amendments())
    result = run("amend", "K7QF", *words, "--by", "AB", "--reason", "r", "--home", own_clinic)
    assert isinstance(result.exception, UsageError)
    assert told in str(result.exception)
    with Store.open(own_clinic, write=False) as store:
        assert len(store.annotations.amendments()) == n_before


def test_consent_is_kept_with_its_form_and_the_latest_decision_counts(own_clinic, tmp_path):
    words = ("consent", "K7QF", "--form-version", "3", "--home", own_clinic)
    assert "consent to research withdrawn under form 3" in said(run(*words, "--withdrawn"))
    with Store.open(own_clinic, write=False) as store:
        assert "K7QF" in store.people.withdrawn()
        export_tidy(store, tmp_path / "export")
    assert "K7QF" not in {p["person"] for p in rows(tmp_path / "export", "people")}
    said(run(*words, "--given"))
    with Store.open(own_clinic, write=False) as store:
        assert "K7QF" not in store.people.withdrawn()
