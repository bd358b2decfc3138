"""A copy of the store in one file, taken while others read and write."""

from __future__ import annotations

import os
import sqlite3
import uuid
from contextlib import closing, suppress
from pathlib import Path

from battery.errors import StoreError, UsageError
from battery.files import make_folder, make_own


def copy_file(source: Path, target: Path, *, copied: Path | None = None) -> None:
    """Copy a SQLite store as it is at one moment.

    Uses SQLite's online backup, so that no writer has to stop. The copy is checked, made
    durable and only then gets its name.

    Parameters
    ----------
    source : Path
        The store's file.
    target : Path
        The new file; must not be there.
    copied : Path, optional
        What the store is read from where its own file cannot be.

    Raises
    ------
    UsageError
        If the target is there.
    StoreError
        If it cannot be written, or the copy does not hold together.
    """
    if target.exists():
        msg = f"'{target}' is there already; nothing was changed, name a new file"
        raise UsageError(msg)
    partial = target.with_name(f".{target.name}.{uuid.uuid4().hex[:8]}.partial")
    try:
        make_folder(target.parent)
        make_own(partial)
        with closing(_open(source, copied)) as old, closing(sqlite3.connect(partial)) as new:
            old.backup(new)
            # One file without a log beside it; opening it to write brings the log back.
            new.execute("PRAGMA journal_mode=DELETE")
            _check(new)
        with partial.open("r+b") as file:
            os.fsync(file.fileno())
        partial.replace(target)
    except sqlite3.Error as error:
        msg = f"cannot back up to '{target}': {error}. The store is unchanged"
        raise StoreError(msg) from error
    except StoreError:
        raise
    except OSError as error:
        msg = f"cannot back up to '{target}': {error.strerror}. The store is unchanged"
        raise StoreError(msg) from error
    finally:
        with suppress(OSError):
            partial.unlink(missing_ok=True)


def _check(connection: sqlite3.Connection) -> None:
    found = connection.execute("PRAGMA integrity_check").fetchone()[0]
    if found != "ok":
        msg = f"the copy does not hold together ({found}); run 'battery verify'"
        raise StoreError(msg)


def _open(source: Path, copied: Path | None) -> sqlite3.Connection:
    """Open the store; on a medium that cannot be written, as an unchanging file or its copy."""
    ways = [(source, "mode=rw")]
    ways += [(copied, "mode=rw")] if copied is not None else [(source, "mode=ro&immutable=1")]
    for path, query in ways:
        connection = sqlite3.connect(f"{path.resolve().as_uri()}?{query}", uri=True)
        try:
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        except sqlite3.OperationalError:
            connection.close()
            if (path, query) == ways[-1]:
                raise
        else:
            return connection
    raise AssertionError
