"""Commands as a terminal shows them: as a program of its own, or by `main` in this process."""

import contextlib
import io
import os
import subprocess
import sys

import pytest

from battery.cli import main


def program(*words, home, folder, **environment):
    """Run a command as a program without a screen, to its end."""
    return subprocess.run(
        [sys.executable, "-m", "battery.cli", *map(str, words)], cwd=folder,
        env={**os.environ, **_surroundings(home), **environment},
        capture_output=True, text=True, stdin=subprocess.DEVNULL,
    )  # fmt: skip


def ask(*words, home, folder, **environment):
    """Run a command here, with what it would find as a program: it costs no start of Python."""
    out, error = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    mask = os.umask(0o022)
    try:
        with (
            pytest.MonkeyPatch.context() as patch,
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(error),
        ):
            patch.setattr(sys, "argv", ["battery", *map(str, words)])
            patch.setattr(sys, "stdin", io.StringIO())
            patch.chdir(folder)
            for name, value in {**_surroundings(home), **environment}.items():
                patch.setenv(name, value)
            status = _status()
    finally:
        os.umask(mask)
    told = [_text(stream) for stream in (out, error)]
    return subprocess.CompletedProcess(words, status, *told)


def _surroundings(home):
    return {"BATTERY_HOME": str(home), "DISPLAY": ""}


def _status():
    try:
        main()
    except SystemExit as end:
        return end.code or 0
    return 0


def _text(stream):
    stream.flush()
    return stream.buffer.getvalue().decode()
