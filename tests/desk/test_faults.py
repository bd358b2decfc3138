"""What goes wrong around a desk: it is killed, it is not alone, its store is on a server.

Whatever happens, nothing is half there, and the next desk opens as if nothing had been.
"""

import re
import select
import shutil
import subprocess
import sys
import time
from functools import partial

import psutil
import pytest

from battery.cautions import CONTRAINDICATIONS
from battery.errors import StoreError
from battery.export import verify_export
from battery.handover import make_clinic_keys, make_tablet_keys, send
from battery.handover.keys import found_cards
from battery.store import Store
from battery.verify import verify
from tests.desk.browsing import open_desk
from tests.desk.office import NOW, Desk
from tests.desk.sockets import Stranger, status
from tests.handover_kit import record_visits, state
from tests.screen.servers import virtual_screen

WAIT_S = 60
N_WRITES = 4
WRITER = """
import sys
from battery.cli import app
for number in range({n}):
    try:
        note = f"by a command {{number}}"
        app(["mark", "K7QF", "fall", "--note", note, "--home", sys.argv[1]])
    except SystemExit as end:
        assert not end.code, end.code
    print(number, flush=True)
"""


@pytest.fixture(scope="module")
def clinic(small_clinic):
    """One task is enough here."""
    return small_clinic


def until(done, what):
    end_s = time.monotonic() + WAIT_S
    while not (found := done()):
        assert time.monotonic() < end_s, f"waited in vain for {what}"
        select.select([], [], [], 0.005)
    return found


def killed(process):
    process.kill()
    process.wait(WAIT_S)


@pytest.mark.needs("xvfb")
def test_a_visit_survives_the_desk_that_began_it_and_the_next_one_knows_it(own_clinic):
    with virtual_screen() as display:
        screen = {"DISPLAY": display, "SDL_AUDIODRIVER": "dummy"}
        with open_desk(own_clinic, environment=screen) as (process, address):
            desk = Stranger(process, address, own_clinic)
            assert status(desk.post("/start", {"code": "K7QF", "plan": "short"})) == 303
            (visit,) = until(lambda: psutil.Process(process.pid).children(), "the visit")
            killed(process)
        assert visit.is_running()
        with open_desk(own_clinic, environment=screen) as (process, address):
            desk = Stranger(process, address, own_clinic)
            assert "The visit of K7QF is open on this screen" in desk.ask("GET", "/start")
            again = desk.post("/start", {"code": "M4WX", "plan": "short"})
            assert "a visit of K7QF is open on this screen" in again
            visit.kill()
            until(
                lambda: "is open on this screen" not in desk.ask("GET", "/start"),
                "its end to be seen",
            )
            assert status(desk.post("/start", {"code": "M4WX", "plan": "nosuch"})) == 400
    with Store.open(own_clinic) as store:
        until(lambda: recovered(store), "the lock of the killed visit to go")
        assert verify(store).findings == ()


def recovered(store):
    """Whether it is; the last thread of a killed program may hold its lock a moment longer."""
    try:
        store.records.recover()
    except StoreError:
        return False
    return True


@pytest.fixture(scope="module")
def sticks(tmp_path_factory):
    """A stick with several visits of a tablet that the clinic knows, and the clinic."""
    folder = tmp_path_factory.mktemp("sticks")
    stick, clinic = folder / "stick", folder / "clinic"
    stick.mkdir()
    with Store.open(folder / "tablet") as tablet, Store.open(clinic) as store:
        mark = make_clinic_keys(store, stick)
        make_tablet_keys(tablet, found_cards(stick), [mark])
        record_visits(tablet, 6)
        send(tablet, stick, wall=lambda: NOW)
    desk = Desk(clinic)
    desk.come_in()
    with_keys = desk.send("/exchange/receive", folder=str(stick)).text
    for _ in range(2):  # the tablet, then the person
        item = re.search(r'name="item" value="([^"]+)"', desk.get("/exchange").text)
        if item is None:
            break
        shutil.copytree(clinic, folder / "known", dirs_exist_ok=True)
        desk.send("/exchange/choose", item=item[1], action="take", reason="compared")
    assert with_keys
    return folder


