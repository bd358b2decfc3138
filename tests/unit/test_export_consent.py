"""Who did not give consent to research use stays out; who lets them in all the same is kept."""

import json

import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

from battery.cli import app
from battery.commands import exporting
from battery.store import Store, schema
from battery.store.settings import WITHOUT_CONSENT
from tests.export_kit import files

SAID = {"form_version": "1", "at_utc": "2026-05-01T10:00:00+00:00"}
LATER = SAID | {"at_utc": "2026-06-01T10:00:00+00:00"}
GAVE, CARE_ONLY, WITHDREW = "K7QF", "M4WX", "X3CF"


@pytest.fixture(scope="module")
def clinic(small_clinic):
    """One task is enough here."""
    return small_clinic


@pytest.fixture
def home(own_clinic):
    """Three people: one gave consent to research, one to care only, one withdrew it."""
    with Store.open(own_clinic) as store:
        with store._writing() as connection:  # the made-up clinic has everybody's
            connection.execute(schema.consents.delete())
        store.people.record_consent(GAVE, decision="given", scope="research", **SAID)
        store.people.record_consent(CARE_ONLY, decision="given", scope="care", **SAID)
        store.people.record_consent(WITHDREW, decision="given", scope="research", **SAID)
        store.people.record_consent(WITHDREW, decision="withdrawn", scope="research", **LATER)
    return own_clinic


def export(home, folder, *words, **options):
    told = CliRunner().invoke(
        app, ["export", str(folder), *words, "--home", str(home)], **options
    )
    assert told.exit_code == 0, told.output + repr(told.exception)
    return told.output


def people_in(folder):
    """Every person that any row of any table names."""
    found = set()
    for path in sorted(folder.rglob("*.parquet")):
        table = pq.read_table(path)
        if "person" in table.schema.names:
            found |= set(table.column("person").to_pylist())
    return found


def ids_of(home, *codes):
    with Store.open(home, write=False) as store:
        visits = [v.header.visit_id for code in codes for v in store.visits.all(code)]
        return visits + [b.header.block_id for v in visits for b in store.records.of_visit(v)]


def everything(folder):
    """All values of all tables and texts of an export, as one text."""
    told = [str(pq.read_table(p).to_pylist()) for p in sorted(folder.rglob("*.parquet"))]
    told += [d.decode("latin-1") for name, d in files(folder).items() if ".parquet" not in name]
    return "\n".join([*told, *files(folder)])


def test_who_gave_no_research_consent_is_in_no_export(home, tmp_path):
    said = export(home, tmp_path / "tidy", "--task", "tapping")
    export(home, tmp_path / "bids", "--bids", "--task", "tapping")
    assert "left out: 1 people without consent" in said
    assert people_in(tmp_path / "tidy") == {GAVE}
    for made in ("tidy", "bids"):
        whole = everything(tmp_path / made)
        assert GAVE in whole
        for odd in (CARE_ONLY, WITHDREW, *ids_of(home, CARE_ONLY, WITHDREW)):
            assert odd not in whole, (made, odd)
    with Store.open(home, write=False) as store:
        assert store.setup.setting(WITHOUT_CONSENT) is None


def test_who_lets_them_in_is_kept_with_day_and_reason_and_no_withdrawal_is_passed_over(
    home, tmp_path
):
    words = ("--task", "tapping", "--without-consent", "ethics vote 7", "--by", "AB")
    said = export(home, tmp_path / "tidy", *words)
    assert f"AB exports without research consent: {CARE_ONLY}" in said
    assert people_in(tmp_path / "tidy") == {GAVE, CARE_ONLY}
    export(home, tmp_path / "bids", "--bids", *words[:-2])
    with Store.open(home, write=False) as store:
        first, second = store.setup.setting(WITHOUT_CONSENT)
    assert first[1:] == ["AB", "ethics vote 7", CARE_ONLY]
    assert second[2:] == first[2:]
    assert second[1]  # the account that ran it
    assert first[0] < second[0]


def test_licence_and_authors_are_asked_once_and_only_at_a_terminal(home, tmp_path, monkeypatch):
    export(home, tmp_path / "no terminal", "--task", "tapping")
    monkeypatch.setattr(exporting, "at_terminal", lambda: True)
    said = export(home, tmp_path / "a", "--task", "tapping", input="CC-BY-4.0\nA B; C D\n")
    assert "Licence of your exports" in said
    said = export(home, tmp_path / "b", "--task", "tapping", input="")
    assert "Licence of your exports" not in said
    told = json.loads((tmp_path / "b" / "datapackage.json").read_text())
    assert [c["title"] for c in told["contributors"]] == ["A B", "C D"]
    assert told["licenses"][0]["name"] == "CC-BY-4.0"
