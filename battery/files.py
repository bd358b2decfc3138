"""Files and folders: made of checked names, whole or not at all, and for their owner only.

A folder that this program makes is open to its owner only, and so is a file; with
`BATTERY_SHARED=1` the system's own rule holds for both, for a folder that several accounts use.
On Windows the rights of the folder above hold, as is usual there.
"""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
from pathlib import Path

from battery.errors import StoreError

SHARED = "BATTERY_SHARED"
FOLDER_MODE, FILE_MODE = 0o700, 0o600
OPEN_MODE = 0o644  # of what is meant for others: cards, bundles and receipts on a stick


def is_private() -> bool:
    """Whether files are for their owner only."""
    return os.name == "posix" and not os.environ.get(SHARED)


def keep_private() -> None:
    """Let this process make files for its owner only, whatever library makes them."""
    if is_private():
        os.umask(0o077)


def inside(folder: Path, *names: str) -> Path:
    """Return a path below a folder, made of names that have been checked.

    Raises
    ------
    StoreError
        If it would lie outside, which no checked name can do.
    """
    path = folder.joinpath(*names)
    root = folder.resolve()
    if any(name in ("", ".", "..") or "\0" in name for name in names) or (
        root not in path.resolve().parents
    ):
        msg = f"{'/'.join(names)!a} would lie outside '{folder}'; nothing was written"
        raise StoreError(msg)
    return path


def make_folder(folder: Path) -> None:
    """Make a folder, and those above it, where they are not there yet.

    Raises
    ------
    OSError
        If it cannot be made.
    """
    missing = [p for p in (folder, *folder.parents) if not p.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    if is_private():
        for made in missing:
            made.chmod(FOLDER_MODE)


def make_own(path: Path) -> None:
    """Make an empty file for its owner, or take others' rights off one that is there.

    Raises
    ------
    OSError
        If it cannot be made. One of another owner is left as it is.
    """
    if not path.exists():
        with contextlib.suppress(FileExistsError):  # another program was quicker
            os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE_MODE))
    if is_private() and path.stat().st_mode & 0o077:
        with contextlib.suppress(OSError):
            path.chmod(FILE_MODE)


def close_to_others(path: Path) -> None:
    """Take others' rights off a file or folder that was just made.

    Raises
    ------
    OSError
        If it cannot be done.
    """
    if is_private():
        path.chmod(FOLDER_MODE if path.is_dir() else FILE_MODE)


def replace_whole(path: Path, data: bytes, *, mode: int | None = None) -> None:
    """Write a file under a temporary name, make it durable, read it back, give it its name.

    It is read back under the name of its own: under its last one another program may have
    put another file there meanwhile.

    Parameters
    ----------
    mode : int, optional
        Rights; by default for the owner only.

    Raises
    ------
    OSError
        If it cannot be written, or does not read back as it was written. An earlier file of
        that name then stays, and nothing else.
    """
    handle, name = tempfile.mkstemp(
        prefix=f".{path.name[:60]}.", suffix=".partial", dir=path.parent
    )
    partial = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        _hold_to(data, partial)
        if mode is not None or not is_private():
            partial.chmod(mode if mode is not None else OPEN_MODE)
        partial.replace(path)
        sync_folder(path.parent)
    except BaseException:
        with contextlib.suppress(OSError):
            partial.unlink(missing_ok=True)
        raise


def _hold_to(data: bytes, path: Path) -> None:
    if path.read_bytes() != data:
        raise OSError(errno.EIO, "it does not read back as it was written", str(path))


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable, where the system can."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
