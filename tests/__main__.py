"""Everything that is checked, after what it takes was installed: ``python -m tests``.

Words after it go to pytest: ``python -m tests tests/unit -k slide``. On Debian the system
parts are installed, if that may be done; elsewhere what is missing is named, with the tests
that are left out for it.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time

from tests import parts

CHECKS = (("ruff", "check", "."), ("ruff", "format", "--check", "."), ("mypy",))
# One process more than there are cores: some tests wait for real windows, disks and clocks. A
# file's shared clinic or window is made once in each.
N_PROCESSES = (os.cpu_count() or 1) + 1
# Tests start the program many times; what it is compiled to is made once, whatever the
# environment says of writing it.
COMPILED = ("compileall", "-q", "battery", "tasks", "norms", "tests")
PYTEST = ("pytest", "-q", "-n", str(N_PROCESSES), "--dist", "worksteal")


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
    subprocess.run([sys.executable, "-m", *COMPILED], check=False)
    for check in CHECKS:
        begun_s = time.monotonic()
        done = subprocess.run([sys.executable, "-m", *check], check=False)
        print(f"{' '.join(check)}: {time.monotonic() - begun_s:.0f} s", flush=True)
        if done.returncode != 0:
            return done.returncode
    without = [f"--without={part.name}" for part in lacking]
    return subprocess.run(
        [sys.executable, "-m", *PYTEST, *without, *words], check=False
    ).returncode


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
