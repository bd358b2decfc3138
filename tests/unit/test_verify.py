"""The check of a store finds what was altered, and nothing in a store that was not."""

import hashlib
import json
import shutil
import sqlite3
from dataclasses import replace

import pytest

from battery.errors import StoreError, UsageError
from battery.recording import events_from_array, events_to_array
from battery.runner import run_block
from battery.simulate import Person as Simulated
from battery.simulate import Truth
from battery.store import Store
from battery.store.codec import to_parquet
from battery.store.opening import FILE_NAME
from battery.verify import verify
from tasks.registry import TASKS
from tests import clinic as made_up
from tests import store_kit as kit
from tests.sparing import only


@pytest.fixture(scope="module")
def clinic(small_clinic):
    """One task is enough here, where no test asks for all."""
    return small_clinic


@pytest.fixture
def own_whole(whole_clinic, tmp_path):
    return shutil.copytree(whole_clinic, tmp_path / "clinic")


def digest(folder):
    return hashlib.sha256((folder / FILE_NAME).read_bytes()).hexdigest()


def check(folder):
    with Store.open(folder, write=False) as store:
        return verify(store)


def test_an_unaltered_store_holds_and_stays_as_it_is(whole_clinic):
    before = digest(whole_clinic)
    steps = []
    with Store.open(whole_clinic, write=False) as store:
        found = verify(store, progress=lambda *step: steps.append(step))
    assert found.findings == ()
    assert found.n_blocks == 5 * 8 + 1
    assert "hashes, references, stamps and replays hold" in found.summary()
    assert steps[-1] == (41, 41)
    assert digest(whole_clinic) == before


def test_without_a_replay_the_rest_is_looked_at_and_said(clinic):
    with Store.open(clinic, write=False) as store:
        found = verify(store, replay=False)
    assert found.findings == ()
    assert found.summary().endswith("hashes, references and stamps hold; not replayed")


def change(folder, statement, *values, keys=True):
    with sqlite3.connect(folder / FILE_NAME) as connection:
        connection.execute(f"PRAGMA foreign_keys={'ON' if keys else 'OFF'}")
        assert connection.execute(statement, values).rowcount == 1
    connection.close()


def finished_block(folder):
    """A finished tapping block of the clinic."""
    with Store.open(folder, write=False) as store:
        visit = store.visits.all("K7QF")[1].header
        record = store.records.of_visit(visit.visit_id)[1]
        return record, store.records.load(record.header.block_id)


def altered_sample(folder, record, block):
    samples = block.samples.copy()
    samples["x_mm"][7] += 1e-9
    change(folder, "UPDATE payloads SET samples = ? WHERE block_id = ?",
           to_parquet(samples), record.header.block_id)  # fmt: skip


def swapped_samples(folder, record, block):
    samples = block.samples.copy()
    samples[[3, 4]] = samples[[4, 3]]
    change(folder, "UPDATE payloads SET samples = ? WHERE block_id = ?",
           to_parquet(samples), record.header.block_id)  # fmt: skip


def lost_sample(folder, record, block):
    change(folder, "UPDATE payloads SET samples = ? WHERE block_id = ?",
           to_parquet(block.samples[:-1]), record.header.block_id)  # fmt: skip


def forged_event(folder, record, block):
    """An event moved by a millisecond, with the hash made to fit."""
    events = events_from_array(block.events)
    moved = type(events[2])(**{n: getattr(events[2], n) for n in events[2].__slots__}
                            | {"t_ns": events[2].t_ns + 1_000_000})  # fmt: skip
    array = events_to_array([*events[:2], moved, *events[3:]])
    forged = type(block)(block.header, block.samples, block.frames, array, block.ending,
                         block.ended_ns)  # fmt: skip
    change(folder, "UPDATE payloads SET events = ? WHERE block_id = ?", to_parquet(array),
           record.header.block_id)  # fmt: skip
    change(folder, "UPDATE blocks SET sha256 = ? WHERE block_id = ?", forged.sha256,
           record.header.block_id)  # fmt: skip


def altered_settings(folder, record, block):
    header = {n: getattr(block.header, n) for n in block.header.__slots__}
    header["settings"] = {**header["settings"], "target_r_mm": 99.0}
    change(folder, "UPDATE blocks SET header_json = ? WHERE block_id = ?",
           json.dumps(header), record.header.block_id)  # fmt: skip


def spoiled_bytes(folder, record, block):
    change(folder, "UPDATE payloads SET frames = ? WHERE block_id = ?", b"nothing",
           record.header.block_id)  # fmt: skip


def cut_short(folder, record, block):
    change(folder, "UPDATE blocks SET ended_ns = ended_ns - 2000000000 WHERE block_id = ?",
           record.header.block_id)  # fmt: skip


def lost_device(folder, record, block):
    change(
        folder, "DELETE FROM devices WHERE alias = ?", made_up.OTHER_TABLET.alias, keys=False
    )


@pytest.mark.parametrize(
    ("alter", "words"),
    [
        (altered_sample, ["its hash is"]),
        (swapped_samples, ["its hash is", "samples 4 comes before", "cannot be replayed"]),
        (lost_sample, ["its hash is", "samples, stored were"]),
        (forged_event, ["they differ from event 2 on"]),
        (altered_settings, ["its hash is", "the hash of its layout"]),
        (spoiled_bytes, ["cannot be read", "other blocks are not affected"]),
        (cut_short, ["has an event at", "they differ from event"]),
        (lost_device, ["table visits", "refers to a row of devices that is not there"]),
    ],
)
def test_what_was_altered_is_found_and_named(own_clinic, alter, words):
    record, block = finished_block(own_clinic)
    alter(own_clinic, record, block)
    found = check(own_clinic)
    text = found.summary()
    for word in words:
        assert word in text, text
    assert "nothing was changed" in text
    if alter is not lost_device:
        assert {f.where for f in found.findings} == {
            f"K7QF visit 2 block 1 ({record.header.block_id})"
        }


