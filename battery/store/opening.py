"""Finding and opening the database, with every way it can go wrong in one line."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import Any

import platformdirs
from sqlalchemy import Engine, create_engine, event
from sqlalchemy.exc import SQLAlchemyError

from battery.errors import StoreError
from battery.store.migrations import check_not_newer, migrate

FILE_NAME = "battery.sqlite"
BUSY_S = 5.0
MEGABYTE = 1_000_000


def home_folder(given: Path | str | None) -> Path:
    """Return the folder of the store: given, else BATTERY_HOME, else the user's data folder."""
    if given is not None:
        return Path(given)
    if from_environment := os.environ.get("BATTERY_HOME"):
        return Path(from_environment)
    return platformdirs.user_data_path("coordination-battery", appauthor=False)


def open_engine(where: Path | str | None, *, write: bool) -> tuple[Engine, Path | None]:
    """Open the store and bring it to the present form.

    Parameters
    ----------
    where : path, database address or None
        A folder for a SQLite file, or an address such as ``postgresql+psycopg://...``.
    write : bool
        Whether the caller means to write. Reading never creates, migrates or locks.

    Raises
    ------
    StoreError
        If it is not there, cannot be read or written, is no store, or is newer.
    """
    if isinstance(where, str) and "://" in where:
        engine = create_engine(where)
        _prepare(engine, "the store", write=write)
        return engine, None
    folder = home_folder(where)
    path = folder / FILE_NAME
    if write:
        _make_folder(folder)
    elif not path.is_file():
        msg = f"no store in '{folder}'; run 'battery enrol' or name another with --home"
        raise StoreError(msg)
    engine = _sqlite_engine(path, write=write)
    _prepare(engine, f"'{path}'", write=write)
    return engine, folder


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / f".probe-{os.getpid()}"
        probe.write_bytes(b"x")
        probe.unlink()
    except OSError as error:
        msg = (
            f"cannot write to the store's folder '{folder}': {error.strerror or error}. "
            "Nothing was changed; name another with --home"
        )
        raise StoreError(msg) from error


def _sqlite_engine(path: Path, *, write: bool) -> Engine:
    if write:
        engine = create_engine(f"sqlite:///{path}", connect_args={"timeout": BUSY_S})
    else:
        engine = _read_engine(path)

    @event.listens_for(engine, "connect")
    def _set_up(connection: sqlite3.Connection, _record: Any) -> None:
        cursor = connection.cursor()
        cursor.execute("PRAGMA foreign_keys=ON")
        if write:
            cursor.execute("PRAGMA journal_mode=WAL")
            cursor.execute("PRAGMA synchronous=FULL")
        cursor.close()

    return engine


def _read_engine(path: Path) -> Engine:
    """Open for reading; in a folder that cannot be written, as an unchanging file."""
    wal = path.with_name(path.name + "-wal")
    pending = wal.exists() and wal.stat().st_size > 0
    frozen = not os.access(path.parent, os.W_OK) and not pending
    query = "mode=ro&immutable=1" if frozen else "mode=ro"
    address = f"{path.resolve().as_uri()}?{query}"

    def connect() -> sqlite3.Connection:
        return sqlite3.connect(address, uri=True, timeout=BUSY_S, check_same_thread=False)

    return create_engine("sqlite://", creator=connect)


def _prepare(engine: Engine, name: str, *, write: bool) -> None:
    try:
        if write:
            migrate(engine, name)
        else:
            with engine.connect() as connection:
                check_not_newer(connection, name)
    except SQLAlchemyError as error:
        engine.dispose()
        raise describe(error, name) from error
    except StoreError:
        engine.dispose()
        raise


def describe(error: SQLAlchemyError, name: str) -> StoreError:
    """Turn a database error into one line with the way out."""
    cause = str(getattr(error, "orig", None) or error).splitlines()[0]
    if "not a database" in cause or "malformed" in cause:
        way_out = "it was not changed; restore a copy, or name another folder with --home"
    elif "readonly" in cause or "read-only" in cause:
        way_out = "nothing was changed; make the folder writable or name another with --home"
    elif "full" in cause:
        way_out = "free some space; what was stored before is safe"
    elif "locked" in cause:
        way_out = "another program is writing; nothing was changed, try again"
    else:
        way_out = "nothing was changed"
    return StoreError(f"{name}: {cause}; {way_out}")
