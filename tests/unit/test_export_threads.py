"""What is exported does not depend on how many threads unpack it."""

import gc
import shutil
import sqlite3
import threading
from contextlib import closing

import pytest

from battery import workers
from battery.errors import StoreError
from battery.export import Form, export_tidy, verify_export
from battery.store import Store
from battery.store.opening import FILE_NAME
from battery.workers import SELDOM, seldom_collected
from tests.export_kit import EVERYBODY, digests, rewrite, set_value


@pytest.fixture(scope="module")
def clinic(small_clinic):
    """One task is enough here."""
    return small_clinic


@pytest.fixture
def home(clinic, tmp_path):
    """A clinic of which one block has a spoilt blob and another a spoilt header."""
    home = shutil.copytree(clinic, tmp_path / "home")
    with closing(sqlite3.connect(home / FILE_NAME)) as database, database:
        (blob, header) = (
            row[0]
            for row in database.execute(
                "SELECT block_id FROM blocks JOIN visits USING (visit_id) "
                "WHERE person = 'K7QF' AND blocks.ending = 'finished' LIMIT 2"
            )
        )
        database.execute("UPDATE payloads SET frames = X'50' WHERE block_id = ?", [blob])
        database.execute(
            "UPDATE blocks SET header_json = json_set(header_json, '$.layout_seed', 5) "
            "WHERE block_id = ?",
            [header],
        )
    return home, {blob, header}


def test_the_bytes_do_not_depend_on_threads(home, tmp_path, monkeypatch):
    """A header that was changed is not taken on trust for having been read before."""
    folder, spoilt = home
    found = []
    for n_threads in (1, 3):
        monkeypatch.setattr(workers, "MAX_THREADS", n_threads)
        monkeypatch.setattr(workers.os, "cpu_count", lambda: 4)
        with Store.open(folder, write=False) as store:
            done = export_tidy(
                store,
                tmp_path / f"in {n_threads}",
                selection=EVERYBODY,
                form=Form(n_processes=1),
            )
        assert set(done.failed) == spoilt
        found.append(
            (digests(tmp_path / f"in {n_threads}") | {"datapackage.json": ""}, done.failed)
        )
    assert found[0] == found[1]


def test_work_in_threads_is_given_in_order_and_taken_here():
    here, there = set(), set()

    def given():
        for number in range(50):
            here.add(threading.get_ident())
            yield number

    def doubled(number):
        there.add(threading.get_ident())
        return 2 * number

    with workers.in_order(doubled, given(), 3) as done:
        assert list(done) == [2 * number for number in range(50)]
    assert here == {threading.get_ident()}
    assert threading.get_ident() not in there


def test_little_is_taken_ahead_and_what_fails_is_told():
    taken = []

    def given():
        for number in range(1_000):
            taken.append(number)
            yield number

    def work(number):
        if number == 2:
            msg = "no more"
            raise StoreError(msg)
        return number

    with pytest.raises(StoreError, match="no more"), workers.in_order(work, given(), 2) as done:
        list(done)
    assert len(taken) < 10
    assert not any("ThreadPool" in thread.name for thread in threading.enumerate())


def test_what_came_before_a_source_failed_is_given_first():
    def given():
        yield from range(4)
        msg = "cut short"
        raise StoreError(msg)

    done = []
    with (
        pytest.raises(StoreError, match="cut short"),
        workers.in_order(str, given(), 3) as found,
    ):
        done.extend(found)
    assert done == ["0", "1", "2", "3"]


def test_what_is_found_does_not_depend_on_threads(home, tmp_path, monkeypatch):
    """A changed sample, and rows that are out of place, after which no more is read."""
    monkeypatch.setattr(workers.os, "cpu_count", lambda: 4)
    with Store.open(home[0], write=False) as store:
        export_tidy(store, tmp_path / "study", selection=EVERYBODY)
    rewrite(tmp_path / "study", "samples", set_value("x_mm", 500, 1.5))
    found = []
    for change in (lambda table: table, lambda table: table.slice(0, table.num_rows - 1)):
        rewrite(tmp_path / "study", "samples", change)
        for n_threads in (1, 3):
            monkeypatch.setattr(workers, "MAX_THREADS", n_threads)
            found.append(verify_export(tmp_path / "study"))
    assert found[0] == found[1] != found[2] == found[3]
    assert len(found[0].findings) == 1
    assert found[0].n_blocks == found[2].n_blocks > 3
    rewrite(tmp_path / "study", "frames", lambda table: table.slice(table.num_rows // 2))
    for n_threads in (1, 3):
        monkeypatch.setattr(workers, "MAX_THREADS", n_threads)
        found.append(verify_export(tmp_path / "study"))
    assert found[4] == found[5]
    assert found[4].findings


def test_cycles_are_looked_for_as_often_again_afterwards():
    """Also where the work fails, and where whoever asks looks more seldom already."""
    before, seen = gc.get_threshold(), []

    @seldom_collected()
    def fails():
        seen.append(gc.get_threshold()[0])
        raise StoreError

    try:
        for own in (700, 10 * SELDOM):
            gc.set_threshold(own, 10, 10)
            with pytest.raises(StoreError):
                fails()
            assert gc.get_threshold() == (own, 10, 10)
    finally:
        gc.set_threshold(*before)
    assert seen == [SELDOM, 10 * SELDOM]
