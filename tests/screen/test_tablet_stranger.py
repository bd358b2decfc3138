"""The tablet's start page by the real command, with the pointer of another process."""

import contextlib
import sqlite3
import subprocess

import pytest

from battery.handover import keys, make_clinic_keys, make_tablet_keys, receive
from battery.store import Store
from battery.store.opening import FILE_NAME
from battery.verify import verify
from tests import handover_kit
from tests.screen.door import NOW, PANELS
from tests.screen.servers import (
    Finger,
    Pointer,
    command,
    enrol,
    prepare,
    program,
    touch_screen,
    virtual_screen,
)
from tests.screen.stranger import Stranger, pause
from tests.screen.test_stranger import PLAN, QUICK, TASKS

pytestmark = pytest.mark.needs("xvfb")
CORNER_PX, BETWEEN_S = 6, 0.45


@pytest.mark.timeout(600)
def test_a_stranger_opens_a_person_meets_a_fault_and_leaves_as_staff(tmp_path):
    """The fault is the database's own: it takes no more visits."""
    codes = [enrol(tmp_path), enrol(tmp_path)]
    fault = "CREATE TRIGGER full BEFORE INSERT ON visits BEGIN SELECT RAISE(ABORT, 'no'); END"
    with contextlib.closing(sqlite3.connect(tmp_path / "home" / FILE_NAME)) as database:
        database.execute(fault)
    with (
        virtual_screen() as display,
        Pointer(display) as pointer,
        program(display, tmp_path, "tablet") as (process, published),
    ):
        stranger = Stranger(pointer, published)
        state = published.wait(lambda s: s["page"] == "people")
        assert {button["key"] for button in state["buttons"]} >= set(codes)
        stranger.press(codes[1])
        state = published.wait(lambda s: s["page"] == "person")
        stranger.press("visit")
        stranger.visit(until="trouble")
        stranger.press("end")
        published.wait(lambda s: s["page"] == "people")
        pause(BETWEEN_S)
        for x_px in (CORNER_PX, 1280 - CORNER_PX, CORNER_PX):
            stranger.tap(x_px, 800 - CORNER_PX)
            pause(BETWEEN_S)
        published.wait(lambda s: s["page"] == "staff")
        stranger.press("leave")
        published.wait(lambda s: s["page"] == "staff menu")
        stranger.press("wrong")
        stranger.press("back")
        stranger.press("leave", last=True)
        _, err = process.communicate(timeout=180)
    assert (process.returncode, err) == (0, "")
    note = (tmp_path / "home" / "troubles.txt").read_text()
    assert "page: start\nwhat: StoreError: " in note
    assert not [code for code in codes if code in note]


# A drive of its own, which no other program sees.
PLUGGED_IN = (
    "mount -t tmpfs none /media && mkdir /media/STICK && mount --bind {} /media/STICK "
    '&& exec "$@"'
)


class TurningFinger(Finger):
    """A finger on a panel that is turned together with its screen."""

    now_px = begun_px = (0, 0)

    def __init__(self, panel, size_px):
        super().__init__(panel, size_px)
        self.now_px = self.begun_px = size_px

    def move(self, x_px, y_px):
        x_px, y_px = (
            place * begun / now
            for place, begun, now in zip((x_px, y_px), self.begun_px, self.now_px, strict=True)
        )
        super().move(x_px, y_px)


@pytest.fixture
def shared_tablet(tmp_path):
    """A tablet of three people that knows its clinic; the first does every task."""
    if subprocess.run(["unshare", "-m", "true"], check=False).returncode != 0:
        pytest.skip("no right to plug in a drive of its own")
    stick = tmp_path / "STICK"
    stick.mkdir()
    codes = sorted(enrol(tmp_path) for _ in range(3))
    (tmp_path / "quick.toml").write_text(QUICK)
    (tmp_path / "all.toml").write_text('hands = "right"\n' + PLAN)
    for code in codes:
        plan = tmp_path / ("all.toml" if code == codes[0] else "quick.toml")
        prepare(tmp_path, "plan", code, str(plan), "--by", "AB")
    with Store.open(tmp_path / "clinic") as clinic, Store.open(tmp_path / "home") as tablet:
        mark = make_clinic_keys(clinic, stick)
        make_tablet_keys(tablet, keys.found_cards(stick), [mark])
        for code in codes:
            clinic.people.add(tablet.people.get(code))
        public = keys.tablet_key(tablet).public_key().public_bytes_raw()
        handover_kit.accept_key(clinic, public)
    return tmp_path, codes, stick


