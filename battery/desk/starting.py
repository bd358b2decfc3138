"""A visit begun from the desk: a program of its own, which goes on when the desk ends."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any


def program() -> list[str]:
    """Return how this program starts itself: installed in a folder, or by Python."""
    if getattr(sys, "frozen", False):
        return [sys.executable]
    return [sys.executable, "-m", "battery.cli"]


class Visiting:
    """The visit that was begun last from this desk.

    Attributes
    ----------
    code : str
        Whose; empty before the first.
    """

    def __init__(self) -> None:
        self.code = ""
        self._process: subprocess.Popen[bytes] | None = None
        self._said: Path | None = None

    @property
    def running(self) -> bool:
        """Whether its window is still open."""
        return self._process is not None and self._process.poll() is None

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
            self._process = subprocess.Popen(
                [*program(), "visit", code, *arguments],
                stdin=subprocess.DEVNULL, stdout=file, stderr=subprocess.STDOUT, **_apart(),
            )  # fmt: skip
        self.code = code

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
