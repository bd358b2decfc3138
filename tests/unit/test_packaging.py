"""What a clinic installs: made of a small stand-in for the program, which Debian's tools read.

The whole program is built and installed in a clean root by the long test beside this one.
"""

import configparser
import subprocess

import pytest

from battery.errors import PackagingError
from battery.packaging import debian, folder

pytestmark = pytest.mark.needs("dpkg")
PNG = bytes.fromhex("89504e470d0a1a0a")


@pytest.fixture
def package(tmp_path):
    program = tmp_path / "program"
    (program / "_internal").mkdir(parents=True)
    (program / "battery").write_text("#!/bin/sh\necho started\n")
    icon = tmp_path / "icon.png"
    icon.write_bytes(PNG)
    return debian.build_package(
        program, tmp_path / "out", workplace=tmp_path / "work", icons={48: icon}
    )


def told(*command):
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def test_the_package_says_what_policy_asks_for(package):
    """Debian Policy 4.7, 5.3: fields of a binary package; 3.4.1: a short synopsis."""
    fields = dict(
        line.split(": ", 1)
        for line in told("dpkg-deb", "--field", str(package)).splitlines()
        if not line.startswith(" ")
    )
    wanted = {"Package", "Version", "Architecture", "Maintainer", "Description", "Depends"}
    assert wanted <= set(fields)
    assert fields["Package"] == "coordination-battery"
    assert len(fields["Description"]) < 80
    assert int(fields["Installed-Size"]) >= 0


def test_everything_lies_below_usr_owned_by_root_and_starts(package, tmp_path):
    rows = [line.split(None, 5) for line in told("dpkg-deb", "-c", str(package)).splitlines()]
    assert all(owner == "root/root" for _, owner, *_ in rows)
    names = {row[5].split(" -> ")[0].lstrip(".") for row in rows}
    assert all(name.startswith("/usr/") for name in names - {"/", "/usr/"})
    assert "/usr/share/icons/hicolor/48x48/apps/coordination-battery.png" in names
    out = tmp_path / "unpacked"
    told("dpkg-deb", "-x", str(package), str(out))
    program = out / "usr/lib/coordination-battery/battery"
    assert told(str(program)) == "started\n"
    link = out / "usr/bin/battery"
    assert str(link.readlink()) == "/usr/lib/coordination-battery/battery"


@pytest.mark.parametrize("name", debian.ENTRIES)
def test_menu_entries_follow_the_desktop_entry_specification(name):
    """freedesktop.org, Desktop Entry Specification 1.5: keys an application must have."""
    entry = configparser.RawConfigParser(interpolation=None)
    entry.optionxform = str
    entry.read_string(debian.menu_entry(name))
    keys = dict(entry["Desktop Entry"])
    assert keys["Type"] == "Application"
    assert keys["Terminal"] == "false"
    assert keys["Exec"] == f"battery {name}"
    assert keys["Categories"].endswith(";")
    assert {"Name", "Name[de]", "Icon"} <= set(keys)


def test_what_nothing_uses_is_left_out(tmp_path):
    kept = tmp_path / "pyarrow" / "lib.so"
    for path in (kept, tmp_path / "pyarrow/include/a.h", tmp_path / "libarrow_flight.so.1"):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"1234")
    assert folder.leave_out(tmp_path) == 8
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == [kept]


def test_a_refusal_is_one_line_and_nothing_is_put_in_place(tmp_path):
    program = tmp_path / "program"
    program.mkdir()
    (tmp_path / "out").write_text("a file where the folder should be")
    with pytest.raises(PackagingError, match="none was made"):
        debian.build_package(program, tmp_path / "out", workplace=tmp_path / "w", icons={})
