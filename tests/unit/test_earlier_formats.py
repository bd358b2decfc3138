"""Earlier tablets, clinics, records and exports, each read by this program."""

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from battery.export import rescore_export, verify_export
from battery.handover import receive, send
from battery.store import Store
from battery.verify import verify

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


def test_a_bundle_of_an_earlier_tablet_is_taken_in(then):
    with Store.open(then / "clinic") as clinic:
        report = receive(clinic, then / "stick", wall=wall)
        assert report.refused == []
        assert report.outcomes["new"] == 1
        assert verify(clinic).findings == ()
        assert len(clinic.visits()) == 2


def test_a_tablet_with_earlier_records_reads_the_earlier_receipt_and_goes_on(then):
    with Store.open(then / "tablet") as tablet:
        report = send(tablet, then / "stick", wall=wall)
        assert (report.n_acknowledged, report.n_sent, report.problems) == (2, 0, [])
        assert verify(tablet).findings == ()


def test_an_earlier_export_is_verified_and_scored_again(then):
    assert verify_export(then / "export").findings == ()
    done = rescore_export(then / "export")
    assert (done.n_blocks, done.failed) == (4, {})
