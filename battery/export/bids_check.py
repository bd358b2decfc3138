"""What a BIDS dataset must keep that the public validator does not look at."""

from __future__ import annotations

import json
from pathlib import Path


def bids_findings(folder: Path) -> list[str]:
    """Check motion files against their channels and sidecars, and that there is a README.

    A header row in a motion file passes the public validator and shifts every sample by one.

    Returns
    -------
    list of str
        One line for each thing that does not hold; empty if all does.
    """
    found = []
    if not any((folder / name).is_file() for name in ("README", "README.md", "README.txt")):
        found.append("README: missing")
    for motion in sorted(folder.rglob("*_motion.tsv")):
        name = motion.relative_to(folder).as_posix()
        stem = motion.name.removesuffix("_motion.tsv")
        channels = motion.with_name(f"{stem}_channels.tsv")
        sidecar = motion.with_name(f"{stem}_motion.json")
        missing = [p.name for p in (channels, sidecar) if not p.is_file()]
        if missing:
            found.append(f"{name}: {' and '.join(missing)} missing")
            continue
        n_channels = len(channels.read_text(encoding="utf-8").splitlines()) - 1
        told = json.loads(sidecar.read_text(encoding="utf-8")).get("MotionChannelCount")
        if told != n_channels:
            found.append(f"{name}: {told} channels in the sidecar, {n_channels} in the list")
        found += _rows(motion, name, n_channels)
    return found


def _rows(motion: Path, name: str, n_channels: int) -> list[str]:
    """Check each row: so many numbers, and times that do not go back."""
    before = float("-inf")
    with motion.open(encoding="utf-8") as file:
        for number, line in enumerate(file, start=1):
            cells = line.rstrip("\n").split("\t")
            if len(cells) != n_channels:
                return [f"{name}: row {number} has {len(cells)} columns, not {n_channels}"]
            if not all(cell == "n/a" or _is_number(cell) for cell in cells):
                what = "a header row" if number == 1 else f"row {number} is not of numbers"
                return [f"{name}: {what}"]
            if float(cells[0]) < before:
                return [f"{name}: time goes back at row {number}"]
            before = float(cells[0])
    return [] if before > float("-inf") else [f"{name}: empty"]


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True
