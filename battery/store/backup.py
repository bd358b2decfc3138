"""A copy of the store in one file, taken while others read and write."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from battery.errors import StoreError, UsageError


def copy_file(source: Path, target: Path) -> None:
    """Copy a SQLite store as it is at one moment.

    Uses SQLite's online backup, so that no writer has to stop. The copy is checked, made
    durable and only then gets its name.

    Parameters
    ----------
    source : Path
        The store's file.
    target : Path
        The new file; must not be there.

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
    partial = target.with_name(f".{target.name}.partial")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        partial.unlink(missing_ok=True)
        with closing(_open(source)) as old, closing(sqlite3.connect(partial)) as new:
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
        partial.unlink(missing_ok=True)


def _check(connection: sqlite3.Connection) -> None:
    found = connection.execute("PRAGMA integrity_check").fetchone()[0]
    if found != "ok":
        msg = f"the copy does not hold together ({found}); run 'battery verify'"
        raise StoreError(msg)


def _open(source: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{source.resolve().as_uri()}?mode=rw", uri=True)
