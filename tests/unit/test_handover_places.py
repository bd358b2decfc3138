"""Full disks, missing rights, odd files, a server, and stores restored from a copy."""

import contextlib
import os
import resource
import shutil
import stat
import subprocess
from pathlib import Path

import pytest

from battery.errors import StoreError
from battery.handover import keys
from battery.handover.folder_files import write_whole
from battery.handover.receiving import admit
from battery.store import Store
from tests import handover_kit as hand
from tests import store_kit as kit

# Full disks, missing rights, odd files


def test_a_folder_that_cannot_be_written_loses_nothing(pair):
    if os.getuid() == 0:
        shutil.rmtree(pair.stick)
        pair.stick.write_text("a file where a folder should be")
    else:
        pair.stick.chmod(0o500)
    with pytest.raises(StoreError, match=r"Nothing was sent|kept in the store"):
        pair.send()
    assert pair.tablet.bundles.not_handed_over() == 2


def fill(path):
    """Write until nothing more fits."""
    with contextlib.suppress(OSError), path.open("wb", buffering=0) as file:
        while True:
            file.write(b"x" * 4096)


def test_a_full_stick_is_said_and_the_next_one_works(small_disk, tmp_path):
    pair = hand.Pair(tmp_path / "pair")
    stick, pair.stick = pair.stick, small_disk
    filler = small_disk / "filler"
    fill(filler)
    with pytest.raises(StoreError, match="No space left"):
        pair.send()
    assert list(small_disk.iterdir()) == [filler]  # no half file under any name
    pair.stick = stick
    report = pair.send()
    assert report.n_sent == 2
    assert pair.receive().outcomes == {"new": 2}
    assert pair.receive().notes == []
    pair.close()


def test_a_file_is_durable_before_it_has_its_name(tmp_path, monkeypatch):
    """Common practice, no source: file to disk, then the name, then the folder to disk."""
    steps = []
    real_sync, real_replace = os.fsync, Path.replace

    def sync(handle):
        steps.append("folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file")
        real_sync(handle)

    def replace(path, target):
        own = path.name.startswith(".a.") and path.name.endswith(".partial")
        steps.append(f"{'its own' if own else path.name} -> {target.name}")
        return real_replace(path, target)

    monkeypatch.setattr(os, "fsync", sync)
    monkeypatch.setattr(Path, "replace", replace)
    write_whole(tmp_path / "a", b"data")
    assert steps == ["file", "its own -> a", "folder"]


def test_links_pipes_and_folders_are_not_opened(pair, tmp_path):
    secret = tmp_path / "secret"
    secret.write_text("not for you")
    (pair.stick / "a.cbundle").symlink_to(secret)
    os.mkfifo(pair.stick / "b.cbundle")
    (pair.stick / "c.cbundle").mkdir()
    with (pair.stick / "d.cbundle").open("wb") as huge:
        huge.truncate(10_000_000_000)
    refused = pair.receive().refused
    assert len(refused) == 4
    assert ["not a plain file" in line for line in refused] == [True, True, True, False]
    assert "more than" in refused[3]


def test_a_clinic_whose_disk_is_full_takes_nothing_half(small_disk, tmp_path):
    pair = hand.Pair(tmp_path / "pair", clinic=small_disk / "clinic", n_visits=1)
    pair.send()
    fill(small_disk / "filler")
    with pytest.raises(StoreError, match=r"full|No space"):
        pair.receive()
    assert pair.clinic.visits.all() == []
    assert pair.clinic.transfer.received() == []
    (small_disk / "filler").unlink()
    assert pair.receive().outcomes == {"new": 1}
    assert hand.hashes(pair.clinic) == hand.hashes(pair.tablet)
    pair.close()


