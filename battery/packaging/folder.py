"""The program in one folder that needs no Python on the machine it is copied to.

Made in an environment of its own, so that nothing but what the program names gets in.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import venv
from collections.abc import Sequence
from pathlib import Path

from battery.errors import PackagingError

NAME = "coordination-battery"
PROGRAM = "battery"
BUILDER = "pyinstaller>=6.10"
ROOT = Path(__file__).resolve().parents[2]

# Parts of libraries that nothing here uses: network file systems, remote tables, other engines,
# compilers' headers, the libraries' own tests, windows of another toolkit.
LEFT_OUT = (
    "**/libarrow_flight*",
    "**/libarrow_python_flight*",
    "**/libarrow_s3*",
    "pyarrow/_s3fs*",
    "pyarrow/_flight*",
    "pyarrow/_substrait*",
    "pyarrow/_gcsfs*",
    "pyarrow/_azurefs*",
    "pyarrow/_hdfs*",
    "pyarrow/include",
    "pyarrow/includes",
    "pyarrow/*.pxd",
    "pyarrow/*.pxi",
    "pyarrow/*.pyx",
    "pyarrow/src",
    "**/tests",
    "_tcl_data",
    "_tk_data",
    "tcl8*",
    "libtcl*",
    "libtk*",
)
# A console of its own, opened by an icon, goes; the one it was typed in stays.
WITHOUT_CONSOLE = {"win32": ("--hide-console", "hide-early")}
NOT_IMPORTED = (
    "tkinter",
    "IPython",
    "matplotlib",
    "pandas",
    "pytest",
    "hypothesis",
    "PIL.ImageQt",
)


def build_folder(target: Path, *, workplace: Path) -> Path:
    """Build the folder and return it.

    Parameters
    ----------
    target : Path
        Where the folder is made; a folder of its name there is replaced.
    workplace : Path
        For the environment and what is left from building; may be thrown away afterwards.

    Raises
    ------
    PackagingError
        If a step fails; `target` is then as it was.
    """
    python = _environment(workplace)
    made = workplace / "made"
    shutil.rmtree(made, ignore_errors=True)
    _run(
        [
            str(python), "-m", "PyInstaller", "--noconfirm", "--clean", "--onedir",
            "--name", PROGRAM, "--log-level", "ERROR",
            "--distpath", str(made), "--workpath", str(workplace / "work"),
            "--specpath", str(workplace),
            "--collect-data", "battery", "--collect-data", "norms",
            "--collect-submodules", "battery", "--collect-submodules", "norms",
            "--collect-submodules", "tasks", "--collect-submodules", "uvicorn",
            "--recursive-copy-metadata", NAME,
            *(f"--exclude-module={name}" for name in NOT_IMPORTED),
            *WITHOUT_CONSOLE.get(sys.platform, ()),
            str(Path(__file__).with_name("frozen.py")),
        ],
        "gathering the program",
    )  # fmt: skip
    folder = made / PROGRAM
    leave_out(folder / "_internal")
    program = folder / (f"{PROGRAM}.exe" if sys.platform == "win32" else PROGRAM)
    # A page, scores and tables: what is missing from the folder would be missed here.
    tried = workplace / "tried"
    shutil.rmtree(tried, ignore_errors=True)
    _run(
        [str(program), "demo", str(tried), "--visits", "1", "--no-open"],
        "trying what was gathered",
    )
    final = target / NAME
    shutil.rmtree(final, ignore_errors=True)
    target.mkdir(parents=True, exist_ok=True)
    shutil.move(folder, final)
    return final


def leave_out(folder: Path) -> int:
    """Remove what nothing here uses.

    Returns
    -------
    int
        Bytes that were saved.
    """
    saved = 0
    for pattern in LEFT_OUT:
        for path in list(folder.glob(pattern)):
            files = [path] if not path.is_dir() else [p for p in path.rglob("*") if p.is_file()]
            saved += sum(p.lstat().st_size for p in files)
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            else:
                path.unlink(missing_ok=True)
    return saved


def _environment(workplace: Path) -> Path:
    """Make an environment with the program and what it names, and nothing else."""
    place = workplace / "environment"
    shutil.rmtree(place, ignore_errors=True)
    venv.create(place, with_pip=True)
    python = place / ("Scripts/python.exe" if sys.platform == "win32" else "bin/python")
    _run(
        [str(python), "-m", "pip", "install", "--quiet", f"{ROOT}[pdf]", BUILDER],
        "installing the program into an environment of its own",
    )
    return python


def _run(command: Sequence[str], what: str) -> None:
    kept = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, env=kept, cwd=ROOT.anchor
    )
    if done.returncode != 0:
        last = (done.stderr or done.stdout).strip().splitlines()[-1:] or ["no reason was given"]
        msg = (
            f"{what} failed with status {done.returncode}: {last[0]}; nothing was put in place"
        )
        raise PackagingError(msg)
