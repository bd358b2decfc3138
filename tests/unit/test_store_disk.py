"""A store on a full disk, and used by several programs."""

import resource
import sys

import pytest

from battery.errors import RecordError, StoreError
from battery.store import Store
from tests import store_kit as kit
from tests.unit.test_store_opening import child, hashes, home, one_line

__all__ = ["child", "home"]  # fixtures of both files


# A full disk


def record_until_it_fails(store, shas, first):
    for sequence in range(first, first + 100):
        visit = kit.visit(sequence=sequence, started_utc="2026-01-05T09:00:00+00:00")
        store.visits.begin(visit)
        for index in range(2):
            header = kit.block_header(visit, index)
            block = kit.made_up_block(header, sequence)
            sink = store.records.begin(header)
            for start in range(0, len(block.samples), 120):
                sink.put(block.samples[start : start + 120], block.frames[:0], [])
                sink.flush()
            sink.close(block)
            shas.append(block.sha256)
    return shas


def test_a_full_disk_costs_the_running_block_only(small_disk):
    ballast = small_disk / "ballast"
    ballast.write_bytes(bytes(800_000))
    with Store.open(small_disk) as store:
        kit.enrol(store)
        shas = []
        with pytest.raises(StoreError) as error:
            record_until_it_fails(store, shas, 1)
        one_line(error, "full", "safe", "free space")
        assert len(shas) >= 2
    with Store.open(small_disk, write=False) as store:  # still full
        assert hashes(store) == shas
    ballast.unlink()
    with Store.open(small_disk) as store:
        store.records.recover()
        n_visits = len(store.visits.all())
        assert hashes(store)[: len(shas)] == shas
        visit = kit.visit(sequence=n_visits + 1, started_utc="2026-01-05T09:00:00+00:00")
        store.visits.begin(visit)
        kit.record(store, kit.block_header(visit))
        assert all(
            record.ending is not None
            for v in store.visits.all()
            for record in store.records.of_visit(v.header.visit_id)
        )


def test_a_file_that_may_not_grow_costs_the_running_block_only(tmp_path):
    """The limit on a file's size gives the same failure without a disk of its own."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    with Store.open(tmp_path) as store:
        kit.enrol(store)
        shas = []
        resource.setrlimit(resource.RLIMIT_FSIZE, (1_500_000, before[1]))
        try:
            with pytest.raises(StoreError) as error:
                record_until_it_fails(store, shas, 1)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
        one_line(error, "safe", "free space")
        assert len(shas) >= 2
        store.records.recover()
        assert hashes(store)[: len(shas)] == shas
    with Store.open(tmp_path, write=False) as store:
        assert hashes(store)[: len(shas)] == shas


# Several programs


def test_two_programs_cannot_record_at_once(home):
    with Store.open(home) as one, Store.open(home) as other:
        with one.records.lock():
            with pytest.raises(StoreError) as error, other.records.lock():
                pass
            one_line(error, "another program is recording", str(home), "Nothing was changed")
        with other.records.lock():
            pass


def test_recovery_and_blocks_wait_for_the_lock(home):
    """A running block of another program is never closed for it."""
    visit = kit.visit(sequence=2)
    with Store.open(home) as one, Store.open(home) as other:
        one.visits.begin(visit)
        sink = one.records.begin(kit.block_header(visit))
        for refused in (
            other.records.recover,
            lambda: other.records.begin(kit.block_header(visit, 1)),
        ):
            with pytest.raises(StoreError) as error:
                refused()
            one_line(error, "another program is recording")
        sink.close(kit.made_up_block(kit.block_header(visit)))
    with Store.open(home) as other:
        assert other.records.recover() == []


def test_the_lock_dies_with_its_program(child, home):
    child.run("record", home, kill_after=9)
    with Store.open(home) as store, store.records.lock():
        assert len(store.records.recover()) <= 1


def test_others_read_while_one_records(home):
    visit = kit.visit(sequence=2)
    header = kit.block_header(visit)
    block = kit.made_up_block(header)
    with Store.open(home) as store:
        store.visits.begin(visit)
        sink = store.records.begin(header)
        sink.put(block.samples, block.frames, [])
        sink.flush()
        with Store.open(home, write=False) as reader:
            assert len(hashes(reader)) == 2
            assert reader.records.of_visit(visit.visit_id)[0].ending is None
            with pytest.raises(RecordError, match="no finished block"):
                reader.records.load(header.block_id)
            with reader.at_one_moment():
                assert len(hashes(reader)) == 2
                sink.close(block)
                assert len(hashes(reader)) == 2
            assert len(hashes(reader)) == 3


def test_reading_leaves_no_file_behind(home):
    before = set(home.iterdir())
    with Store.open(home, write=False) as store:
        assert len(hashes(store)) == 2
    assert set(home.iterdir()) == before


def test_a_server_without_its_library_names_the_part_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "psycopg", None)
    with pytest.raises(StoreError) as error:
        Store.open("postgresql://somewhere/none")
    one_line(error, "PostgreSQL needs one more part", "coordination-battery[postgresql]")
