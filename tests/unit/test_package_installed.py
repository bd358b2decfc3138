"""The package in a clean Debian without Python: installed, then used without any rights.

Builds the program, makes a root with debootstrap, takes minutes; run by hand as root with
``python -m pytest -m long tests/unit/test_package_installed.py -s``.
"""

import contextlib
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.parse
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

import psutil
import pytest

from battery.packaging.__main__ import main
from tests.screen.servers import Pointer, Published
from tests.screen.stranger import Stranger

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
            size_mb = int(
                told("du", "-sm", str(root / "usr/lib/coordination-battery")).split()[0]
            )
            sys.stdout.write(
                f"{package.stat().st_size / 1e6:.0f} MB, {size_mb} MiB installed\n"
            )
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


@pytest.fixture(scope="module")
def display():
    """A virtual screen that lets the patient of the clean root in."""
    read_fd, write_fd = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-screen", "0", "1280x800x24", "-ac", "-displayfd", str(write_fd)],
        pass_fds=[write_fd], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(write_fd)
    yield f":{os.read(read_fd, 16).decode().strip()}"
    os.close(read_fd)
    server.terminate()
    server.wait()


@contextlib.contextmanager
def window(root, display, *words):
    """A command that opens a window; says how long its first page took."""
    shown = root / "srv/patient/shown.json"
    shown.unlink(missing_ok=True)
    begun_s = time.monotonic()
    process = subprocess.Popen(
        as_patient(
            root, "battery", *words, DISPLAY=display, SDL_AUDIODRIVER="dummy",
            BATTERY_PUBLISH="/srv/patient/shown.json",
        ),
        stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        published = Published(shown, process)
        published.wait(lambda s: s["page"])
        told_time(f"battery {words[0]}", begun_s, process)
        yield published
    finally:
        process.kill()
        process.communicate()


def told_time(what, begun_s, process):
    used = psutil.Process(process.pid).cpu_times()
    took_s = time.monotonic() - begun_s
    work_s = used.user + used.system
    sys.stdout.write(f"{what}: first page after {took_s:.1f} s, {work_s:.1f} s of work\n")


def test_a_visit_opens_its_window(clean_root, display, tmp_path):
    told(*as_patient(clean_root, "battery", "enrol"))
    with window(clean_root, display, "visit"):
        picture = tmp_path / "shown.png"
        told("import", "-display", display, "-window", "root", str(picture))
        assert picture.stat().st_size > SMALLEST_PICTURE_BYTES


def test_the_tablets_start_page_takes_a_hand(clean_root, display):
    """Its words, pictures, catalogues and voice lie in the folder."""
    with window(clean_root, display, "tablet") as published, Pointer(display) as pointer:
        stranger = Stranger(pointer, published)
        for key in ("looks", "back", "plan", "back", "practised", "head_turns"):
            stranger.press(key)
        assert stranger.pages == [
            "person", "settings", "person", "home plan", "person", "exercises",
        ]  # fmt: skip
    assert list(clean_root.glob("usr/lib/coordination-battery/_internal/**/voices/de/*.opus"))


def test_the_desk_serves_its_first_page_and_takes_forms(clean_root):
    begun_s = time.monotonic()
    desk = subprocess.Popen(
        as_patient(clean_root, "battery", "desk", "--no-browser"),
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert desk.stdout.readline().startswith("The desk is open"), desk.stderr.read()
        door = clean_root / "srv/patient/.local/share/coordination-battery/desk.html"
        enter = re.search(r'href="([^"]+)"', door.read_text(encoding="utf-8"))[1]
        came = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        origin = enter[: enter.index("/enter")]

        def page(path, **fields):
            data = urllib.parse.urlencode(fields).encode() if fields else None
            asked = urllib.request.Request(origin + path, data, {"Origin": origin})
            with came.open(asked, timeout=60) as answer:
                return answer.read().decode()

        first = ""
        while not first:  # the file that leads in is there before anybody answers
            assert time.monotonic() - begun_s < 60, "the desk did not answer"
            with contextlib.suppress(urllib.error.URLError):
                first = page(enter.removeprefix(origin))
        told_time("battery desk", begun_s, desk)
        assert "Who are you?" in first
        for name in ("desk.css", "htmx.min.js"):
            assert len(page(f"/static/{name}")) > SMALLEST_PICTURE_BYTES
        secret = {"form_secret": re.search(r'name="form_secret" value="([^"]+)"', first)[1]}
        page("/door", initials="AB", code="2468", again="2468", **secret)
        asked = set(re.findall(r'name="(item-[^"]+)"', page("/enrol")))
        sides = {"dominant_hand": "right", "affected_side": "left", "visit_plan": "short"}
        card = page("/enrol", **dict.fromkeys(asked, "no"), **sides, **secret)
        code = re.search(r"/card/([0-9A-Z]{4})", card)[1]
        assert "<svg" in card
        assert code in page(f"/person/{code}")
        assert code in page(f"/person/{code}/page")
        page("/door/close", **secret)
        assert desk.wait(60) == 0
    finally:
        desk.kill()
        desk.communicate()
    assert code in told(*as_patient(clean_root, "battery", "people"))
