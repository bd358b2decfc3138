"""Folders, names, lock and processes as on Windows, run here through the same seams.

What Windows itself does (its kernel's locks, rights, fonts of a PDF, touch) is not tried here.
"""

import re
import subprocess
from pathlib import Path

import platformdirs
import pytest
from filelock import SoftFileLock
from platformdirs import windows
from typer.testing import CliRunner

from battery.cli import app
from battery.desk import starting
from battery.errors import StoreError
from battery.export import export_bids, export_tidy
from battery.handover import keys, make_clinic_keys, write_person_card
from battery.report import write_page
from battery.store import Store, locking
from tests import handover_kit as hand
from tests.export_kit import EVERYBODY

# Microsoft, "Naming Files, Paths, and Namespaces": reserved signs and names, no blank or full
# stop at the end; 260 signs for a whole path, of which a user's own folder needs some.
NO_NAME = re.compile(
    r'[<>:"/\\|?*\x00-\x1f]|[ .]$|^(con|prn|aux|nul|com\d|lpt\d)(\.|$)', re.IGNORECASE
)
LONGEST = 160


def unfit(folder):
    """List what could not lie on a Windows disk, or only one of two that differ in case."""
    paths = [path.relative_to(folder) for path in folder.rglob("*")]
    assert paths
    small = [str(path).lower() for path in paths]
    return [
        str(path)
        for path, name in zip(paths, small, strict=True)
        if any(NO_NAME.search(part) for part in path.parts)
        or len(name) > LONGEST
        or small.count(name) > 1
    ]


def test_whatever_is_made_has_a_name_that_can_be(own_clinic, tmp_path):
    pair = hand.Pair(tmp_path / "handed")
    pair.send()
    pair.close()
    with Store.open(own_clinic) as store:
        make_clinic_keys(store, pair.stick)
        write_person_card(store, "K7QF", pair.stick, now=hand.NOW)
        store.back_up(tmp_path / "copies" / "copy.sqlite")
        export_tidy(store, tmp_path / "tidy", selection=EVERYBODY)
        export_bids(store, tmp_path / "bids", selection=EVERYBODY)
        write_page(store, "K7QF", tmp_path / "page.html", now=hand.NOW)
    assert {path.suffix for path in pair.stick.rglob("*")} >= {".cbundle"}
    assert unfit(tmp_path) == []


@pytest.mark.parametrize("name", ["aux.csv", "a:b", "end.", "Con", "a b ", "what?.txt"])
def test_each_of_these_could_not_be(tmp_path, name):
    (tmp_path / name).touch()
    assert unfit(tmp_path) == [name]


def test_everything_lies_in_the_users_own_folder_whatever_it_is_called(monkeypatch, tmp_path):
    local = tmp_path / "Müller & Söhne (Praxis)" / "AppData" / "Local"
    monkeypatch.setattr(platformdirs, "PlatformDirs", windows.Windows)
    monkeypatch.setattr(windows, "get_win_folder", windows.get_win_folder_from_env_vars)
    monkeypatch.setenv("LOCALAPPDATA", str(local))
    monkeypatch.delenv("BATTERY_HOME", raising=False)
    said = CliRunner().invoke(app, ["enrol", "--affected-side", "left"])
    assert said.exit_code == 0, said.output
    code = said.output.split()[0]
    page = tmp_path / "Müller & Söhne (Praxis)" / "Seite 1.html"
    for words in (["people"], ["report", code, "--out", str(page)], ["verify"]):
        done = CliRunner().invoke(app, words)
        assert done.exit_code == 0, done.output
    assert "<html" in page.read_text(encoding="utf-8")
    assert [p.name for p in local.iterdir()] == ["coordination-battery"]
    with Store.open(None, write=False) as store:
        assert keys.keys_folder(store).parent == local / "coordination-battery"


def test_the_recording_lock_needs_no_more_than_every_lock_can(monkeypatch, tmp_path):
    """The library has a class for each system; here one that uses no call of a system."""
    monkeypatch.setattr(locking, "FileLock", SoftFileLock)
    with Store.open(tmp_path) as one, Store.open(tmp_path) as other:
        with one.records.lock(), pytest.raises(StoreError, match="another program"):
            other.records.lock().__enter__()
        with other.records.lock():
            pass


def test_a_visit_begun_from_the_desk_is_apart_from_it(monkeypatch):
    """Python's `subprocess`: a process group of its own takes no Ctrl+C of the console."""
    monkeypatch.setattr("sys.platform", "win32")
    monkeypatch.setattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0x200, raising=False)
    assert starting._apart() == {"creationflags": 0x200}
    monkeypatch.setattr("sys.frozen", True, raising=False)
    assert [Path(word).is_absolute() for word in starting.program()] == [True]
