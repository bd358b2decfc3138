"""Every way a store can refuse to open or to write: one line, the way out, nothing changed."""

import errno
import hashlib
import shutil
import sqlite3
import subprocess
import tempfile
from pathlib import Path

import pytest
from sqlalchemy import inspect, text

from battery.errors import RecordError, StoreError
from battery.store import Store, migrations
from battery.store.opening import FILE_NAME, WAL_NAME
from tests import store_kit as kit
from tests.unit.test_store_kills import Child


@pytest.fixture(scope="module")
def child():
    made = Child("tests.store_child")
    yield made
    made.close()


@pytest.fixture
def home(tmp_path):
    """A store with one visit of two blocks, closed."""
    fill(tmp_path / "home")
    return tmp_path / "home"


def fill(folder):
    with Store.open(folder) as store:
        kit.enrol(store)
        visit = kit.visit()
        store.visits.begin(visit)
        return [kit.record(store, kit.block_header(visit, i), i).sha256 for i in range(2)]


def hashes(store):
    return [
        store.records.load(record.header.block_id).sha256
        for visit in store.visits.all()
        for record in store.records.of_visit(visit.header.visit_id)
        if record.ending is not None
    ]


def digest(folder):
    return {
        p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.glob("*.sqlite*")
    }


def one_line(error, *words):
    message = str(error.value)
    assert "\n" not in message
    assert "Traceback" not in message
    for word in words:
        assert word in message, message


# Finding it


def test_reading_a_store_that_is_not_there_creates_nothing(tmp_path):
    with pytest.raises(StoreError) as error:
        Store.open(tmp_path / "none", write=False)
    one_line(error, "no store in", "battery enrol", "--home")
    assert not (tmp_path / "none").exists()


