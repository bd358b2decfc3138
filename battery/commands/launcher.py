"""What `battery` opens without a command: the desk, or the tablet's start page."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from typing import Literal

import platformdirs

from battery.commands.common import open_store
from battery.errors import BatteryError

AUTHORS = "desk_authors"  # the setting with those who sit at the desk
LINES_FILE = "battery.log"
Door = Literal["tablet", "desk"]


def has_screen() -> bool:
    """Whether this program could show a window."""
    if not sys.platform.startswith("linux"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def door_of_this_machine(home: str | None = None) -> Door:
    """Say which door opens: as the machine was set up, else as its store looks.

    A tablet if people are enrolled and nobody has ever sat at the desk. Where there is no
    store yet, or none that can be read, it is the desk, which says what is wrong.
    """
    try:
        with open_store(home, write=False) as store:
            machine = store.setup.setting("machine", "")
            if machine:
                return "tablet" if machine == "tablet" else "desk"
            patients_only = bool(store.people.all()) and not store.setup.setting(AUTHORS, {})
    except BatteryError:
        return "desk"
    return "tablet" if patients_only else "desk"


def launched(arguments: list[str]) -> list[str]:
    """Return the command line to run: what was typed, or the door where nothing was."""
    if arguments or not has_screen():
        return arguments
    return [door_of_this_machine()]


@contextmanager
def lines_kept() -> Iterator[None]:
    """Keep what is printed in a file while there is no console, as under pythonw on Windows."""
    if sys.stdout is not None and sys.stderr is not None:
        yield
        return
    folder = platformdirs.user_log_path("coordination-battery", appauthor=False)
    folder.mkdir(parents=True, exist_ok=True)
    with (
        (folder / LINES_FILE).open("a", encoding="utf-8", buffering=1) as lines,
        redirect_stdout(lines),
        redirect_stderr(lines),
    ):
        yield
