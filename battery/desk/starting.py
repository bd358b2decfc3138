"""A visit begun from the desk: a program of its own, which goes on when the desk ends."""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import platformdirs
import psutil

from battery.files import replace_whole
from battery.store.opening import home_folder

FILE = "desk-visit.json"


def program() -> list[str]:
    """Return how this program starts itself: installed in a folder, or by Python."""
    if getattr(sys, "frozen", False):
        return [sys.executable]
    return [sys.executable, "-m", "battery.cli"]


class Visiting:
    """The visit that was begun last from a desk of this machine, this one or one before it.

    Parameters
    ----------
    home : path, str or None
        Where the store is; which visit runs is noted beside it, so that the next desk knows of
        it if this one is killed.

    Attributes
    ----------
    code : str
        Whose; empty before the first.
    """

    def __init__(self, home: Path | str | None) -> None:
        place = home_folder(home)
        if not isinstance(place, Path):
            place = platformdirs.user_data_path("coordination-battery", appauthor=False)
        self._note = place / FILE
        self.code = ""
        self._said: Path | None = None
        self._own: subprocess.Popen[bytes] | None = None
        self._process: psutil.Process | None = None
        with suppress(OSError, ValueError, LookupError, TypeError):  # none, or no such note
            self._take_up(json.loads(self._note.read_text(encoding="utf-8")))

    def _take_up(self, told: dict[str, Any]) -> None:
        """Take up the visit that an earlier desk began."""
        code, said = str(told["code"]), Path(told["said"])
        with suppress(psutil.Error):
            process = psutil.Process(int(told["process"]))
            # A number is given to another program in time; the moment of its start is not.
            if process.create_time() == float(told["began"]):
                self._process = process
        if said.is_file():
            self.code, self._said = code, said

    @property
    def running(self) -> bool:
        """Whether its window is still open."""
        if self._own is not None:
            return self._own.poll() is None
        if self._process is None:
            return False
        try:
            gone = not self._process.is_running()
            return not gone and self._process.status() != psutil.STATUS_ZOMBIE
        except psutil.Error:
            return False

    def begin(self, code: str, arguments: Sequence[str]) -> None:
        """Open the window of a visit.

        Parameters
        ----------
        code : str
        arguments : sequence of str
            What is said to ``battery visit`` after the code.
        """
        folder = Path(tempfile.mkdtemp(prefix="battery-visit-"))
        self._said = folder / "said.txt"
        with self._said.open("wb") as file:
            self._own = subprocess.Popen(
                [*program(), "visit", code, *arguments],
                stdin=subprocess.DEVNULL, stdout=file, stderr=subprocess.STDOUT, **_apart(),
            )  # fmt: skip
        self.code = code
        with suppress(OSError, psutil.Error):  # the visit runs, noted or not
            note = {
                "code": code,
                "said": str(self._said),
                "process": self._own.pid,
                "began": psutil.Process(self._own.pid).create_time(),
            }
            replace_whole(self._note, json.dumps(note).encode())

    def outcome(self) -> str:
        """Return what the visit said at its end; empty while it runs or before the first."""
        if self._said is None or self.running:
            return ""
        return self._said.read_text(encoding="utf-8", errors="replace").strip()


def _apart() -> dict[str, Any]:
    """Return what keeps a program running when the one that began it ends."""
    if sys.platform == "win32":
        return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    return {"start_new_session": True}
