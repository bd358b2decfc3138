"""X servers of our own for the tests, and pointers that act on them from outside."""

from __future__ import annotations

import contextlib
import json
import os
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

HERE = Path(__file__).parent
POLL_S = 0.004


@contextlib.contextmanager
def virtual_screen(width_px: int = 1280, height_px: int = 800) -> Iterator[str]:
    """Run Xvfb on a free display number and give its name."""
    program = shutil.which("Xvfb")
    assert program, "Xvfb is missing; see README for the system parts the tests need"
    read_fd, write_fd = os.pipe()
    server = subprocess.Popen(
        [program, "-displayfd", str(write_fd), "-screen", "0", f"{width_px}x{height_px}x24",
         "-nolisten", "tcp", "-noreset"],
        pass_fds=[write_fd], stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(write_fd)
    try:
        yield f":{_read_line(read_fd, 20)}"
    finally:
        os.close(read_fd)
        server.kill()
        server.wait()


def _read_line(descriptor: int, limit_s: float) -> str:
    text = b""
    until_s = time.monotonic() + limit_s
    while not text.endswith(b"\n"):
        left_s = until_s - time.monotonic()
        assert left_s > 0, "the X server did not start"
        if select.select([descriptor], [], [], left_s)[0]:
            part = os.read(descriptor, 64)
            assert part, "the X server went away"
            text += part
    return text.decode().strip()


class Pointer:
    """The pointer of a display, moved by another process."""

    def __init__(self, display: str) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(HERE / "xpointer.py")],
            env={**os.environ, "DISPLAY": display},
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1,
        )  # fmt: skip
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == "ready\n"

    def tell(self, command: str) -> int:
        """Do one command and return when it was sent, ns."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(command + "\n")
        return int(self._process.stdout.readline())

    def move(self, x_px: float, y_px: float) -> None:
        self.tell(f"move {round(x_px)} {round(y_px)}")

    def click(self, x_px: float, y_px: float) -> None:
        self.move(x_px, y_px)
        self.tell("down")
        self.tell("up")

    def close(self) -> None:
        self._process.kill()
        self._process.communicate()


class Published:
    """What the program under test shows, read from the file it publishes."""

    def __init__(self, path: Path, process: subprocess.Popen) -> None:
        self._path = path
        self._process = process

    def now(self) -> dict:
        """Return the last state; an empty one before there is any."""
        try:
            return json.loads(self._path.read_text())
        except FileNotFoundError:
            return {"number": 0, "page": "", "running": False, "buttons": [], "discs": []}

    def wait(self, ready, limit_s: float = 20.0) -> dict:
        """Wait for another process to show a state; a look every few milliseconds."""
        until_s = time.monotonic() + limit_s
        while True:
            state = self.now()
            if ready(state):
                return state
            gone = self._process.poll() is not None
            late = time.monotonic() > until_s
            assert not gone, f"the program ended; last page {state}"
            assert not late, f"not shown in time; last page {state}"
            select.select([], [], [], POLL_S)


@contextlib.contextmanager
def program(
    display: str, folder: Path, *arguments: str, extra: dict[str, str] | None = None
) -> Iterator[tuple[subprocess.Popen, Published]]:
    """Run the program on a display with its own home; killed at the end if it still runs."""
    published = folder / "published.json"
    published.unlink(missing_ok=True)
    environment = {
        **os.environ,
        "DISPLAY": display,
        "BATTERY_HOME": str(folder / "home"),
        "BATTERY_PUBLISH": str(published),
        "SDL_AUDIODRIVER": "dummy",
        **(extra or {}),
    }
    process = subprocess.Popen(
        [sys.executable, "-m", "battery.cli", *arguments],
        env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        yield process, Published(published, process)
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()
