"""Drives that were plugged in: where a stick from a tablet may lie."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import platformdirs

PLACES = ("/media/", "/run/media/", "/mnt/", "/Volumes/")  # of what is plugged in


class Mounted(Protocol):
    """A mounted file system, as psutil tells of it."""

    mountpoint: str
    opts: str


@dataclass(frozen=True, slots=True)
class Drive:
    """A drive that can be taken out.

    Parameters
    ----------
    folder : Path
    n_bundles : int
        Bundles of tablets that lie there, at its top or in its own folder for them.
    """

    folder: Path
    n_bundles: int


def removable(mounted: Iterable[Mounted]) -> list[Path]:
    """Return where drives that can be taken out are mounted.

    Parameters
    ----------
    mounted : iterable of Mounted
        All file systems of this machine.
    """
    found = []
    for disk in mounted:
        windows_drive = "removable" in disk.opts.split(",")
        if windows_drive or disk.mountpoint.startswith(PLACES):
            found.append(Path(disk.mountpoint))
    return sorted(found)


def place_to_write(name: str, ending: str = "") -> Path:
    """Return a path that is not there yet, for what somebody takes along or keeps elsewhere.

    On the first drive that is plugged in, else among the user's documents.

    Parameters
    ----------
    name, ending : str
        A number comes between them where there is something of that name.
    """
    plugged_in = [drive.folder for drive in drives(ending)]
    folder = plugged_in[0] if plugged_in else platformdirs.user_documents_path()
    path, number = folder / f"{name}{ending}", 1
    while path.exists():
        number += 1
        path = folder / f"{name}-{number}{ending}"
    return path


def drives(ending: str) -> Sequence[Drive]:
    """Find drives that are plugged in, with how many files of an ending lie at their top."""
    import psutil

    everything = sys.platform == "win32"
    found = []
    for folder in removable(psutil.disk_partitions(all=everything)):
        try:
            n_bundles = sum(1 for path in folder.iterdir() if path.name.endswith(ending))
        except OSError:
            continue  # taken out in this moment, or not ours to read
        found.append(Drive(folder, n_bundles))
    return found
