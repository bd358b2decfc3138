"""What of a store is exported and where to; what is there stays or is replaced whole."""

import re
import resource
from datetime import date
from pathlib import Path

import pyarrow as pa
import pytest

from battery.errors import StoreError, UsageError
from battery.export import Form, export_tidy
from battery.export.choosing.selection import Selection
from battery.export.on_disk import table_files
from battery.export.writing.kept import FILE_NAME
from battery.store import Store
from battery.workers import threads_here
from tests import store_kit as kit
from tests.export_kit import (
    EVERYBODY,
    FULL,
    NOW,
    digests,
    rows,
)
from tests.unit.test_export import all_text, exported, is_valid, own_export

pytestmark = [
    pytest.mark.filterwarnings("ignore::DeprecationWarning:frictionless"),
    # The reference validator leaves packed files open.
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]

__all__ = ["exported", "own_export"]  # fixtures of both files


@pytest.fixture(scope="module")
def clinic(small_clinic):
    """One task is enough here, where no test asks for all."""
    return small_clinic


# Choosing


def test_one_person(clinic, tmp_path, exported):
    done = []
    with Store.open(clinic, write=False) as store:
        counts = export_tidy(
            store,
            tmp_path / "one",
            selection=Selection(people=["M4WX"]),
            form=Form(csv=True),
            progress=lambda *step: done.append(step),
        ).n_rows
    assert done == [(1, 1)]
    assert counts["people"] == counts["visits"] == counts["devices"] == 1
    assert rows(tmp_path / "one", "devices")[0]["device"] == "D02"  # as in the whole
    whole = [s for s in rows(exported, "blocks")]
    assert all(block in whole for block in rows(tmp_path / "one", "blocks"))
    assert is_valid(tmp_path / "one")


def test_only_the_tasks_people_and_days_asked_for_are_written(whole_clinic, tmp_path):
    """By hand: K7QF's visits lie a week apart from the local 2 March; one task is kept."""
    asked = Selection(
        people=["K7QF", "M4WX"], tasks=["slide"], since=date(2026, 3, 9), until=date(2026, 3, 9)
    )
    with Store.open(whole_clinic, write=False) as store:
        export_tidy(store, tmp_path / "part", selection=asked, form=Form(csv=True))
    assert [r["person"] for r in rows(tmp_path / "part", "people")] == ["K7QF", "M4WX"]
    assert {(r["person"], r["day"]) for r in rows(tmp_path / "part", "visits")} == {
        ("K7QF", "0"), ("M4WX", "0")
    }  # fmt: skip
    assert {r["task"] for r in rows(tmp_path / "part", "blocks")} == {"slide"}
    kept = {r["block_id"] for r in rows(tmp_path / "part", "blocks")}
    assert {r["block_id"] for r in rows(tmp_path / "part", "samples")} <= kept
    assert rows(tmp_path / "part", "markers") == []  # it was on 20 March
    assert is_valid(tmp_path / "part")


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (Selection(tasks=["juggling"]), "no task 'juggling'"),
        (Selection(since=date(2026, 3, 2), until=date(2026, 3, 1)), "no day is since"),
    ],
)
def test_a_part_that_cannot_be_is_refused(clinic, tmp_path, asked, told):
    with (
        Store.open(clinic, write=False) as store,
        pytest.raises(UsageError, match=re.escape(told)),
    ):
        export_tidy(store, tmp_path / "none", selection=asked)
    assert not (tmp_path / "none").exists()


def test_since_leaves_out_earlier_visits_and_keeps_day_zero(clinic, tmp_path):
    with Store.open(clinic, write=False) as store:
        export_tidy(
            store,
            tmp_path / "late",
            selection=Selection(people=["K7QF"], since=date(2026, 3, 10)),
            form=Form(csv=True),
        )
    assert [v["day"] for v in rows(tmp_path / "late", "visits")] == ["7"]
    assert rows(tmp_path / "late", "people")[0]["n_visits"] == "1"
    assert is_valid(tmp_path / "late")


def test_nobody_and_the_withdrawn_are_refused(clinic, tmp_path):
    with Store.open(clinic, write=False) as store:
        with pytest.raises(UsageError, match="no person 'NONE'"):
            export_tidy(store, tmp_path / "none", selection=Selection(people=["NONE"]))
        with pytest.raises(UsageError, match="X3CF withdrew consent; nothing was exported"):
            export_tidy(store, tmp_path / "none", selection=Selection(people=["X3CF"]))
    assert not (tmp_path / "none").exists()


def test_an_empty_store_gives_empty_valid_tables(tmp_path):
    with Store.open(tmp_path / "empty") as store:
        counts = export_tidy(store, tmp_path / "out", form=Form(csv=True)).n_rows
    assert counts.pop("measures") > 0
    assert set(counts.values()) == {0}
    assert is_valid(tmp_path / "out")


def test_a_visit_said_to_be_anothers_moves_with_its_blocks(own_clinic, tmp_path):
    with Store.open(own_clinic) as store:
        visit = store.visits.all("M4WX")[0].header
        said = {"author": "a", "reason": "b", "at_utc": "2026-04-01T00:00:00+00:00"}
        store.annotations.amend("visit", visit.visit_id, "person", "K7QF", **said)
        export_tidy(store, tmp_path / "moved", form=Form(csv=True))
    owners = {v["visit_id"]: v["person"] for v in rows(tmp_path / "moved", "visits")}
    assert owners[visit.visit_id] == "K7QF"
    assert {p["person"]: p["n_visits"] for p in rows(tmp_path / "moved", "people")} == {
        "K7QF": "4", "M4WX": "0",
    }  # fmt: skip
    assert is_valid(tmp_path / "moved")


