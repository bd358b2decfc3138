"""What is exported does not depend on how many threads unpack it."""

import shutil
import sqlite3
import threading
from contextlib import closing

import pytest

from battery import workers
from battery.errors import StoreError
from battery.export import Form, export_tidy
from battery.store import Store
from battery.store.opening import FILE_NAME
from tests.export_kit import EVERYBODY, digests


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
    assert threading.active_count() == 1 or not any(
        "ThreadPool" in thread.name for thread in threading.enumerate()
    )
