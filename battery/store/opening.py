"""Finding and opening the database, with every way it can go wrong in one line."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache, partial
from pathlib import Path
from typing import Any

import platformdirs
from sqlalchemy import Connection, Dialect, Engine, QueuePool, create_engine, event, make_url
from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from battery.errors import StoreError
from battery.files import make_folder, make_own
from battery.store.migrations import STEPS, migrate, version_of

FILE_NAME = "battery.sqlite"
WAL_NAME = FILE_NAME + "-wal"
BUSY_S = 30.0  # a slow disk may take seconds to be sure of what another thread writes
RETRY_S = 0.02
SERVER_SCHEMES = ("postgresql://", "postgresql+psycopg://")


# A text that was damaged comes as one that can be told apart, and not as an error of its list.
_text = partial(str, encoding="utf-8", errors="surrogateescape")


@dataclass(frozen=True, slots=True)
class Opened:
    """An open database.

    Parameters
    ----------
    engine : Engine
    name : str
        What messages call it.
    write : bool
        Whether it may be written to.
    folder : Path or None
        Where a file lies; None for a server.
    copy : TemporaryDirectory or None
        Holds the copy that is read where the file itself cannot be.
    moments : list of Connection
        In which all parts read while the store is read as of one moment.
    trials : list of Connection
        On which all parts write while something is only tried.
    unread : dict of str to str
        Rows that were met and could not be read, each with why.
    """

    engine: Engine
    name: str
    write: bool
    folder: Path | None = None
    copy: tempfile.TemporaryDirectory[str] | None = None
    moments: list[Connection] = field(default_factory=list)
    trials: list[Connection] = field(default_factory=list)
    unread: dict[str, str] = field(default_factory=dict)

    def close(self) -> None:
        """Let go of the database and of the copy, if there is one."""
        self.engine.dispose()
        if self.copy is not None:
            self.copy.cleanup()


def home_folder(given: Path | str | None) -> Path | str:
    """Return where the store is: given, else BATTERY_HOME, else the user's data folder."""
    where = given if given is not None else os.environ.get("BATTERY_HOME") or None
    if where is None:
        return platformdirs.user_data_path("coordination-battery", appauthor=False)
    return where if isinstance(where, str) and "://" in where else Path(where)


def open_database(where: Path | str | None, *, write: bool) -> Opened:
    """Open the store; to write, create it where there is none and bring it up to date.

    Parameters
    ----------
    where : path, database address or None
        A folder for a SQLite file, or an address such as ``postgresql+psycopg://...``.
    write : bool
        Whether the caller means to write. Reading never creates or migrates the store, and
        needs no right to write into its folder.

    Raises
    ------
    StoreError
        If it is not there, cannot be read or written, is no store, or is newer.
    """
    home = home_folder(where)
    if isinstance(home, str):
        return _open_server(home, write=write)
    path = home / FILE_NAME
    name = f"'{path}'"
    if not write:
        return _open_to_read(path, name)
    _check_writable(path)
    if path.exists():
        # Asked first, since setting a file up for writing would already change it.
        reader = _reading_engine(path, "mode=rw")
        with _refusing(reader, name), reader.connect() as connection:
            version_of(connection, name)
        reader.dispose()
    try:
        make_own(path)
    except OSError as error:
        msg = f"cannot write to '{path}': {error.strerror or error}. Nothing was changed"
        raise StoreError(msg) from error
    engine = _file_engine(path)
    with _refusing(engine, name):
        migrate(engine, name)
    return Opened(engine, name, True, home)


def _check_writable(path: Path) -> None:
    """Refuse a folder or file that cannot be written, with the system's reason."""
    where = path.parent
    try:
        make_folder(where)
        with tempfile.TemporaryFile(dir=where) as probe:
            probe.write(b"x")
        # Asked, not tried: closing a file that this program holds open elsewhere, as the desk
        # does, would give up its locks (SQLite, "How To Corrupt", 2.2), and the next program to
        # leave would take the log away under it.
        if path.exists() and not os.access(path, os.W_OK):
            where = path
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    except OSError as error:
        msg = (
            f"cannot write to '{where}': {error.strerror or error}. Nothing was changed; make "
            "it writable or name another folder with --home"
        )
        raise StoreError(msg) from error


