"""Make what a clinic installs.

``python -m battery.packaging FOLDER`` on the kind of machine it is for: a folder with the
program in it and, on Debian, a package of that folder.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from pathlib import Path

from battery.errors import BatteryError
from battery.packaging.debian import ICON_PX, build_package
from battery.packaging.folder import build_folder


def main(words: list[str] | None = None) -> int:
    """Build, and say what was made and how large it is."""
    told = argparse.ArgumentParser(
        prog="python -m battery.packaging", description="Make what a clinic installs."
    )
    told.add_argument("target", type=Path, help="folder for what is made")
    told.add_argument(
        "--workplace", type=Path, help="keep what building leaves there (default: thrown away)"
    )
    asked = told.parse_args(words)
    with tempfile.TemporaryDirectory() as thrown_away:
        workplace = asked.workplace or Path(thrown_away)
        workplace.mkdir(parents=True, exist_ok=True)
        try:
            folder = build_folder(asked.target.resolve(), workplace=workplace.resolve())
            print(f"{folder}: {_megabytes(folder)} MB", flush=True)
            if shutil.which("dpkg-deb"):
                package = build_package(
                    folder,
                    asked.target.resolve(),
                    workplace=workplace.resolve(),
                    icons=_icons(workplace),
                )
                print(f"{package}: {_megabytes(package)} MB")
        except BatteryError as error:
            print(f"packaging: {error}", file=sys.stderr)
            return error.exit_status
    return 0


def _icons(workplace: Path) -> dict[int, Path]:
    """Draw the program's own icon in every size the menu asks for."""
    from battery.stage.screen.icon import write_icon

    found = {}
    for side_px in ICON_PX:
        found[side_px] = workplace / f"icon-{side_px}.png"
        write_icon(found[side_px], side_px)
    return found


def _megabytes(path: Path) -> int:
    files = [path] if path.is_file() else [p for p in path.rglob("*") if p.is_file()]
    return round(sum(p.lstat().st_size for p in files) / 1e6)


if __name__ == "__main__":
    sys.exit(main())
