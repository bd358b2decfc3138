"""Earlier tablets, clinics, records and exports, each read by this program."""

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from battery.export import rescore_export, verify_export
from battery.handover import receive, send
from battery.plan import plan_hash
from battery.report import page_of, render
from battery.rescoring import rescore
from battery.store import Store
from battery.verify import verify
from tests.data.make_formats import PLAN
from tests.data.make_store import told_by

FORMATS = sorted((Path(__file__).resolve().parents[1] / "data" / "formats").glob("[0-9][0-9]"))
LATER = datetime(2026, 2, 1, 12, tzinfo=UTC)


def wall():
    return LATER


@pytest.fixture(params=FORMATS, ids=lambda path: path.name)
def then(request, tmp_path):
    """A copy of a tablet, its clinic and the stick between them, as left by that program."""
    home = tmp_path / "then"
    shutil.copytree(request.param, home)
    for secret in home.glob("*/keys/*"):
        secret.chmod(0o600)  # which a checkout does not keep
    return home


def told(home):
    return json.loads((home / "told.json").read_text(encoding="utf-8"))


def within(old, new, where="told"):
    """Every value of then is there now; later programs may tell more."""
    if isinstance(old, dict):
        assert set(old) <= set(new), where
        for key, value in old.items():
            within(value, new[key], f"{where}.{key}")
    elif isinstance(old, list):
        assert len(old) == len(new), where
        for index, value in enumerate(old):
            within(value, new[index], f"{where}[{index}]")
    else:
        assert old == new, where


def holds_and_is_used(store):
    """Verify, rescore and report all give an answer about what is stored."""
    found = verify(store)
    assert found.findings == ()
    assert rescore(store, progress=lambda done, of: None).failed == {}
    assert verify(store) == found
    text = render(page_of(store, "K7QF", now=LATER))
    assert "K7QF" in text


@pytest.mark.parametrize("part", ["clinic", "tablet"])
def test_earlier_records_tell_what_they_told_then_and_are_used(then, part):
    with Store.open(then / part) as store:
        within(told(then)[part], told_by(store))
        holds_and_is_used(store)


def test_a_bundle_of_an_earlier_tablet_is_taken_in_and_used(then):
    with Store.open(then / "clinic") as clinic:
        report = receive(clinic, then / "stick", wall=wall)
        assert report.refused == []
        assert report.outcomes["new"] == 1
        assert len(clinic.visits.all()) == 2
        shas = {b["sha256"] for v in told(then)["tablet"]["visits"] for b in v["blocks"]}
        held = (
            b.sha256
            for v in clinic.visits.all()
            for b in clinic.records.of_visit(v.header.visit_id)
        )
        assert set(held) == shas
        holds_and_is_used(clinic)


def test_a_tablet_with_earlier_records_reads_the_earlier_receipt_and_goes_on(then):
    with Store.open(then / "tablet") as tablet:
        report = send(tablet, then / "stick", wall=wall)
        assert (report.n_acknowledged, report.n_sent, report.problems) == (2, 0, [])
        for path in (then / "stick").glob("*.cbundle"):
            path.unlink()
        assert send(tablet, then / "stick", wall=wall).n_sent == 2
    with Store.open(then / "clinic") as clinic:
        report = receive(clinic, then / "stick", wall=wall)
        assert (report.refused, report.outcomes["new"]) == ([], 1)
        holds_and_is_used(clinic)


def test_an_earlier_export_is_verified_and_scored_again(then):
    assert verify_export(then / "export").findings == ()
    done = rescore_export(then / "export")
    assert (done.n_blocks, done.failed) == (4, {})


def test_a_plan_keeps_its_hash_through_options_that_came_later(then):
    """Else every series would begin anew with each update."""
    recorded = {v["header"]["plan_hash"] for v in told(then)["tablet"]["visits"]}
    assert recorded == {plan_hash(PLAN)}