@pytest.mark.parametrize(
    "alter",
    [altered_sample, swapped_samples, forged_event, altered_settings, spoiled_bytes, cut_short],
)
def test_what_was_altered_is_found_without_a_replay_too(own_clinic, alter):
    """Of a forged event the hash was made to fit; the seal over both was not."""
    record, block = finished_block(own_clinic)
    alter(own_clinic, record, block)
    with Store.open(own_clinic, write=False) as store:
        found = verify(store, replay=False)
    assert {f.where for f in found.findings} == {
        f"K7QF visit 2 block 1 ({record.header.block_id})"
    }


def test_other_processes_find_what_one_finds(own_clinic):
    record, block = finished_block(own_clinic)
    altered_sample(own_clinic, record, block)
    with Store.open(own_clinic, write=False) as store:
        one, two = (verify(store, n_processes=n) for n in (1, 2))
    assert one == two
    assert len(one.findings) >= 1


def test_a_running_block_is_counted_and_left_alone(own_clinic):
    with Store.open(own_clinic) as store:
        sink = store.records.begin(kit.block_header(store.visits.all()[0].header, 500))
        found = check(own_clinic)
        sink.stop()
    assert found.n_running == 1
    assert found.findings == ()
    assert "1 still running" in found.summary()


def another(model, number):
    """Header of one more block like `model` in the same visit."""
    return replace(model.header, block_id=kit.identifier(f"another {number}"), index=number)


@pytest.mark.parametrize("n_puts", only([0, 1, 5, 9], [0, 5]))
def test_a_cut_off_block_of_any_task_replays_to_its_events(own_whole, n_puts):
    """What a kill leaves holds together: the events are those of the samples there are."""
    with Store.open(own_whole) as store:
        visit = store.visits.all("K7QF")[0].header
        headers = [
            another(m, 700 + n) for n, m in enumerate(store.records.of_visit(visit.visit_id))
        ]
        assert {header.task for header in headers} == set(TASKS)
        for header in headers:
            sink = store.records.begin(header)
            run_block(header, Simulated(Truth(), seed=3), made_up.OnlyPuts(sink, n_puts))
            sink.stop()
        assert set(store.records.recover()) == {header.block_id for header in headers}
        assert verify(store).findings == ()


@pytest.mark.parametrize("n_ticks", [0, 1])
def test_a_block_without_a_contact_replays_to_its_events(own_whole, n_ticks):
    """Stopped before its first frame, or right after it: there may be a first cue, or not."""

    class StopAtOnce:
        def play(self, run):
            for _ in range(n_ticks):
                run.tick(0)
            return "stopped", "asked to"

    with Store.open(own_whole) as store:
        visit = store.visits.all("K7QF")[0].header
        for number, model in enumerate(store.records.of_visit(visit.visit_id)):
            header = another(model, 700 + number)
            run_block(header, StopAtOnce(), store.records.begin(header))
        assert verify(store).findings == ()


# Copies


def test_a_backup_holds_everything_and_can_be_restored(clinic, tmp_path):
    target = tmp_path / "new folder" / "copy.sqlite"
    with Store.open(clinic, write=False) as store:
        store.back_up(target)
        whole = verify(store)
    assert [p.name for p in target.parent.iterdir()] == ["copy.sqlite"]
    target.rename(target.with_name(FILE_NAME))
    assert check(target.parent) == whole
    with Store.open(target.parent) as restored:
        assert restored.records.recover() == []


def test_a_backup_is_taken_while_a_block_runs(own_clinic, tmp_path):
    with Store.open(own_clinic) as store:
        header = kit.block_header(store.visits.all()[0].header, 500)
        block = kit.made_up_block(header)
        sink = store.records.begin(header)
        sink.put(block.samples[:240], block.frames[:0], [])
        sink.flush()
        with Store.open(own_clinic, write=False) as other:
            other.back_up(tmp_path / "copy" / FILE_NAME)
        sink.close(block)
    with Store.open(tmp_path / "copy") as copy:
        assert copy.records.recover() == [header.block_id]  # the copy is of the moment before
        assert len(copy.records.load(header.block_id).samples) == 240


def test_a_backup_never_writes_over_a_file(clinic, tmp_path):
    (tmp_path / "copy").write_text("other")
    with Store.open(clinic, write=False) as store, pytest.raises(UsageError) as error:
        store.back_up(tmp_path / "copy")
    assert "is there already; nothing was changed" in str(error.value)
    assert (tmp_path / "copy").read_text() == "other"


def test_a_backup_to_a_full_disk_leaves_nothing_behind(clinic, small_disk):
    (small_disk / "ballast").write_bytes(bytes(1_500_000))
    with Store.open(clinic, write=False) as store, pytest.raises(StoreError) as error:
        store.back_up(small_disk / "copy")
    assert "The store is unchanged" in str(error.value)
    assert [p.name for p in small_disk.iterdir()] == ["ballast"]


def test_a_store_on_a_server_names_the_servers_own_means(empty_database, tmp_path):
    with Store.open(empty_database) as store:
        assert store.problems() == []
        with pytest.raises(StoreError, match="pg_dump"):
            store.back_up(tmp_path / "copy")
