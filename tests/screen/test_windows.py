"""How the window behaves on a desktop: whole, sharp, and without a console behind it."""

import json
import os
import subprocess
import sys

import pytest

from battery.commands import launcher
from tests.screen.servers import (
    ROOT,
    Pointer,
    Published,
    environment,
    program,
    virtual_screen,
    window_manager,
)
from tests.sparing import only

HINTS = """
import ctypes, battery.stage, pygame
from battery.stage.screen.event_wait import find_library
pygame.display.init()
sdl = find_library()
sdl.SDL_GetHint.restype = ctypes.c_char_p
for name in (b"SDL_WINDOWS_DPI_AWARENESS", b"SDL_VIDEO_MINIMIZE_ON_FOCUS_LOSS"):
    print(sdl.SDL_GetHint(name).decode())
"""
WITHOUT_CONSOLE = """
import sys
sys.argv = ["battery-window", *sys.argv[1:]]
sys.stdout = sys.stderr = None
from battery.cli import main_without_console
main_without_console()
"""


def test_the_toolkit_itself_was_told_of_density_and_focus():
    """Hints as SDL 2's documentation names them, read back from the loaded library."""
    done = subprocess.run(
        [sys.executable, "-c", HINTS],
        cwd=ROOT, env=os.environ | {"SDL_VIDEODRIVER": "dummy"},
        capture_output=True, text=True, timeout=300, check=True,
    )  # fmt: skip
    assert done.stdout.split()[-2:] == ["permonitorv2", "0"]


@pytest.mark.needs("xvfb", "openbox")
@pytest.mark.parametrize(
    ("size_px", "wanted_px"),
    only(
        [((1280, 800), (1280, 800)), ((1366, 768), (1280, 768))],
        [((1366, 768), (1280, 768))],
    ),
)
def test_a_window_on_a_desktop_loses_nothing_over_the_edge(tmp_path, size_px, wanted_px):
    """A frame and a title around it would push its lower edge off the screen."""
    with (
        virtual_screen(*size_px) as display,
        window_manager(display),
        Pointer(display) as pointer,
        program(display, tmp_path, "tablet", "--windowed") as (_, published),
    ):
        published.wait(lambda s: s["page"] == "nobody")
        pointer.tell(f"place {tmp_path / 'place'}")
        left, top, wide, tall, *whole = json.loads((tmp_path / "place").read_text())
    assert (wide, tall) == wanted_px
    assert 0 <= left <= left + wide <= whole[0]
    assert 0 <= top <= top + tall <= whole[1]


@pytest.mark.needs("xvfb")
def test_it_starts_without_a_console_and_keeps_its_lines(tmp_path):
    published = tmp_path / "published.json"
    with virtual_screen() as display:
        process = subprocess.Popen(
            [sys.executable, "-c", WITHOUT_CONSOLE, "tablet"], cwd=ROOT,
            env=environment(display, tmp_path)
            | {"BATTERY_PUBLISH": str(published), "XDG_STATE_HOME": str(tmp_path / "state")},
        )  # fmt: skip
        try:
            Published(published, process).wait(lambda s: s["page"] == "nobody")
            process.terminate()
            assert process.wait(180) == 0
        finally:
            if process.poll() is None:
                process.kill()
                process.wait()
    assert list(tmp_path.glob("state/**/" + launcher.LINES_FILE))


def test_what_goes_wrong_without_a_console_is_shown(tmp_path, monkeypatch, capsys):
    import pygame

    from battery import cli

    shown = []
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    monkeypatch.setattr(pygame.display, "message_box", lambda *words, **_: shown.append(words))
    monkeypatch.setattr(
        sys, "argv", ["battery-window", "visit", "NONE", "--home", str(tmp_path)]
    )
    with pytest.raises(SystemExit) as ended:
        cli.main_without_console()
    assert ended.value.code == 2  # nobody has that code
    ((title, line),) = shown
    assert title == "Coordination battery"
    assert line in capsys.readouterr().err
