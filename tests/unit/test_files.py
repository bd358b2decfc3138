"""Files for their owner only, whole or not at all, where they belong; and media that refuse."""

import contextlib
import os
import shutil
import sqlite3
import stat
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from battery.cli import app
from battery.errors import StoreError
from battery.export import export_bids, export_tidy
from battery.files import SHARED, inside, replace_whole
from battery.report import write_page
from battery.store import Store
from battery.store.opening import FILE_NAME
from battery.verify import verify
from tests import handover_kit as hand
from tests import store_kit as kit
from tests.export_kit import EVERYBODY

posix = pytest.mark.skipif(sys.platform == "win32", reason="Windows has other rights")


def rights(path):
    return stat.S_IMODE(path.stat().st_mode)


def too_open(folder):
    """What others may read or list below a folder, and the folder itself."""
    return [str(p) for p in (folder, *folder.rglob("*")) if rights(p) & 0o077]


@pytest.mark.parametrize("name", ["..", "../x", "/etc/x", "", ".", "a/../../x", "x\0y"])
def test_no_name_leads_outside_its_folder(tmp_path, name):
    with pytest.raises(StoreError, match="outside"):
        inside(tmp_path, name)
    assert inside(tmp_path, "sub", "page.html") == tmp_path / "sub" / "page.html"


@posix
def test_store_backup_page_and_exports_are_for_their_owner_only(own_clinic, tmp_path):
    with Store.open(tmp_path / "new" / "home") as store:
        kit.enrol(store)
        visit = kit.visit()
        store.visits.begin(visit)
        kit.record(store, kit.block_header(visit))
        assert too_open(tmp_path / "new") == []
    own_clinic.chmod(0o755)
    (own_clinic / FILE_NAME).chmod(0o644)  # as a program without this left it
    with Store.open(own_clinic) as store:
        assert rights(own_clinic / FILE_NAME) == 0o600
        store.back_up(tmp_path / "copies" / "copy.sqlite")
        export_tidy(store, tmp_path / "tidy", selection=EVERYBODY)
        export_bids(store, tmp_path / "bids", selection=EVERYBODY)
        write_page(store, "K7QF", tmp_path / "page.html", now=hand.NOW)
    for made in ("copies", "tidy", "bids"):
        assert too_open(tmp_path / made) == []
    assert rights(tmp_path / "page.html") == 0o600


@posix
def test_a_shared_folder_keeps_the_systems_rule(tmp_path, monkeypatch):
    monkeypatch.setenv(SHARED, "1")
    with Store.open(tmp_path / "home"):
        pass
    assert rights(tmp_path / "home") & 0o055


def test_a_file_that_cannot_be_written_leaves_nothing(tmp_path, monkeypatch):
    """Neither a part of it nor a change of the earlier one."""
    page = tmp_path / "page.html"
    replace_whole(page, b"before")

    def fail(_handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("battery.files.os.fsync", fail)
    with pytest.raises(OSError, match="No space"):
        replace_whole(page, b"after")
    assert [p.name for p in tmp_path.iterdir()] == ["page.html"]
    assert page.read_bytes() == b"before"


def remounted(disk, how):
    done = subprocess.run(
        ["mount", "-o", f"remount,{how}", str(disk)], check=False, capture_output=True
    )
    if done.returncode:
        pytest.skip("no right to remount")


@pytest.mark.parametrize("with_log", [False, True])
def test_a_store_on_a_read_only_medium_is_backed_up(small_disk, tmp_path, with_log):
    home = small_disk / "home"
    with Store.open(home) as store:
        kit.enrol(store)
        if with_log:
            shutil.copy(home / f"{FILE_NAME}-wal", tmp_path / "log")
    if with_log:
        shutil.copy(tmp_path / "log", home / f"{FILE_NAME}-wal")
    remounted(small_disk, "ro")
    target = tmp_path / "copy" / FILE_NAME
    with Store.open(home, write=False) as store:
        store.back_up(target)
    with Store.open(target.parent, write=False) as copy:
        assert [p.code for p in copy.people.all()] == ["K7QF"]
    remounted(small_disk, "rw")


def fill(path):
    """Write until there is no byte left."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT)
    with contextlib.suppress(OSError):
        while True:
            os.write(handle, bytes(4096))
    os.close(handle)


@pytest.mark.parametrize("with_log", [False, True])
def test_a_store_on_a_full_disk_can_be_read(small_disk, tmp_path, with_log):
    home = small_disk / "home"
    with Store.open(home) as store:
        kit.enrol(store)
        visit = kit.visit()
        store.visits.begin(visit)
        kit.record(store, kit.block_header(visit))
        if with_log:
            shutil.copy(home / f"{FILE_NAME}-wal", tmp_path / "log")
    if with_log:
        shutil.copy(tmp_path / "log", home / f"{FILE_NAME}-wal")
    fill(small_disk / "rest")
    assert CliRunner().invoke(app, ["people", "--home", str(home)]).exit_code == 0
    with Store.open(home, write=False) as store:
        assert verify(store).n_blocks == 1


def test_an_empty_database_on_a_server_says_that_it_is_empty(empty_database):
    with pytest.raises(StoreError, match="is empty; run 'battery enrol'"):
        Store.open(empty_database, write=False)


def test_a_damaged_list_of_migrations_is_one_line(tmp_path):
    with Store.open(tmp_path):
        pass
    with sqlite3.connect(tmp_path / FILE_NAME) as connection:
        connection.execute("DROP TABLE migrations")
        connection.execute("CREATE TABLE migrations (number, name, applied_utc)")
        connection.execute("INSERT INTO migrations VALUES ('many', 'x', 'y')")
    connection.close()
    with pytest.raises(StoreError, match="restore a copy"):
        Store.open(tmp_path, write=False)