@cache
def _shared() -> tuple[Dialect, dict[Any, Any]]:
    """Return the dialect and the statements that it compiled, of all files of this process.

    A desk opens the store anew for every page; to compile its statements costs more than to
    run them.
    """
    engine = create_engine("sqlite://")
    engine.connect().close()  # the first connection tells the dialect what it talks to
    engine.dispose()
    return engine.dialect, {}


def _engine_of(connect: Callable[[], Any], begin: Callable[..., str]) -> Engine:
    dialect, compiled = _shared()
    engine = Engine(
        QueuePool(connect, dialect=dialect),
        dialect,
        make_url("sqlite://"),
        execution_options={"compiled_cache": compiled},
    )

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql(begin(connection))

    return engine


def _file_engine(path: Path) -> Engine:
    """Return an engine that writes durably and never gives up a lock half-way."""

    def connect() -> sqlite3.Connection:
        connection = _connect(str(path))
        connection.execute("PRAGMA foreign_keys=ON")
        _keep_log(connection)
        connection.execute("PRAGMA synchronous=FULL")
        return connection

    def begin(connection: Connection) -> str:
        reading = connection.get_execution_options().get("reading", False)
        return "BEGIN" if reading else "BEGIN IMMEDIATE"

    return _engine_of(connect, begin)


def _connect(address: str, *, uri: bool = False) -> sqlite3.Connection:
    connection = sqlite3.connect(
        address,
        uri=uri,
        timeout=BUSY_S,
        check_same_thread=False,
        isolation_level=None,  # transactions are begun by the engine, tables included
    )
    connection.text_factory = _text
    return connection


def _keep_log(connection: sqlite3.Connection) -> None:
    """Switch a new file to a write-ahead log; wait for others who are about to do the same.

    The database does not wait by itself for this one step.
    """
    deadline_s = time.monotonic() + BUSY_S
    while True:
        try:
            connection.execute("PRAGMA journal_mode=WAL")
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > deadline_s:
                raise
            time.sleep(RETRY_S)
        else:
            return


def _open_to_read(path: Path, name: str) -> Opened:
    if not path.is_file():
        msg = f"no store in '{path.parent}'; run 'battery enrol' or name another with --home"
        raise StoreError(msg)
    # Where there is the right to write, the last to leave takes the log's files away.
    engine = _reading_engine(path, "mode=rw")
    try:
        with engine.connect() as connection:
            version = version_of(connection, name)
    except StoreError:
        engine.dispose()
        raise
    except SQLAlchemyError as error:
        engine.dispose()
        if not _is_about_rights(error):
            raise describe(error, name) from error
        return _open_beside_rights(path, name)
    if version == len(STEPS):
        return Opened(engine, name, False, path.parent)
    engine.dispose()
    return _open_copy(path, name)


def _is_about_rights(error: SQLAlchemyError) -> bool:
    cause = str(error)
    told = ("unable to open database file", "readonly database", "disk I/O error", "is full")
    return any(words in cause for words in told)


def _open_beside_rights(path: Path, name: str) -> Opened:
    """Read where the write-ahead log's index cannot be made.

    With no log the file is whole and nobody writes, so it is read as an unchanging file; with
    one, file and log are copied.
    """
    wal = path.with_name(WAL_NAME)
    if wal.exists() and wal.stat().st_size > 0:
        return _open_copy(path, name)
    engine = _reading_engine(path, "mode=ro&immutable=1")
    with _refusing(engine, name), engine.connect() as connection:
        version = version_of(connection, name)
    if version == len(STEPS):
        return Opened(engine, name, False, path.parent)
    engine.dispose()
    return _open_copy(path, name)