def test_home_is_found_by_argument_then_environment_then_data_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("BATTERY_HOME", str(tmp_path / "from environment"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("HOME", str(tmp_path / "user"))
    Store.open(tmp_path / "given").close()
    assert (tmp_path / "given" / FILE_NAME).exists()
    Store.open().close()
    assert (tmp_path / "from environment" / FILE_NAME).exists()
    monkeypatch.delenv("BATTERY_HOME")
    with Store.open() as store:
        assert tmp_path in store.folder.parents
        assert store.folder.name == "coordination-battery"


def test_a_folder_with_spaces_marks_and_letters_of_any_script_works(tmp_path):
    home = tmp_path / "a b?c#d%20 é 手"
    shas = fill(home)
    with Store.open(home, write=False) as store:
        assert hashes(store) == shas


# What it is set to


def test_file_is_set_to_write_durably(home):
    """Values by name: https://www.sqlite.org/pragma.html, synchronous 2 is FULL."""
    with Store.open(home) as store, store._engine.connect() as connection:
        assert connection.execute(text("PRAGMA journal_mode")).scalar() == "wal"
        assert connection.execute(text("PRAGMA synchronous")).scalar() == 2
        assert connection.execute(text("PRAGMA foreign_keys")).scalar() == 1


def test_a_block_without_its_visit_is_refused(home):
    with Store.open(home) as store, pytest.raises(StoreError) as error:
        store.records.begin(kit.block_header(kit.visit(sequence=9)))
    one_line(error, "FOREIGN KEY", "nothing was changed")


# What it is not


def test_a_file_that_is_no_database_is_left_alone(tmp_path):
    (tmp_path / FILE_NAME).write_bytes(b"notes of a therapist" * 400)
    before = digest(tmp_path)
    for write in (True, False):
        with pytest.raises(StoreError) as error:
            Store.open(tmp_path, write=write)
        one_line(error, "not a database", "it was not changed", "--home")
    assert digest(tmp_path) == before


def test_another_programs_database_is_left_alone(tmp_path):
    with sqlite3.connect(tmp_path / FILE_NAME) as other:
        other.execute("CREATE TABLE recipes (name TEXT)")
    other.close()
    before = digest(tmp_path)
    for write in (True, False):
        with pytest.raises(StoreError) as error:
            Store.open(tmp_path, write=write)
        one_line(error, "is not a store of this program", "not changed")
    assert digest(tmp_path)[FILE_NAME] == before[FILE_NAME]


def test_a_cut_off_file_is_refused_in_one_line(home):
    data = (home / FILE_NAME).read_bytes()
    (home / FILE_NAME).write_bytes(data[: len(data) // 2])
    with pytest.raises((StoreError, RecordError)) as error, Store.open(home) as store:
        hashes(store)
    one_line(error, "malformed", "restore a copy")


def test_an_empty_file_is_a_new_store(tmp_path):
    (tmp_path / FILE_NAME).touch()
    with Store.open(tmp_path, write=False) as store:
        assert store.people.all() == []
    assert (tmp_path / FILE_NAME).stat().st_size == 0
    fill(tmp_path)


# Versions


def test_a_newer_store_is_refused_unchanged(home):
    with sqlite3.connect(home / FILE_NAME) as newer:
        newer.execute("INSERT INTO migrations VALUES (99, 'something_new', '2030-01-01')")
    newer.close()
    before = digest(home)
    for write in (True, False):
        with pytest.raises(StoreError) as error:
            Store.open(home, write=write)
        one_line(error, "version 99", f"up to {len(migrations.STEPS)}", "Update", "not changed")
    assert digest(home) == before


def test_a_newer_record_is_refused_and_the_others_are_read(home):
    with Store.open(home) as store:
        store.visits.begin(kit.visit(sequence=2, record_version=99))
    with Store.open(home, write=False) as store:
        with pytest.raises(RecordError) as error:
            store.visits.get(kit.visit(sequence=2).visit_id)
        assert [v.header.sequence for v in store.visits.all()] == [1]
        named = store.unreadable()
    one_line(error, "record version 99", "Update", "not changed")
    assert len(named) == 1
    assert "record version 99" in named[0]


def add_table(connection):
    connection.exec_driver_sql("CREATE TABLE later (x INTEGER)")


def add_half(connection):
    connection.exec_driver_sql("CREATE TABLE half (x INTEGER)")
    connection.exec_driver_sql("CREATE TABLE people (x INTEGER)")  # is there already


def test_a_step_that_fails_leaves_the_store_as_it_was(home, monkeypatch):
    monkeypatch.setattr(migrations, "STEPS", (*migrations.STEPS, add_table, add_half))
    with pytest.raises(StoreError) as error:
        Store.open(home)
    one_line(error, "people already exists", "nothing was changed")
    with sqlite3.connect(home / FILE_NAME) as connection:
        names = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
        steps = [row[0] for row in connection.execute("SELECT name FROM migrations")]
    connection.close()
    assert not {"later", "half"} & names
    assert steps[-1] == "comforts_of_people"


def test_reading_an_older_store_reads_a_copy_brought_up_to_date(home, monkeypatch):
    with Store.open(home, write=False) as store:
        shas = hashes(store)
    before = digest(home)
    steps = (*migrations.STEPS, add_table)
    monkeypatch.setattr(migrations, "STEPS", steps)
    monkeypatch.setattr("battery.store.opening.STEPS", steps)
    with Store.open(home, write=False) as store:
        assert hashes(store) == shas
        assert inspect(store._engine).has_table("later")
    assert digest(home)[FILE_NAME] == before[FILE_NAME]
    Store.open(home).close()
    with sqlite3.connect(home / FILE_NAME) as connection:
        assert connection.execute("SELECT count(*) FROM later").fetchone() == (0,)
    connection.close()


# Rights


@pytest.fixture
def protected():
    """A store in a folder that any user can reach, closed to writing by `protect`."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        home = Path(folder) / "home"
        fill(home)
        yield home
        home.chmod(0o755)


def protect(home):
    for file in home.iterdir():
        file.chmod(0o444)
    home.chmod(0o555)


def test_reading_needs_no_right_to_write(child, protected):
    with Store.open(protected, write=False) as store:
        shas = hashes(store)
    protect(protected)
    lines = child.run("read", protected)
    assert [sha for first, _, sha in lines[:-1] if first == "block"] == shas
    assert lines[-1] == ("protected",)  # it truly could not write there


def test_reading_without_rights_sees_what_a_killed_program_committed(child, protected):
    """The log is still beside the file, and its index cannot be made in the folder."""
    child.run("record", protected, kill_after=12)
    assert (protected / WAL_NAME).stat().st_size > 0
    copy = protected.with_name("copy")
    shutil.copytree(protected, copy)
    with Store.open(copy, write=False) as store:
        shas = hashes(store)
    assert len(shas) >= 2
    (protected / (FILE_NAME + "-shm")).unlink()
    protect(protected)
    lines = child.run("read", protected)
    assert [line[2] for line in lines if line[0] == "block"] == shas
    assert lines[-1] == ("protected",)


def test_writing_without_rights_is_refused_in_one_line(home, monkeypatch):
    """The refusal a protected folder gives, which an administrator would not meet."""

    def refuse(**where):
        raise PermissionError(errno.EACCES, "Permission denied", str(where))

    monkeypatch.setattr("tempfile.TemporaryFile", refuse)
    with pytest.raises(StoreError) as error:
        Store.open(home)
    one_line(error, "cannot write to", str(home), "Permission denied", "--home")


def test_a_home_that_is_a_file_is_refused_in_one_line(tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(StoreError) as error:
        Store.open(tmp_path / "file")
    one_line(error, "cannot write to", "--home")


def test_a_disk_mounted_read_only_can_be_read_and_not_written(small_disk):
    shas = fill(small_disk)
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    with Store.open(small_disk, write=False) as store:
        assert hashes(store) == shas
    with pytest.raises(StoreError) as error:
        Store.open(small_disk)
    one_line(error, "cannot write to", "Read-only file system", "--home")
