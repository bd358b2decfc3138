"""The tablet's start page by the real command, with the pointer of another process."""

import contextlib
import sqlite3

import pytest

from battery.store.opening import FILE_NAME
from tests.screen.servers import Pointer, enrol, program, virtual_screen
from tests.screen.stranger import Stranger, pause

pytestmark = pytest.mark.needs("xvfb")
CORNER_PX, BETWEEN_S = 6, 0.45


@pytest.mark.timeout(120)
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
        state = published.wait(lambda s: s["page"] == "people", 60)
        assert {button["key"] for button in state["buttons"]} >= set(codes)
        stranger.press(codes[1])
        state = published.wait(lambda s: s["page"] == "person", 60)
        stranger.press("visit")
        stranger.visit(until="trouble")
        stranger.press("end")
        published.wait(lambda s: s["page"] == "people", 60)
        pause(BETWEEN_S)
        for x_px in (CORNER_PX, 1280 - CORNER_PX, CORNER_PX):
            stranger.tap(x_px, 800 - CORNER_PX)
            pause(BETWEEN_S)
        published.wait(lambda s: s["page"] == "staff", 60)
        stranger.press("leave")
        published.wait(lambda s: s["page"] == "staff menu", 60)
        stranger.press("wrong")
        stranger.press("back")
        stranger.press("leave", last=True)
        _, err = process.communicate(timeout=30)
    assert (process.returncode, err) == (0, "")
    note = (tmp_path / "home" / "troubles.txt").read_text()
    assert "page: start\nwhat: StoreError: " in note
    assert not [code for code in codes if code in note]
