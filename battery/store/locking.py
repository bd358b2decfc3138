"""One program at a time records into a store."""

from __future__ import annotations

import contextlib
from pathlib import Path

from filelock import FileLock, Timeout
from sqlalchemy import Connection, text
from sqlalchemy.exc import SQLAlchemyError

from battery.errors import StoreError
from battery.files import FILE_MODE, OPEN_MODE, is_private
from battery.store.opening import Opened, describe

FILE_NAME = "recording.lock"
SERVER_KEY = 0x_C00D_0002


class RecordingLock:
    """Held by the program that records; freed by the system when that program dies.

    It may be taken several times by its holder and is free after as many releases.
    """

    def __init__(self, opened: Opened) -> None:
        self._opened = opened
        self._count = 0
        self._file: FileLock | None = None
        self._connection: Connection | None = None

    @property
    def held(self) -> bool:
        """Whether this program holds it."""
        return self._count > 0

    def take(self) -> None:
        """Take the lock without waiting.

        Raises
        ------
        StoreError
            If another program holds it, or the folder cannot be written.
        """
        if self._count == 0:
            if self._opened.folder is None:
                self._take_on_server()
            else:
                self._take_file(self._opened.folder)
        self._count += 1

    def release(self) -> None:
        """Undo one `take`."""
        if self._count == 0:
            return
        self._count -= 1
        if self._count > 0:
            return
        if self._file is not None:
            self._file.release()
            self._file = None
        if self._connection is not None:
            connection, self._connection = self._connection, None
            # A server ends a closed session when it comes to it; the lock must be free at once.
            with contextlib.suppress(SQLAlchemyError):
                connection.execute(text("SELECT pg_advisory_unlock(:key)"), {"key": SERVER_KEY})
            connection.close()

    def release_all(self) -> None:
        """Let go, however often it was taken."""
        self._count = min(self._count, 1)
        self.release()

    def _take_file(self, folder: Path) -> None:
        lock = FileLock(folder / FILE_NAME, mode=FILE_MODE if is_private() else OPEN_MODE)
        try:
            lock.acquire(timeout=0)
        except Timeout as error:
            raise _busy(repr(str(folder))) from error
        except OSError as error:
            msg = f"cannot record into '{folder}': {error.strerror or error}"
            raise StoreError(msg) from error
        self._file = lock

    def _take_on_server(self) -> None:
        question = text("SELECT pg_try_advisory_lock(:key)")
        try:
            engine = self._opened.engine.execution_options(isolation_level="AUTOCOMMIT")
            connection = engine.connect()
            connection.detach()  # closing it then ends the session, and the lock with it
            if not connection.execute(question, {"key": SERVER_KEY}).scalar():
                connection.close()
                raise _busy(self._opened.name)
        except SQLAlchemyError as error:
            raise describe(error, self._opened.name) from error
        self._connection = connection


def _busy(where: str) -> StoreError:
    return StoreError(
        f"another program is recording into {where}; end that visit first. Nothing was changed."
    )