@pytest.mark.parametrize("direction", ["to", "from"])
def test_a_visit_that_touches_who_withdrew_stays_out(own_clinic, tmp_path, direction):
    with Store.open(own_clinic) as store:
        here, there = ("M4WX", "X3CF") if direction == "to" else ("X3CF", "M4WX")
        visit = store.visits.all(here)[0].header
        said = {"author": "a", "reason": "b", "at_utc": "2026-04-01T00:00:00+00:00"}
        store.annotations.amend("visit", visit.visit_id, "person", there, **said)
        export_tidy(store, tmp_path / "out")
    assert visit.visit_id not in {v["visit_id"] for v in rows(tmp_path / "out", "visits")}
    assert all(b"X3CF" not in data for _, data in all_text(tmp_path / "out"))


def test_a_running_block_is_left_out(own_clinic, tmp_path, exported):
    with Store.open(own_clinic) as store:
        visit = store.visits.all("M4WX")[0].header
        sink = store.records.begin(kit.block_header(visit, 7_777))
        with Store.open(own_clinic, write=False) as reader:
            counts = export_tidy(reader, tmp_path / "out").n_rows
        sink.stop()
    assert counts["blocks"] == len(rows(exported, "blocks"))


# Where to


@pytest.mark.parametrize("content", ["notes.txt", "datapackage.json", "samples.csv.gz"])
def test_a_folder_with_anything_else_is_refused_and_untouched(clinic, tmp_path, content):
    (tmp_path / content).write_text("{}")
    with Store.open(clinic, write=False) as store, pytest.raises(UsageError) as error:
        export_tidy(store, tmp_path)
    assert "nothing was changed" in str(error.value)
    assert [p.name for p in tmp_path.iterdir()] == [content]
    assert (tmp_path / content).read_text() == "{}"


def test_a_file_is_refused(clinic, tmp_path):
    (tmp_path / "file").touch()
    with Store.open(clinic, write=False) as store, pytest.raises(UsageError, match="is a file"):
        export_tidy(store, tmp_path / "file")


def test_what_a_killed_export_left_is_written_over(clinic, tmp_path, exported):
    (tmp_path / "out" / table_files.PARTIAL).mkdir(parents=True)
    (tmp_path / "out" / table_files.PARTIAL / "visits.parquet").write_text("half")
    (tmp_path / "out" / "blocks").mkdir()
    (tmp_path / "out" / "blocks" / "part-0009.parquet").write_text("before the kill")
    with Store.open(clinic, write=False) as store:
        export_tidy(store, tmp_path / "out", form=FULL, now=NOW)
    assert digests(tmp_path / "out") == digests(exported)


def test_a_full_disk_leaves_the_earlier_export_as_it_was(clinic, small_disk, tmp_path):
    (small_disk / "other").write_bytes(bytes(1_500_000))
    with Store.open(clinic, write=False) as store:
        target = small_disk / "out"
        with pytest.raises(StoreError) as error:
            export_tidy(store, target, form=FULL)
        assert not target.exists()
        Store.open(tmp_path / "empty").close()
        with Store.open(tmp_path / "empty") as empty:
            export_tidy(empty, target)
        before = digests(target)
        with pytest.raises(StoreError):
            export_tidy(store, target, form=FULL)
    message = str(error.value)
    assert "cannot export to" in message
    assert "No space left" in message
    assert "unchanged" in message
    assert digests(target) == before


def test_a_file_that_may_not_grow_leaves_the_earlier_export_as_it_was(
    own_clinic, own_export, exported
):
    (own_clinic / FILE_NAME).unlink(missing_ok=True)  # else every part is there already
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    with Store.open(own_clinic, write=False) as store:
        resource.setrlimit(resource.RLIMIT_FSIZE, (50_000, before[1]))
        try:
            with pytest.raises(StoreError, match="unchanged"):
                export_tidy(store, own_export)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert digests(own_export) == digests(exported)


def test_files_that_cannot_be_moved_leave_no_descriptor(
    clinic, own_export, exported, monkeypatch
):
    """A descriptor with the hashes of other files would be worse than none."""
    move = Path.replace

    def fail_at_scores(self, target):
        if self.name == "visits.parquet" and table_files.PARTIAL in self.parts:
            raise OSError(5, "Input/output error")
        return move(self, target)

    (own_export / "visits.parquet").write_text("of another store")
    with Store.open(clinic, write=False) as store:
        with monkeypatch.context() as patch:
            patch.setattr(Path, "replace", fail_at_scores)
            with pytest.raises(StoreError, match=r"no whole export; .* then export again"):
                export_tidy(store, own_export)
        assert not (own_export / "datapackage.json").exists()
        export_tidy(store, own_export, form=FULL, now=NOW)
    assert digests(own_export) == digests(exported)


def test_memory_does_not_grow_with_the_store(tmp_path):
    """Peak of the tables' memory, counted by the library itself, beside that of one visit.

    Two visits a thread are taken ahead, one is written, and one has just been asked for.
    """
    peaks, at_hand = [], 2 * threads_here() + 2
    for n_visits in (1, 3 * at_hand):
        with Store.open(tmp_path / f"store{n_visits}") as store:
            kit.enrol(store)
            for sequence in range(1, n_visits + 1):
                visit = kit.visit(sequence=sequence)
                store.visits.begin(visit)
                kit.record(store, kit.block_header(visit, 0), 0)
            before = pa.default_memory_pool()
            pool = pa.proxy_memory_pool(before)
            pa.set_memory_pool(pool)
            try:
                export_tidy(store, tmp_path / f"out{n_visits}", selection=EVERYBODY)
            finally:
                pa.set_memory_pool(before)
            peaks.append(pool.max_memory())
    assert peaks[1] < at_hand * peaks[0]
