"""System parts the tests use beside Python's packages, and how to get them on Debian."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Sequence
from ctypes.util import find_library
from dataclasses import dataclass
from pathlib import Path

from tests import postgres


@dataclass(frozen=True, slots=True)
class Part:
    """Something of the operating system that some tests need.

    Parameters
    ----------
    name : str
        As tests name it: ``@pytest.mark.needs(name)``.
    packages : tuple of str
        Debian's names.
    here : callable
        Whether this machine has it.
    """

    name: str
    packages: tuple[str, ...]
    here: Callable[[], bool]


def _program(*names: str) -> Callable[[], bool]:
    return lambda: any(shutil.which(name) or Path(name).exists() for name in names)


def _libraries(*names: str) -> Callable[[], bool]:
    return lambda: all(find_library(name) for name in names)


def _pointer() -> bool:
    return bool(shutil.which("Xvfb")) and _libraries("X11", "Xtst")()


def _dummy() -> bool:
    drivers = Path("/usr/lib").glob("**/xorg/modules/drivers/dummy_drv.so")
    return _program("/usr/lib/xorg/Xorg")() and any(drivers)


PARTS = (
    Part("xvfb", ("xvfb", "libx11-6", "libxtst6"), _pointer),
    Part(
        "xorg",
        ("xserver-xorg-core", "xserver-xorg-video-dummy"),
        _dummy,
    ),
    Part(
        "openbox",
        ("openbox", "libxrandr2"),
        lambda: _program("openbox")() and _libraries("Xrandr")(),
    ),
    Part(
        "chromium",
        ("chromium", "fonts-dejavu-core", "fonts-liberation"),
        _program("chromium", "google-chrome"),
    ),
    Part(
        "pango",
        ("libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz-subset0", "fonts-dejavu-core"),
        _libraries("pango-1.0", "pangoft2-1.0", "harfbuzz-subset"),
    ),
    Part("dpkg", ("dpkg",), _program("dpkg-deb")),
    Part("debootstrap", ("debootstrap", "imagemagick"), _program("debootstrap")),
    Part("postgresql", ("postgresql",), lambda: postgres.programs() is not None),
)
BY_FIXTURE = {"postgres_server": "postgresql"}


def missing() -> list[Part]:
    """Return what this machine lacks."""
    return [part for part in PARTS if not part.here()]


def install(parts: Sequence[Part]) -> str:
    """Install parts where that may be done: on Debian, as its administrator.

    Returns
    -------
    str
        Why nothing could be installed; empty if it was tried.
    """
    if not shutil.which("apt-get"):
        return "this is no Debian"
    as_administrator: list[str] = []
    if os.getuid() != 0:
        asked = ["sudo", "-n", "true"]
        if not shutil.which("sudo") or subprocess.run(asked, check=False).returncode != 0:
            return "it takes the administrator's rights"
        as_administrator = ["sudo", "-n"]
    names = sorted({name for part in parts for name in part.packages})
    quiet = [*as_administrator, "env", "DEBIAN_FRONTEND=noninteractive", "apt-get", "-qq"]
    subprocess.run([*quiet, "update"], check=True)
    subprocess.run(
        [*quiet, "install", "--yes", "--no-install-recommends", *names],
        check=True,
        stdout=subprocess.DEVNULL,
    )
    return ""
