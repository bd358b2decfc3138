"""A program to be killed, kept warm: it forks for every run."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


class WarmChild:
    """A module of the tests as a program that is told what to do, line by line.

    Parameters
    ----------
    module : str
        Its name.
    """

    def __init__(self, module):
        # One thread, so that it can fork safely.
        environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
        self.process = subprocess.Popen(
            [sys.executable, "-m", module],
            cwd=ROOT, env=environment, text=True, bufsize=1,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip

    def close(self):
        self.process.stdin.close()
        self.process.wait()
        self.process.stdout.close()
