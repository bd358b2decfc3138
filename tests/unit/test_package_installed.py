"""The package in a clean Debian without Python: installed, then used without any rights.

Builds the program, makes a root with debootstrap, takes minutes; run by hand as root with
``python -m pytest -m long tests/unit/test_package_installed.py -s``.
"""

import os
import re
import select
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

import pytest

from battery.packaging.__main__ import main

pytestmark = [
    pytest.mark.long,
    pytest.mark.needs("debootstrap"),
    pytest.mark.needs("dpkg"),
    pytest.mark.needs("xvfb"),
    pytest.mark.timeout(3600),
]
SMALLEST_PICTURE_BYTES = 3000  # an empty screen of 1280x800 packs into less


def told(*command, **more):
    done = subprocess.run(command, capture_output=True, text=True, check=False, **more)
    assert done.returncode == 0, f"{command}: {done.stdout[-1500:]}{done.stderr[-1500:]}"
    return done.stdout


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    kept = os.environ.get("BATTERY_PACKAGE")
    if kept:
        return Path(kept)
    folder = tmp_path_factory.mktemp("made")
    assert main([str(folder)]) == 0
    (made,) = folder.glob("*.deb")
    return made


@pytest.fixture(scope="module")
def clean_root(package):
    """A Debian with its base system only, and the package with what it depends on."""
    site, release = told("apt-get", "indextargets", "--format", "$(SITE) $(RELEASE)").split()[
        :2
    ]
    with tempfile.TemporaryDirectory(prefix="root-", ignore_cleanup_errors=True) as name:
        root = Path(name)
        root.chmod(0o755)  # a normal user has to come in
        told("debootstrap", "--variant=minbase", release.split("-")[0], name, site)
        shutil.copyfile("/etc/resolv.conf", root / "etc/resolv.conf")
        for file in Path("/etc/apt/apt.conf.d").glob("*"):
            shutil.copy(file, root / "etc/apt/apt.conf.d")
        shutil.copy(package, root / "tmp/made.deb")
        for place in ("proc", "dev"):
            told("mount", "--rbind", f"/{place}", str(root / place))
        try:
            inside = ["chroot", name, "env", "DEBIAN_FRONTEND=noninteractive"]
            told(*inside, "apt-get", "-qq", "update")
            told(
                *inside, "apt-get", "-qq", "install", "--yes", "--no-install-recommends",
                "/tmp/made.deb",
            )  # fmt: skip
            told(*inside, "useradd", "--create-home", "--home-dir", "/srv/patient", "patient")
            yield root
        finally:
            for place in ("proc", "dev"):
                subprocess.run(["umount", "--recursive", "--lazy", root / place], check=False)


def as_patient(root, *words, **surroundings):
    kept = [f"{k}={v}" for k, v in {"HOME": "/srv/patient", **surroundings}.items()]
    return [
        "chroot", "--userspec=patient:patient", str(root), "env", "-i",
        "PATH=/usr/bin:/bin", "LC_ALL=C.UTF-8", *kept, *words,
    ]  # fmt: skip


def test_there_is_no_python_in_it(clean_root):
    assert not list((clean_root / "usr/bin").glob("python*"))


def test_demo_report_and_export_run(clean_root):
    said = told(
        *as_patient(clean_root, "battery", "demo", "/srv/patient/demo", "--visits", "7")
    )
    code = re.search(r"\b([0-9A-Z]{4})\b", said)[1]
    home = "/srv/patient/demo"
    pages = told(*as_patient(clean_root, "battery", "people", "--home", home))
    assert code in pages
    page = "/srv/patient/page.html"
    told(
        *as_patient(
            clean_root, "battery", "report", code, "--home", home, "--out", page, "--pdf"
        )
    )
    assert (clean_root / "srv/patient/page.pdf").read_bytes().startswith(b"%PDF")
    told(*as_patient(clean_root, "battery", "export", "/srv/patient/out", "--home", home))
    assert list((clean_root / "srv/patient/out").glob("*.json"))


def test_a_visit_opens_its_window(clean_root, tmp_path):
    read_fd, write_fd = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-screen", "0", "1280x800x24", "-ac", "-displayfd", str(write_fd)],
        pass_fds=[write_fd], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(write_fd)
    number = os.read(read_fd, 16).decode().strip()
    told(*as_patient(clean_root, "battery", "enrol"))
    begun_s = time.monotonic()
    visit = subprocess.Popen(
        as_patient(
            clean_root, "battery", "visit", DISPLAY=f":{number}", SDL_AUDIODRIVER="dummy",
            BATTERY_PUBLISH="/srv/patient/shown.json",
        ),
        stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        shown = clean_root / "srv/patient/shown.json"
        while not shown.exists():
            assert visit.poll() is None, visit.stderr.read()
            assert time.monotonic() - begun_s < 60, "no page came up"
            select.select([], [], [], 0.005)
        picture = tmp_path / "shown.png"
        told("import", "-display", f":{number}", "-window", "root", str(picture))
        assert picture.stat().st_size > SMALLEST_PICTURE_BYTES
    finally:
        visit.kill()
        visit.communicate()
        server.terminate()
        server.wait()
