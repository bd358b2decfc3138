"""Write the page of measures: ``python -m battery.scoring battery/scoring/measures.md``."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from battery.scoring.document import page


def main(arguments: Sequence[str]) -> int:
    """Write the page to the file that is named."""
    if len(arguments) != 1:
        sys.stderr.write("name the file to write, as in: battery/scoring/measures.md\n")
        return 2
    Path(arguments[0]).write_text(page(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
