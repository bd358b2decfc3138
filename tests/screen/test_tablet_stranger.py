"""The tablet's start page by the real command, with the pointer of another process."""

import pytest

from tests.screen.servers import Pointer, enrol, program, virtual_screen
from tests.screen.stranger import Stranger, pause

pytestmark = pytest.mark.needs("xvfb")
CORNER_PX, BETWEEN_S = 6, 0.45


@pytest.mark.timeout(120)
def test_a_stranger_opens_a_person_and_leaves_as_staff(tmp_path):
    codes = [enrol(tmp_path), enrol(tmp_path)]
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
        assert "visit" in [button["key"] for button in state["buttons"]]
        stranger.press("back")
        published.wait(lambda s: s["page"] == "people", 60)
        pause(BETWEEN_S)
        for x_px in (CORNER_PX, 1280 - CORNER_PX, CORNER_PX):
            stranger.tap(x_px, 800 - CORNER_PX)
            pause(BETWEEN_S)
        published.wait(lambda s: s["page"] == "staff", 60)
        stranger.press("leave")
        published.wait(lambda s: s["page"] == "staff menu", 60)
        stranger.press("leave", last=True)
        _, err = process.communicate(timeout=30)
    assert (process.returncode, err) == (0, "")
