"""From the command to an open desk, and its clean end."""

from __future__ import annotations

import contextlib
import html
import logging
import os
import signal
import socket
import webbrowser
from collections.abc import Callable, Iterator
from pathlib import Path

import platformdirs
import uvicorn
from filelock import FileLock, Timeout
from starlette.types import ASGIApp

from battery.desk.guard import ADDRESS, ENTER, Guard, Secrets
from battery.errors import DeskError

LOCK_NAME = "desk.lock"
DOOR_NAME = "desk.html"
GRACE_S = 3  # for pages that still listen when the desk ends
DOOR = """<!doctype html>
<html lang="en"><meta charset="utf-8"><title>Desk of the coordination battery</title>
<meta name="referrer" content="no-referrer">
<meta http-equiv="refresh" content="0; url={address}">
<p><a href="{address}">Open the desk</a></p></html>
"""


class _Server(uvicorn.Server):
    """Ends cleanly on a signal, where the library would raise it again and leave at once."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Take the signals that end a program for as long as the desk is open."""
        before = {
            number: signal.signal(number, self.handle_exit)
            for number in (signal.SIGINT, signal.SIGTERM)
        }
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)


class Desk:
    """The server of one desk.

    Parameters
    ----------
    make : callable
        Gets the secrets and a callable that ends the desk; returns the application.
    folder : Path or None
        Of the store; None for a database server, where the user's own folder is used.
    """

    def __init__(
        self,
        make: Callable[[Secrets, Callable[[], None]], ASGIApp],
        folder: Path | None,
    ) -> None:
        self.known = Secrets()
        # It says each odd byte of a form, and who reads nothing of it would stop the desk.
        logging.getLogger("python_multipart").setLevel(logging.CRITICAL)
        self._folder = folder or platformdirs.user_data_path(
            "coordination-battery", appauthor=False
        )
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        self._socket.bind((ADDRESS, 0))
        self.port: int = self._socket.getsockname()[1]
        guarded = Guard(make(self.known, self.end), port=self.port, known=self.known)
        self._server = _Server(
            uvicorn.Config(
                guarded,
                log_level="critical",
                access_log=False,
                server_header=False,
                timeout_graceful_shutdown=GRACE_S,
                lifespan="off",
            )
        )

    @property
    def address(self) -> str:
        """The address by which a browser comes in; a secret."""
        return f"http://{ADDRESS}:{self.port}{ENTER}?secret={self.known.entry}"

    @property
    def door(self) -> Path:
        """The file that leads a browser in; only its owner may read it."""
        return self._folder / DOOR_NAME

    def end(self) -> None:
        """End the desk when what it is doing is done."""
        self._server.should_exit = True

    def run(self, *, open_browser: bool, told: Callable[[str], None]) -> None:
        """Serve until the desk is ended.

        Parameters
        ----------
        open_browser : bool
            Whether the default browser is opened on it.
        told : callable
            Gets a line for the terminal.

        Raises
        ------
        DeskError
            If another desk is open on this store, or its folder cannot be written.
        """
        with self._alone(), self._door_open():
            told(f"The desk is open. If no browser comes up, open '{self.door}' in one.")
            if open_browser:
                webbrowser.open(self.door.as_uri())
            self._server.run(sockets=[self._socket])

    @contextlib.contextmanager
    def _alone(self) -> Iterator[None]:
        lock = FileLock(self._folder / LOCK_NAME)
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            lock.acquire(timeout=0)
        except Timeout as error:
            msg = (
                f"a desk is open on '{self._folder}' already; open '{self.door}' in a browser, "
                "or end that desk first. Nothing was changed"
            )
            raise DeskError(msg) from error
        except OSError as error:
            msg = f"the desk cannot use '{self._folder}': {error.strerror or error}"
            raise DeskError(msg) from error
        try:
            yield
        finally:
            lock.release()

    @contextlib.contextmanager
    def _door_open(self) -> Iterator[None]:
        text = DOOR.format(address=html.escape(self.address))
        self.door.unlink(missing_ok=True)  # one left by a desk that was killed
        # Made for its owner alone from the first moment, so that nobody reads it in between.
        descriptor = os.open(self.door, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            file.write(text)
        try:
            yield
        finally:
            self.door.unlink(missing_ok=True)
