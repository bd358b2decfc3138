"""Files that appear whole or not at all, and reading what strangers may have written."""

from __future__ import annotations

import hashlib
import os
import stat
from pathlib import Path

from battery.errors import HandoverError, StoreError
from battery.files import OPEN_MODE, replace_whole


def write_whole(path: Path, data: bytes, *, mode: int = OPEN_MODE) -> None:
    """Write a file as `replace_whole` does, for a stick.

    Raises
    ------
    StoreError
        If it cannot be written, or does not read back as it was written. An earlier file of
        that name then stays.
    """
    try:
        replace_whole(path, data, mode=mode)
    except OSError as error:
        msg = (
            f"cannot write '{path}': {error.strerror or error}. Everything is kept in the "
            "store; free some space or name another folder, then try again"
        )
        raise StoreError(msg) from error


def read_plain(path: Path, *, most_bytes: int) -> bytes:
    """Read a regular file of a limited size; never through a link, never from a device.

    Raises
    ------
    HandoverError
        If it is something else, too large, or cannot be read.
    """
    try:
        about = path.lstat()
        if not stat.S_ISREG(about.st_mode):
            msg = "it is not a plain file and was not opened"
            raise HandoverError(msg)
        if about.st_size > most_bytes:
            msg = f"it has {about.st_size} bytes, more than {most_bytes}; it was not read"
            raise HandoverError(msg)
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0))
        with os.fdopen(handle, "rb") as file:
            data = file.read(most_bytes + 1)
    except OSError as error:
        msg = f"it cannot be read: {error.strerror or error}"
        raise HandoverError(msg) from error
    if len(data) > most_bytes:
        msg = f"it grew beyond {most_bytes} bytes while it was read"
        raise HandoverError(msg)
    return data


def files_in(folder: Path, ending: str) -> list[Path]:
    """List the entries of a folder with an ending, in order of name, not those half written.

    Raises
    ------
    HandoverError
        If the folder is not there or cannot be read.
    """
    try:
        entries = sorted(folder.iterdir())
    except OSError as error:
        msg = f"cannot read folder '{folder}': {error.strerror or error}; nothing was changed"
        raise HandoverError(msg) from error
    return [p for p in entries if p.name.endswith(ending) and not p.name.startswith(".")]


def sha256(data: bytes) -> str:
    """Return the SHA-256 of bytes, as hex digits."""
    return hashlib.sha256(data).hexdigest()
