"""Rows of trials lie beside the scores: exported as if computed, never believed when spoilt."""

import shutil
import sqlite3
from contextlib import closing

import pytest

from battery.export import export_tidy
from battery.rescoring import rescore
from battery.scoring import trials as trials_module
from battery.scoring.trials import plain_rows
from battery.store import Store
from battery.store.opening import FILE_NAME
from battery.verify import verify
from tests.export_kit import EVERYBODY, digests


@pytest.fixture(scope="module")
def clinic(small_clinic):
    """One task is enough here."""
    return small_clinic


@pytest.fixture
def home(clinic, tmp_path):
    """A clinic with one block that a kill cut off and that has no rows."""
    return shutil.copytree(clinic, tmp_path / "home")


def change(home, statement):
    with closing(sqlite3.connect(home / FILE_NAME)) as database, database:
        return database.execute(statement).rowcount


def exported(home, folder):
    with Store.open(home, write=False) as store:
        export_tidy(store, folder, selection=EVERYBODY)
        return digests(folder) | {"datapackage.json": ""}, store.unreadable()


def test_an_export_computes_none_that_are_stored(home, tmp_path, monkeypatch):
    """The same bytes as of a store that has none, where every one is computed."""
    with Store.open(home, write=False) as store:
        stored = store.scores.trials()
        blocks = [b for b in store.records.in_brief() if b.ending is not None]
        assert len(stored) == len(blocks) - 1
        for block_id, rows in stored.items():
            assert rows == plain_rows(store.records.load(block_id))
    there, _ = exported(home, tmp_path / "there")
    assert change(home, "DELETE FROM trials") == len(stored)
    assert exported(home, tmp_path / "gone")[0] == there
    computed = []
    plain = trials_module.trial_rows
    monkeypatch.setattr(
        trials_module, "trial_rows", lambda b: computed.append(b.header.block_id) or plain(b)
    )
    other = shutil.copytree(tmp_path / "home", tmp_path / "other")
    with Store.open(other) as store:
        rescore(store, progress=lambda *_: None, n_processes=1)
    computed.clear()
    assert (
        exported(other, tmp_path / "again")[0]["trials/part-0001.parquet"]
        == (there["trials/part-0001.parquet"])
    )
    with Store.open(other, write=False) as store:
        practice = {
            b.block_id
            for code in ("K7QF", "M4WX")  # the third withdrew
            for b in store.records.in_brief(code)
            if b.phase == "practice"
        }
    assert set(computed) == practice  # a rescoring keeps those of test blocks


@pytest.mark.parametrize(
    "spoil",
    [
        "packed = X'00'", "packed = 'text'", "sha256 = 'x'", "scoring_version = 'x'",
        "packed = (SELECT packed FROM trials ORDER BY block_id DESC LIMIT 1)",
    ],
)  # fmt: skip
def test_spoilt_rows_are_named_and_computed_anew(home, tmp_path, spoil):
    whole, none = exported(home, tmp_path / "whole")
    assert none == []
    with Store.open(home, write=False) as store:
        one = f"'{store.records.in_brief('K7QF')[1].block_id}'"
    assert change(home, f"UPDATE trials SET {spoil} WHERE block_id = {one}") == 1
    again, named = exported(home, tmp_path / "again")
    assert again == whole
    assert len(named) == 1
    assert "trials of block" in named[0]
    with Store.open(home, write=False) as store:
        found = verify(store, replay=False)
    assert any("trials of block" in f.what for f in found.findings)


def test_rows_of_another_scoring_version_are_computed_anew(home, tmp_path, monkeypatch):
    from battery.store import trial_rows

    whole, _ = exported(home, tmp_path / "whole")
    monkeypatch.setattr(trial_rows, "SCORING_VERSION", trial_rows.SCORING_VERSION - 1)
    with Store.open(home) as store:
        block_id = next(iter(store.records.in_brief(phase="test"))).block_id
        store.scores.put(block_id, [], [{"trial": 0, "outcome": "hit"}])
        assert store.scores.trials([block_id]) == {block_id: [{"trial": 0, "outcome": "hit"}]}
        monkeypatch.undo()
        assert store.scores.trials([block_id]) == {}
    name = "trials/part-0001.parquet"
    assert exported(home, tmp_path / "again")[0][name] == whole[name]


def test_rescoring_gives_an_earlier_store_its_rows(home):
    change(home, "DELETE FROM trials")
    with Store.open(home) as store:
        found = rescore(store, progress=lambda *_: None, n_processes=1)
        assert found.n_differ == 0
        tests = {b.block_id for b in store.records.in_brief(phase="test") if b.ending}
        assert set(store.scores.trials()) == tests