def test_files_that_may_not_grow_lose_nothing(pair):
    """The same without the right to make a small disk: the system limits the size of files."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, before[1]))
    try:
        with pytest.raises(StoreError):
            pair.send()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert pair.bundles() == []
    assert pair.send().n_sent == 2
    assert pair.receive().outcomes == {"new": 2}
    assert pair.receive().notes == []


def test_a_receipt_that_cannot_be_written_is_said_and_what_came_stays(pair, monkeypatch):
    pair.send()
    real = os.open

    def refusing(path, flags, *rest, **named):
        if ".receipt." in str(path) and str(path).endswith(".partial"):
            raise OSError(30, "Read-only file system")
        return real(path, flags, *rest, **named)

    monkeypatch.setattr(os, "open", refusing)
    with pytest.raises(StoreError, match="Read-only file system"):
        pair.receive()
    assert len(pair.clinic.visits.all()) == 2
    monkeypatch.undo()
    assert pair.receive().outcomes == {"same": 2}
    assert pair.send().n_acknowledged == 2


def test_a_stick_that_is_write_protected_is_said(pair, small_disk):
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    pair.stick = small_disk
    with pytest.raises(StoreError, match="Read-only file system"):
        pair.send()
    assert pair.tablet.bundles.not_handed_over() == 2


def test_a_server_receives_as_well(tmp_path, empty_database, monkeypatch):
    monkeypatch.setenv("BATTERY_HOME", str(tmp_path / "data"))
    pair = hand.Pair(tmp_path, clinic=empty_database)
    pair.send()
    assert pair.receive().outcomes == {"new": 2}
    assert hand.hashes(pair.clinic) == hand.hashes(pair.tablet)
    header = pair.tablet.visits.all()[0].header
    other = hand.packed(hand.whole(header, seed=99, n_blocks=2), number=9)
    signer = keys.tablet_key(pair.tablet)
    assert admit(pair.clinic, hand.arrival(other, signer), wall=hand.wall) == "conflict"
    pair.take(pair.clinic.transfer.quarantine()[0])
    assert pair.receive().outcomes == {"same": 2}
    assert pair.send().n_acknowledged == 2
    pair.close()


def restored(copy, home):
    home.mkdir()
    shutil.copyfile(copy, home / "battery.sqlite")
    return Store.open(home)


def test_a_clinic_restored_from_an_old_copy_is_whole_after_receiving_again(pair, tmp_path):
    """The restore drill: the folder still has the bundles, and the keys their own copy."""
    pair.send()
    pair.receive()
    pair.clinic.back_up(tmp_path / "copy.sqlite")
    hand.record_visits(pair.tablet, 2, first=3)
    pair.send()
    pair.receive()
    before, old = hand.state(pair.clinic), pair.clinic
    pair.clinic = restored(tmp_path / "copy.sqlite", tmp_path / "again")
    shutil.copytree(old.folder / "keys", tmp_path / "again" / "keys")
    old.close()
    assert pair.receive().outcomes == {"same": 2, "new": 2}
    assert hand.state(pair.clinic) == before
    assert hand.hashes(pair.clinic) == hand.hashes(pair.tablet)


def test_a_tablet_restored_from_an_old_copy_loses_nothing_and_is_noticed(pair, tmp_path):
    """It uses a number again; the clinic keeps both bundles and says so."""
    pair.tablet.back_up(tmp_path / "copy.sqlite")
    pair.send()
    pair.receive()
    old, pair.tablet = pair.tablet, restored(tmp_path / "copy.sqlite", tmp_path / "again")
    shutil.copytree(old.folder / "keys", tmp_path / "again" / "keys")
    old.close()
    hand.record_visits(pair.tablet, 1, first=3)
    pair.stick = tmp_path / "other stick"
    pair.stick.mkdir()
    pair.tablet.annotations.amend(
        "visit", pair.tablet.visits.all()[0].header.visit_id, "note", "x", **hand.SAID
    )
    pair.send()
    report = pair.receive()
    assert report.outcomes == {"added": 1, "same": 1, "new": 1}
    assert any("bundle 1 came with 2 different contents" in note for note in report.notes)
    assert hand.hashes(pair.clinic) == hand.hashes(pair.tablet)


WRITES = {
    "amend": lambda store: store.annotations.amend(
        "visit", kit.visit().visit_id, "note", "x" * 9000, **hand.SAID),
    "consent": lambda store: store.people.record_consent(
        "K7QF", form_version="x" * 9000, decision="given", at_utc=hand.SAID["at_utc"]),
    "erase": lambda store: store.erasure.erase("K7QF", author="AB", at_utc=hand.SAID["at_utc"]),
    "keys": lambda store: keys.make_clinic_keys(store, store.folder / "cards"),
}  # fmt: skip


@pytest.mark.parametrize("what", WRITES)
def test_what_cannot_be_written_on_a_full_disk_changes_nothing(small_disk, what):
    with Store.open(small_disk / "home") as store:
        hand.record_visits(store, 1)
        before = hand.state(store)
        fill(small_disk / "filler")
        with pytest.raises(StoreError) as error:
            WRITES[what](store)
        assert "\n" not in str(error.value)
        assert hand.state(store) == before
        (small_disk / "filler").unlink()
        WRITES[what](store)
        assert store.problems() == []