@pytest.mark.long
@pytest.mark.needs("xorg")
@pytest.mark.timeout(2400)
@pytest.mark.parametrize("size", ["1024x600", "1280x800", "1920x1200", "800x1280"])
def test_three_people_go_the_whole_way_by_touch(shared_tablet, size):
    """Start page, a visit, home exercise, the clinic's stick; upright the tablet is turned."""
    folder, codes, stick = shared_tablet
    wide, high, px_per_mm = PANELS[size]
    upright = high > wide
    others = [(high, wide)] if upright else []
    with (
        touch_screen((wide, high), *others) as (display, socket),
        Pointer(display) as turning,
        TurningFinger(socket, (wide, high)) as finger,
    ):
        for sides in [(wide, high), *others]:
            turn(turning, finger, sides)
            told = [str(side / px_per_mm) for side in sides]
            measured = ("screen", "--width-mm", told[0], "--height-mm", told[1])
            done = command(folder, *measured, display=display)
            assert done.returncode == 0, done.stderr
        turn(turning, finger, (wide, high))
        before = ("unshare", "-m", "sh", "-c", PLUGGED_IN.format(stick), "sh")
        with program(display, folder, "tablet", before=before) as (process, published):
            stranger = Stranger(finger, published)
            for code in codes:
                stranger.press(code)
                stranger.press("visit")
                if upright:
                    stranger.visit(until="turn")
                    turn(turning, finger, (high, wide))
                    published.wait(lambda s: s["page"] != "turn")
                stranger.visit()
                stranger.press("end")
                published.wait(lambda s: s["page"] == "people")
                turn(turning, finger, (wide, high))
                published.wait(
                    lambda s: s["page"] == "people" and right_edge(s) in (wide - 1, wide)
                )
                for key in (code, "practised", "all", "end", code, "send", "end", "back"):
                    stranger.press(key)
            published.wait(lambda s: s["page"] == "people")
            pause(BETWEEN_S)
            for x_px in (CORNER_PX, wide - CORNER_PX, CORNER_PX):
                stranger.tap(x_px, high - CORNER_PX)
                pause(BETWEEN_S)
            stranger.press("leave")
            stranger.press("leave", last=True)
            out, err = process.communicate(timeout=180)
    assert (process.returncode, err) == (0, "")
    assert out.count("complete; stored") == 3
    came_to_the_clinic(folder, codes, stick)


def turn(turning, finger, size_px):
    """Turn the tablet: its screen and the panel over it."""
    turning.tell(f"size {size_px[0]} {size_px[1]}")
    finger.now_px = size_px


def right_edge(state):
    return max((b["rect_px"][0] + b["rect_px"][2] for b in state["buttons"]), default=0)


def came_to_the_clinic(folder, codes, stick):
    """Every visit is whole, by touch, of its own person; so is what was practised."""
    with Store.open(folder / "clinic") as clinic:
        receive(clinic, stick, wall=lambda: NOW)
        assert verify(clinic).findings == ()
        for code in codes:
            (visit,) = clinic.visits.all(code)
            assert visit.ending == "finished"
            records = clinic.records.of_visit(visit.header.visit_id)
            tasks = TASKS if code == codes[0] else ("slide",)
            assert [r.header.task for r in records] == [t for t in tasks for _ in range(2)]
            assert {r.ending for r in records} == {"finished"}
            loaded = [clinic.records.load(r.header.block_id) for r in records]
            assert {block.input_type for block in loaded} == {"touch"}
            assert [e.exercise for e in clinic.care.home_exercises(code)] == ["all"]