def _reading_engine(path: Path, query: str) -> Engine:
    address = f"{path.resolve().as_uri()}?{query}"

    def connect() -> sqlite3.Connection:
        connection = _connect(address, uri=True)
        connection.execute("PRAGMA query_only=ON")
        connection.execute("PRAGMA temp_store=MEMORY")  # a full disk can still be read
        return connection

    return _engine_of(connect, lambda _connection: "BEGIN")


def _open_copy(path: Path, name: str) -> Opened:
    """Bring a copy up to date and read that; the store itself stays as it is."""
    folder = tempfile.TemporaryDirectory(prefix="battery-", ignore_cleanup_errors=True)
    target = Path(folder.name) / FILE_NAME
    try:
        shutil.copyfile(path, target)
        wal = path.with_name(WAL_NAME)
        if wal.exists():
            shutil.copyfile(wal, target.with_name(WAL_NAME))
    except OSError as error:
        folder.cleanup()
        msg = f"{name} cannot be read: {error.strerror or error}; it was not changed"
        raise StoreError(msg) from error
    engine = _file_engine(target)
    try:
        with _refusing(engine, name):
            migrate(engine, name)
    except StoreError:
        folder.cleanup()
        raise
    return Opened(engine, name, False, path.parent, folder)


def _open_server(address: str, *, write: bool) -> Opened:
    if not address.startswith(SERVER_SCHEMES):
        scheme = address.split("://")[0]
        msg = f"no store at a {scheme!r} address; use a folder, or {SERVER_SCHEMES[0]}..."
        raise StoreError(msg)
    name = "the store on the server"
    address = SERVER_SCHEMES[1] + address.split("://", 1)[1]
    try:
        engine = create_engine(address)
    except ModuleNotFoundError as error:
        msg = "PostgreSQL needs one more part: pip install 'coordination-battery[postgresql]'"
        raise StoreError(msg) from error
    except SQLAlchemyError as error:
        raise describe(error, name) from error
    with _refusing(engine, name):
        if write:
            migrate(engine, name)
        else:
            with engine.connect() as connection:
                version = version_of(connection, name)
                if version == 0:
                    msg = f"{name} is empty; run 'battery enrol' with the same --home first"
                    raise StoreError(msg)
                if version < len(STEPS):
                    msg = f"{name} is of an earlier version; run any command that writes first"
                    raise StoreError(msg)
    return Opened(engine, name, write)


@contextmanager
def _refusing(engine: Engine, name: str) -> Iterator[None]:
    """Let go of the engine when the store cannot be used, and say why in one line."""
    try:
        yield
    except SQLAlchemyError as error:
        engine.dispose()
        raise describe(error, name) from error
    except StoreError:
        engine.dispose()
        raise


def describe(error: SQLAlchemyError, name: str) -> StoreError:
    """Turn a database error into one line with the way out."""
    cause = cause_of(error)
    if "not a database" in cause or "malformed" in cause:
        way_out = "it was not changed; restore a copy, or name another folder with --home"
    elif "readonly" in cause or "read-only" in cause:
        way_out = "nothing was changed; make it writable or name another folder with --home"
    elif is_full(error):
        way_out = "this was not stored; look for free space. What was stored before is safe"
    elif "locked" in cause:
        way_out = "another program is writing; nothing was changed, try again"
    else:
        way_out = "nothing was changed"
    return StoreError(f"{name}: {cause}; {way_out}")


def cause_of(error: Exception) -> str:
    """Return the database's own words, one line, without statement or address."""
    original = error.orig if isinstance(error, DBAPIError) and error.orig else error
    return (str(original).strip().splitlines() or [type(original).__name__])[0]


def is_full(error: Exception) -> bool:
    """Whether the disk is full, or fails, or the file may not grow."""
    cause = cause_of(error)
    return "full" in cause or "I/O" in cause or "No space" in cause
