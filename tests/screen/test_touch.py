"""Real touches, from a touch device through the X server to the stored record."""

import subprocess
import sys
import tempfile
from pathlib import Path

from battery.store import Store
from tests.screen.servers import program
from tests.screen.stranger import Stranger, pause
from tests.screen.xtouch import BEGIN, END, UPDATE, Fingers, touch_screen

PLAN = """
name = "two-taps"
hands = "right"
rest_s = 0
[[tasks]]
task = "tapping"
options = { duration_s = 4.0 }
practice = { duration_s = 4.0 }
"""


class Touch:
    """Speaks to the fingers as the stranger speaks to a pointer."""

    def __init__(self, fingers) -> None:
        self._fingers = fingers
        self._place = (640.0, 400.0)
        self._down = False

    def move(self, x_px, y_px) -> None:
        self._place = (x_px, y_px)
        if self._down:
            self._fingers.send(0, UPDATE, x_px, y_px)

    def tell(self, command) -> None:
        self._down = command == "down"
        self._fingers.send(0, BEGIN if self._down else END, *self._place)

    def click(self, x_px, y_px) -> None:
        self.move(x_px, y_px)
        self.tell("down")
        pause(0.03)
        self.tell("up")


def test_fingers_do_a_block_and_are_counted_once(tmp_path):
    """Two fingers at once: the first is followed, the second is recorded as another pointer."""
    home = tmp_path / "home"
    done = subprocess.run(
        [sys.executable, "-m", "battery.cli", "enrol", "--home", str(home)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    code = done.stdout.splitlines()[0]
    (tmp_path / "plan.toml").write_text(PLAN)
    sent = 0
    # The path of a UNIX socket must be short.
    with tempfile.TemporaryDirectory() as short, touch_screen(Path(short)) as (display, path):
        arguments = ("visit", code, "--plan", str(tmp_path / "plan.toml"), "--windowed")
        with program(display, tmp_path, *arguments) as (process, published):
            published.wait(lambda s: s["page"])
            fingers = Fingers(path)
            stranger = Stranger(Touch(fingers), published)
            while not published.now()["running"]:
                stranger.press("go")
            state = published.wait(lambda s: stranger.disc(s, "home"))
            home_disc = stranger.disc(state, "home")
            x, y = home_disc["x_px"], home_disc["y_px"]
            fingers.send(0, BEGIN, x, y)
            fingers.send(1, BEGIN, x + 200, y - 100)
            for step in range(50):
                fingers.send(0, UPDATE, x + step % 3, y)
                fingers.send(1, UPDATE, x + 200 + step % 5, y - 100)
                sent += 1
                pause(0.008)
            fingers.send(1, END, x + 200, y - 100)
            fingers.send(0, END, x, y)
            published.wait(lambda s: not s["running"], 30)
            process.kill()
        fingers.close()
    with Store.open(home, write=False) as store:
        (visit,) = store.visits(code)
        record = store.blocks(visit.header.visit_id)[0]
        block = store.load_block(record.header.block_id)
    samples = block.samples
    assert record.input_type == "touch"
    assert set(samples["pointer"].tolist()) == {1, 2}
    for finger in (1, 2):
        kinds = samples["kind"][samples["pointer"] == finger].tolist()
        assert kinds.count(1) == 1
        assert kinds.count(3) == 1
        assert kinds.count(0) == 0
        # The server may merge reports at one place; doubles would be more than were sent.
        assert sent / 2 < kinds.count(2) <= sent
    kinds = [event["kind"] for event in block.events]
    assert kinds.count("hold") == 1
    assert kinds.count("extra") == 1
