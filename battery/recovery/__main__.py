"""``python -m battery.recovery FILE``."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from battery.recovery.document import page
from battery.recovery.finding import find


def main(arguments: Sequence[str]) -> int:
    """Write the page to the file that is named."""
    if len(arguments) != 1:
        sys.stderr.write("name the file to write, as in: battery/recovery/recovery.md\n")
        return 2
    path = Path(arguments[0])
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(page(find(progress=_tell)), encoding="utf-8")
    return 0


def _tell(done: int, total: int) -> None:
    if sys.stderr.isatty():
        sys.stderr.write(f"\r{done} of {total}" + ("\n" if done == total else ""))


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
