"""Whether a store was changed since somebody last looked, by whatever program."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

from sqlalchemy import Engine, create_engine, text
from sqlalchemy.exc import SQLAlchemyError

from battery.store.opening import FILE_NAME, SERVER_SCHEMES, home_folder

# Transactions that can be seen: those ended before, and which of the later ones still run.
_SNAPSHOT = text("SELECT pg_current_snapshot()::text")


class Changes:
    """Gives a sign of a store that is another one after every change.

    Parameters
    ----------
    home : path, database address or None
        As `Store.open` takes it.

    Notes
    -----
    SQLite counts, for a connection that stays open, what all others wrote (PRAGMA data_version
    in its documentation); a file that was put in place of the earlier one is told by its
    number. PostgreSQL says which transactions can be seen (pg_current_snapshot); it may
    give another sign without a change, never the same one after a change.
    """

    def __init__(self, home: Path | str | None) -> None:
        self._home = home_folder(home)
        self._lock = threading.Lock()
        self._file: sqlite3.Connection | None = None
        self._engine: Engine | None = None
        self._which = (0, 0, 0)  # the file, and how often it was opened here

    def sign(self) -> tuple[object, ...] | None:
        """Return the sign of what is stored now; None where it cannot be told.

        Ask before reading: what is read then is at least as new as its sign.
        """
        with self._lock:
            try:
                return self._of_server() if isinstance(self._home, str) else self._of_file()
            except (OSError, sqlite3.Error, SQLAlchemyError):
                self._let_go()
                return None

    @property
    def which(self) -> object:
        """Tell the file of the latest sign from one that was put in its place."""
        return self._which[:2]

    def close(self) -> None:
        """Let go of the store."""
        with self._lock:
            self._let_go()

    def _of_file(self) -> tuple[object, ...]:
        path = Path(self._home) / FILE_NAME
        found = path.stat()
        if self._file is None or (found.st_dev, found.st_ino) != self._which[:2]:
            self._let_go()
            self._file = sqlite3.connect(
                f"{path.resolve().as_uri()}?mode=ro", uri=True, check_same_thread=False
            )
            self._which = (found.st_dev, found.st_ino, self._which[2] + 1)
        return (*self._which, self._file.execute("PRAGMA data_version").fetchone()[0])

    def _of_server(self) -> tuple[object, ...]:
        if self._engine is None:
            address = SERVER_SCHEMES[1] + str(self._home).split("://", 1)[1]
            self._engine = create_engine(address)
        with self._engine.connect() as connection:
            return (connection.execute(_SNAPSHOT).scalar_one(),)

    def _let_go(self) -> None:
        if self._file is not None:
            self._file.close()
        if self._engine is not None:
            self._engine.dispose()
        self._file = self._engine = None
