"""X servers of our own for the tests, and hands that act on them from outside."""

from __future__ import annotations

import contextlib
import json
import os
import select
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from tests.asking import ask

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
POLL_S = 0.015  # a look at what is published costs as much as a frame
START_S = 180.0


@contextlib.contextmanager
def _server(command: Sequence[str], log: Path | None = None) -> Iterator[str]:
    """Run an X server on a free display number and give its name."""
    read_fd, write_fd = os.pipe()
    server = subprocess.Popen(
        [*command, "-displayfd", str(write_fd), "-nolisten", "tcp", "-noreset"],
        pass_fds=[write_fd], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    os.close(write_fd)
    try:
        yield f":{_read_line(read_fd, log)}"
    finally:
        os.close(read_fd)
        server.terminate()  # it removes its lock and its socket
        try:
            server.wait(10)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()


def _read_line(descriptor: int, log: Path | None) -> str:
    text = b""
    until_s = time.monotonic() + START_S
    while not text.endswith(b"\n"):
        left_s = until_s - time.monotonic()
        assert left_s > 0, "the X server did not start in time"
        if select.select([descriptor], [], [], left_s)[0]:
            part = os.read(descriptor, 64)
            said = log.read_text()[-1500:] if log is not None and log.exists() else ""
            assert part, f"the X server did not start\n{said}"
            text += part
    return text.decode().strip()


@contextlib.contextmanager
def virtual_screen(width_px: int = 1280, height_px: int = 800) -> Iterator[str]:
    """A screen in memory, with a pointer and a keyboard."""
    program = shutil.which("Xvfb")
    assert program, "Xvfb is missing; run python -m tests"
    with _server([program, "-screen", "0", f"{width_px}x{height_px}x24"]) as display:
        yield display


@contextlib.contextmanager
def touch_screen(*sizes_px: tuple[int, int]) -> Iterator[tuple[str, Path]]:
    """A screen in memory with a touch panel; gives its name and the panel's socket.

    Its first size is the one it begins with; it may be given the others.
    """
    sizes_px = sizes_px or ((1280, 800),)
    found = [Path("/usr/lib/xorg/Xorg"), Path(shutil.which("Xorg") or "Xorg")]
    program = next((path for path in found if path.exists()), None)
    assert program, "Xorg is missing; run python -m tests"
    template = (HERE / "xorg.conf.template").read_text()
    # The path of a socket must be short, so not below a test's own folder.
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        configuration, log = folder / "xorg.conf", folder / "xorg.log"
        modes = " ".join(f'"{wide}x{high}"' for wide, high in sizes_px)
        whole = " ".join(str(max(sides)) for sides in zip(*sizes_px, strict=True))
        for blank, filled in (("FOLDER", name), ("MODES", modes), ("VIRTUAL", whole)):
            template = template.replace(f"@{blank}@", filled)
        configuration.write_text(template)
        command = [str(program), "-config", str(configuration), "-logfile", str(log)]
        with _server(command, log) as display:
            yield display, folder / "panel"


@contextlib.contextmanager
def window_manager(display: str) -> Iterator[None]:
    """Frames, focus and full screens on a display, as on a desktop."""
    program = shutil.which("openbox")
    assert program, "openbox is missing; run python -m tests"
    manager = subprocess.Popen(
        [program], env={**os.environ, "DISPLAY": display},
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        yield
    finally:
        manager.kill()
        manager.wait()


class Hand:
    """A process that acts on a display and is told what to do, a command at a time."""

    def __init__(self, script: str, *arguments: str, display: str = "") -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(HERE / script), *arguments],
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

    def close(self) -> None:
        self._process.kill()
        self._process.communicate()

    def __enter__(self):
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Pointer(Hand):
    """The mouse pointer of a display."""

    def __init__(self, display: str) -> None:
        super().__init__("xpointer.py", display=display)

    def move(self, x_px: float, y_px: float) -> None:
        self.tell(f"move {round(x_px)} {round(y_px)}")

    def down(self) -> None:
        self.tell("down")

    def up(self) -> None:
        self.tell("up")


class Finger(Hand):
    """A finger on a touch panel; in the air it moves unseen."""

    def __init__(self, panel: Path, size_px: tuple[int, int] = (1280, 800)) -> None:
        super().__init__("xpanel.py", str(panel), *map(str, size_px))
        self._place = (0, 0)
        self._number = 0
        self._pressed = False

    def move(self, x_px: float, y_px: float) -> None:
        self._place = (round(x_px), round(y_px))
        if self._pressed:
            self._tell("move")

    def down(self) -> None:
        self._number += 1
        self._pressed = True
        self._tell("down")

    def up(self) -> None:
        self._tell("up")
        self._pressed = False

    def _tell(self, word: str) -> None:
        self.tell(f"{word} {self._number} {self._place[0]} {self._place[1]}")


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

    def alive(self) -> None:
        """Fail if the program has ended."""
        assert self._process.poll() is None, "the program ended"

    def moved_on(self, number: int, limit_s: float, *, ended: bool) -> bool:
        """Wait for a state after this one, or for the end; False when neither came."""
        until_s = time.monotonic() + limit_s
        while time.monotonic() < until_s:
            if self._process.poll() is not None:
                if not ended:
                    errors = self._process.stderr
                    said = errors.read() if errors is not None else ""
                    why = f"the program ended: {said}; last page {self.now()}"
                    raise AssertionError(why)
                return True
            if not ended and self.now()["number"] != number:
                return True
            select.select([], [], [], POLL_S)
        return False

    def wait(self, ready, limit_s: float = 180.0) -> dict:
        """Wait for another process to show a state; a look every few milliseconds."""
        until_s = time.monotonic() + limit_s
        while True:
            state = self.now()
            if ready(state):
                return state
            assert self._process.poll() is None, f"the program ended; last page {state}"
            assert time.monotonic() < until_s, f"not shown in time; last page {state}"
            select.select([], [], [], POLL_S)


@contextlib.contextmanager
def program(
    display: str,
    folder: Path,
    *arguments: str,
    extra: dict[str, str] | None = None,
    before: Sequence[str] = (),
) -> Iterator[tuple[subprocess.Popen, Published]]:
    """Run the program on a display with its own home; killed at the end if it still runs.

    Parameters
    ----------
    before : sequence of str
        Command that runs it in other surroundings.
    """
    published = folder / "published.json"
    published.unlink(missing_ok=True)
    process = subprocess.Popen(
        [*before, sys.executable, "-m", "battery.cli", *arguments], cwd=ROOT,
        env=environment(display, folder) | {"BATTERY_PUBLISH": str(published)} | (extra or {}),
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        yield process, Published(published, process)
    finally:
        if process.poll() is None:
            process.kill()
        process.communicate()


def command(
    folder: Path, *arguments: str, display: str = "", extra: dict[str, str] | None = None
) -> subprocess.CompletedProcess:
    """Run a command of the program to its end."""
    return subprocess.run(
        [sys.executable, "-m", "battery.cli", *arguments], cwd=ROOT,
        env=environment(display, folder) | (extra or {}), capture_output=True, text=True,
        timeout=300, check=False,
    )  # fmt: skip


def environment(display: str, folder: Path) -> dict[str, str]:
    """A program's surroundings: a display, or none, and a home of its own."""
    kept = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
    shown = {"DISPLAY": display} if display else {}
    return kept | shown | {"BATTERY_HOME": str(folder / "home"), "SDL_AUDIODRIVER": "dummy"}


def prepare(folder: Path, *arguments: str) -> str:
    """Do a command that shows nothing, in this process, and return what it says."""
    home = folder / "home"
    done = ask(*arguments, home=home, folder=ROOT)
    assert done.returncode == 0, done.stderr
    return done.stdout


def enrol(folder: Path) -> str:
    """Enrol a person and return the code."""
    return prepare(folder, "enrol", "--affected-side", "left").split()[0]
