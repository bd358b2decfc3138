"""An export that is repeated into its folder makes new parts only, and the same bytes."""

import json
import os
import shutil
import sqlite3
from contextlib import closing

import pytest

from battery.export import export_tidy
from battery.export.writing import kept
from battery.export.writing.kept import FILE_NAME
from battery.store import PackedBlock, Store, opening
from battery.store.trial_rows import trial_values
from tests.export_kit import EVERYBODY, NOW, digests
from tests.sparing import share


@pytest.fixture(scope="module")
def clinic(small_clinic):
    """One task is enough here."""
    return small_clinic


@pytest.fixture
def home(clinic, tmp_path):
    home = shutil.copytree(clinic, tmp_path / "home")
    (home / FILE_NAME).unlink(missing_ok=True)
    return home


def exported(home, folder):
    with Store.open(home, write=False) as store:
        done = export_tidy(store, folder, selection=EVERYBODY, now=NOW)
        return digests(folder), done, sorted(store.unreadable())


def change(home, statement, *values):
    with closing(sqlite3.connect(home / opening.FILE_NAME)) as database, database:
        assert database.execute(statement, values).rowcount > 0


@pytest.fixture
def counted(monkeypatch):
    """How many blocks were unpacked."""
    seen = []
    plain = PackedBlock.unpacked

    def unpacked(self, **words):
        seen.append(self.block_id)
        return plain(self, **words)

    monkeypatch.setattr(PackedBlock, "unpacked", unpacked)
    return seen


def test_what_is_there_is_not_unpacked_again(home, tmp_path, counted):
    first = exported(home, tmp_path / "study")
    assert counted
    counted.clear()
    assert exported(home, tmp_path / "study") == first
    assert counted == []
    assert exported(home, tmp_path / "other")[0] == first[0]
    assert len(counted) == first[1].n_rows["blocks"]
    assert FILE_NAME not in {path.name for path in (tmp_path / "study").rglob("*")}


def _trial_rows(home):
    with closing(sqlite3.connect(home / opening.FILE_NAME)) as database, database:
        (block_id,) = database.execute(
            "SELECT block_id FROM trials JOIN blocks USING (block_id) JOIN visits "
            "USING (visit_id) WHERE person = 'K7QF' ORDER BY block_id"
        ).fetchone()
    row = trial_values(block_id, [])
    change(
        home, "UPDATE trials SET packed = ?, sha256 = ? WHERE block_id = ?",
        row["packed"], row["sha256"], block_id,
    )  # fmt: skip


OF_ONE = (
    "WHERE block_id IN (SELECT block_id FROM blocks JOIN visits USING (visit_id) "
    "WHERE person = 'K7QF' AND blocks.ending = 'finished')"
)


@pytest.mark.parametrize(
    "what",
    share([
        lambda home, _: change(home, f"UPDATE payloads SET samples = X'50' {OF_ONE}"),
        lambda home, _: change(home, f"UPDATE payloads SET seal = NULL {OF_ONE}"),
        lambda home, _: change(home, f"UPDATE blocks SET ended_ns = ended_ns + 1 {OF_ONE}"),
        lambda home, _: change(home, f"UPDATE scores SET value = value + 1 {OF_ONE}"),
        lambda home, _: change(home, f"DELETE FROM trials {OF_ONE}"),
        lambda home, _: change(home, f"UPDATE trials SET packed = X'00' {OF_ONE}"),
        lambda home, _: _trial_rows(home),
        lambda _, study: (study / "samples/part-0001.parquet").write_bytes(b"other"),
        lambda _, study: (study / "samples/part-0001.parquet").unlink(),
        lambda _, study: (study / "datapackage.json").write_text(
            (study / "datapackage.json").read_text().replace("sha256:", "sha256:0")
        ),
        lambda home, _: (home / FILE_NAME).write_text("[]"),
        lambda home, _: (home / FILE_NAME).write_bytes(b"\xff"),
        lambda home, _: (home / FILE_NAME).unlink(),
    ], 3),
)  # fmt: skip
def test_whatever_changed_it_is_as_if_nothing_had_been_there(home, tmp_path, what):
    exported(home, tmp_path / "study")
    what(home, tmp_path / "study")
    again = exported(home, tmp_path / "study")
    (home / FILE_NAME).unlink(missing_ok=True)
    assert again == exported(home, tmp_path / "fresh")


def test_what_another_program_wrote_is_written_anew(home, tmp_path, monkeypatch, counted):
    first = exported(home, tmp_path / "study")
    monkeypatch.setattr(kept, "SCORING_VERSION", 10_000)
    counted.clear()
    assert exported(home, tmp_path / "study")[0] == first[0]
    assert len(counted) == first[1].n_rows["blocks"]


def test_without_links_it_is_copied_and_without_room_the_earlier_export_stays(
    home, tmp_path, monkeypatch, counted
):
    """What is linked is never written into, so that a failure spoils nothing."""
    first = exported(home, tmp_path / "study")

    def no_link(*_):
        raise PermissionError

    counted.clear()
    monkeypatch.setattr(os, "link", no_link)
    assert exported(home, tmp_path / "study") == first
    assert counted == []
    left = [2]
    monkeypatch.undo()
    plain = os.link

    def two_links(*paths):
        left[0] -= 1
        if left[0] < 0:
            raise PermissionError
        plain(*paths)

    def full(*_):
        msg = "no space left"
        raise OSError(28, msg)

    monkeypatch.setattr(os, "link", two_links)
    monkeypatch.setattr(kept.shutil, "copyfile", full)
    assert exported(home, tmp_path / "study") == first
    assert left[0] < 0


def test_a_home_that_cannot_be_written_costs_time_only(home, tmp_path, monkeypatch):
    def refused(*_, **__):
        raise PermissionError

    monkeypatch.setattr(kept, "replace_whole", refused)
    first = exported(home, tmp_path / "study")
    assert not (home / FILE_NAME).exists()
    assert exported(home, tmp_path / "study") == first


def test_notes_do_not_grow_for_ever(home, tmp_path, monkeypatch):
    monkeypatch.setattr(kept, "MAX_NOTED", 3)
    (home / FILE_NAME).write_text(json.dumps({str(n): {"samples": "x"} for n in range(9)}))
    exported(home, tmp_path / "study")
    assert len(json.loads((home / FILE_NAME).read_text())) == 3