@pytest.mark.long
def test_a_desk_killed_while_it_receives_receives_again(sticks, tmp_path):
    """The clinic was just about to accept the last thing that all bundles wait for."""
    whole = sticks / "clinic"
    stick = shutil.copytree(sticks / "stick", tmp_path / "stick")
    with Store.open(whole, write=False) as store:
        wanted = {k: v for k, v in state(store).items() if k != "quarantine"}
        n_visits = len(store.visits.all())
    assert n_visits == 6
    for n_there in (0, 3):
        home = shutil.copytree(sticks / "known", tmp_path / f"clinic-{n_there}")
        with open_desk(home) as (process, address):
            desk = Stranger(process, address, home)
            item = re.search(r'name="item" value="([^"]+)"', desk.ask("GET", "/exchange"))[1]
            line = desk.begin(
                "/exchange/choose", {"item": item, "action": "take", "reason": "compared"}
            )
            until(partial(has_received, home, n_there), "the first visits")
            killed(process)
            line.close()
        with open_desk(home) as (process, address):
            desk = Stranger(process, address, home)
            while item := re.search(
                r'name="item" value="([^"]+)"', desk.ask("GET", "/exchange")
            ):
                told = {"item": item[1], "action": "take", "reason": "compared"}
                assert status(desk.post("/exchange/choose", told)) == 200
            assert status(desk.post("/exchange/receive", {"folder": str(stick)})) == 200
        with Store.open(home, write=False) as store:
            assert {k: v for k, v in state(store).items() if k != "quarantine"} == wanted
            assert verify(store, replay=False).findings == ()  # its blocks are made up


def has_received(home, n_visits):
    with Store.open(home, write=False) as store:
        return len(store.visits.all()) >= n_visits


@pytest.mark.long
def test_a_desk_killed_while_it_exports_leaves_nothing_that_looks_whole(own_clinic, tmp_path):
    folder = tmp_path / "study"
    asked = {"kind": "tables", "folder": str(folder), "without_consent": "a test"}
    with open_desk(own_clinic) as (process, address):
        desk = Stranger(process, address, own_clinic)
        assert status(desk.post("/out", asked)) == 303
        until(lambda: folder.exists() and any(folder.iterdir()), "the first file")
        killed(process)
    assert not (folder / "datapackage.json").exists()
    with open_desk(own_clinic) as (process, address):
        desk = Stranger(process, address, own_clinic)
        sent = desk.post("/out", asked)
        assert status(sent) == 303
        path = re.search(r"location: (\S+)", sent)[1]
        until(lambda: "Stop it" not in desk.ask("GET", path), "the export")
        assert "Done." in desk.ask("GET", path)
    assert not verify_export(folder).findings
    assert not [p for p in folder.rglob("*") if "partial" in p.name]


def test_desk_and_command_write_at_the_same_time(own_clinic):
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER.format(n=N_WRITES), str(own_clinic)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    with open_desk(own_clinic) as (process, address):
        desk = Stranger(process, address, own_clinic)
        writer.stdout.readline()
        for number in range(N_WRITES):
            said = {"kind": "fall", "note": f"at the desk {number}", "day": "2026-03-20"}
            assert status(desk.post("/person/K7QF/say/event", said)) == 303
            assert status(desk.ask("GET", "/")) == 200
        _, err = writer.communicate(timeout=WAIT_S)
        assert (writer.returncode, err) == (0, "")
        shown = desk.ask("GET", "/person/K7QF")
    for number in range(N_WRITES):
        assert f"by a command {number}<" in shown
        assert f"at the desk {number}<" in shown


def test_the_desk_on_a_store_on_a_server(empty_database, tmp_path, monkeypatch):
    """All screens, and what is said there, on PostgreSQL."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    desk = Desk(empty_database)
    desk.come_in()
    asked = {f"item-{name}": "no" for name in CONTRAINDICATIONS}
    sides = {"dominant_hand": "right", "affected_side": "left", "first_hand": ""}
    card = desk.send("/enrol", {**asked, **sides, "form_version": "4"})
    code = re.search(r"/person/([A-Z0-9]{4})", card.text)[1]
    assert (
        desk.send(f"/person/{code}/say/event", kind="fall", note="at home").status_code == 200
    )
    assert "Alarm:" in desk.get("/").text
    asked = {
        "alarm": re.search(r'name="alarm" value="([^"]+)"', desk.get(f"/person/{code}").text)
    }
    asked = {"alarm": asked["alarm"][1], "note": "called"}
    assert desk.send(f"/person/{code}/say/acknowledge", asked).status_code == 200
    assert "Alarm:" not in desk.get("/").text
    screens = ("/", "/enrol", "/start", "/exchange", "/out", "/clinic", "/log", f"/card/{code}")
    for path in (*screens, f"/person/{code}", f"/person/{code}/page", f"/person/{code}/visits"):
        assert desk.get(path).status_code == 200, path
    assert "at home" in desk.get("/log").text
    desk.office.changes.close()
