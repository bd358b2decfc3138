"""Everything that is checked, after what it takes was installed: ``python -m tests``.

Words after it go to pytest: ``python -m tests tests/unit -k slide``. On Debian the system
parts are installed, if that may be done; elsewhere what is missing is named, with the tests
that are left out for it.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from tests import parts

CHECKS = (("ruff", "check", "."), ("ruff", "format", "--check", "."), ("mypy",))
# One process more than there are cores: some tests wait for real windows, disks and clocks. A
# file's shared clinic or window is made once in each.
N_PROCESSES = (os.cpu_count() or 1) + 1
# To collect the tests once, beside the checks, leaves them and what they load compiled: else
# each worker would do so. Ours is compiled whole, as tests start the program many times.
COMPILE = ("compileall", "-qq", "battery", "tasks", "norms")
COLLECT = ("pytest", "--collect-only", "--quiet", "--quiet")
PYTEST = ("pytest", "-q", "-n", str(N_PROCESSES), "--dist", "worksteal")
MEMORY, ROOM_BYTES = Path("/dev/shm"), 2_000_000_000


def main(words: list[str]) -> int:
    """Install, check, test; return the exit status."""
    lacking = parts.missing()
    if lacking:
        why = parts.install(lacking)
        lacking = parts.missing()
        for part in lacking:
            print(
                f"{part.name} is missing and could not be installed"
                f"{f' ({why})' if why else ''}; on Debian: {' '.join(part.packages)}. "
                "The tests that need it are left out.",
                flush=True,
            )
    with ThreadPoolExecutor(1) as beside:
        beside.submit(compile_all)
        for check in CHECKS:
            begun_s = time.monotonic()
            done = subprocess.run([sys.executable, "-m", *check], check=False)
            print(f"{' '.join(check)}: {time.monotonic() - begun_s:.0f} s", flush=True)
            if done.returncode != 0:
                return done.returncode
    without = [f"--without={part.name}" for part in lacking]
    with in_memory() as place:
        return subprocess.run(
            [sys.executable, "-m", *PYTEST, *without, *words],
            env=surroundings(place),
            check=False,
        ).returncode


def compile_all() -> None:
    """Compile what is ours, the tests and what they load; what fails, the tests tell."""
    for words in (COMPILE, COLLECT):
        subprocess.run(
            [sys.executable, "-m", *words],
            env=surroundings(None),
            stdout=subprocess.DEVNULL,
            check=False,
        )


@contextlib.contextmanager
def in_memory() -> Iterator[str | None]:
    """A folder in memory for what tests write, where the system has room for it there."""
    if not MEMORY.is_dir() or shutil.disk_usage(MEMORY).free < ROOM_BYTES:
        yield None
        return
    with tempfile.TemporaryDirectory(dir=MEMORY, ignore_cleanup_errors=True) as place:
        yield place


def surroundings(place: str | None) -> dict[str, str]:
    """The environment of the tests.

    Parameters
    ----------
    place : str or None
        Where they write; none for where the system would.
    """
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    # Small products of matrices take longer on many threads, as the program knows too.
    found = {"OPENBLAS_NUM_THREADS": "1", **kept}
    return found if place is None else found | {"PYTEST_DEBUG_TEMPROOT": place}


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
