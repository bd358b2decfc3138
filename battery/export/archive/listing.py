"""The list of what an archive holds: read, held to its form, and written."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from battery.errors import UsageError
from battery.export.on_disk.descriptor import is_plain
from battery.files import replace_whole

ARCHIVE = "archive.json"
NAME = "coordination-battery-archive"
FORM = "1.0.0"
LABEL = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,39}")
MAX_ARCHIVE_BYTES = 64_000_000


@dataclass(frozen=True, slots=True)
class Entry:
    """An export in an archive.

    Parameters
    ----------
    path : str
        Of its folder, below the archive.
    digest : str
        Of everything its descriptor says.
    signer : str
        Fingerprint of the clinic whose key signed it; empty where none did.
    """

    study: str
    site: str
    path: str
    digest: str
    signer: str
    n_visits: int
    n_blocks: int


def is_archive(folder: Path) -> bool:
    """Whether a folder says that it is an archive."""
    return is_plain(folder / ARCHIVE)


def exports_in(folder: Path) -> list[Path]:
    """List the exports of an archive, in order; the folder itself where it is no archive.

    Raises
    ------
    UsageError
        If the list of an archive cannot be read, or is of a later program.
    """
    if not is_archive(folder):
        return [folder]
    return [folder / entry.path for entry in read_archive(folder)]


def read_archive(folder: Path) -> list[Entry]:
    """Read the list of an archive; empty for a new one.

    Raises
    ------
    UsageError
        If it cannot be read, or is of a later program.
    """
    path = folder / ARCHIVE
    if not path.exists():
        return []
    told = _told(path)
    form = str(told.get("version"))[:40]
    if told.get("name") == NAME and form.split(".")[0] != FORM.split(".")[0]:
        msg = (
            f"'{folder}' is an archive of form {form}; this program reads up to {FORM}. "
            "Update it; nothing was changed"
        )
        raise UsageError(msg)
    try:
        entries = [Entry(**one) for one in told["exports"]]
        leads_in = all(
            LABEL.fullmatch(e.study)
            and LABEL.fullmatch(e.site)
            and e.path == path_of(e.study, e.site, number_of(e))
            for e in entries
        )
    except (TypeError, LookupError, AttributeError):
        leads_in = False
    if told.get("name") != NAME or not leads_in:
        msg = f"'{path}' cannot be read: it is not a list of this program"
        raise UsageError(msg)
    return entries


def _told(path: Path) -> dict[str, Any]:
    try:
        if is_plain(path) and path.stat().st_size <= MAX_ARCHIVE_BYTES:
            return dict(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError, RecursionError):
        pass
    return {}


def path_of(study: str, site: str, number: int) -> str:
    """Folder of an export below its archive, told by names of partitions."""
    return f"study={study}/site={site}/export={number:03d}"


def number_of(entry: Entry) -> int:
    """Read the number of an export off its folder; -1 where there is none."""
    told = entry.path.rpartition("=")[2]
    return int(told) if told.isdecimal() and len(told) < 10 else -1


def write_list(folder: Path, entries: Sequence[Entry]) -> None:
    """Write the list of an archive, whole or not at all."""
    ordered = sorted(entries, key=lambda e: e.path)
    told: Mapping[str, Any] = {
        "name": NAME,
        "version": FORM,
        "exports": [asdict(entry) for entry in ordered],
    }
    replace_whole(folder / ARCHIVE, (json.dumps(told, indent=1) + "\n").encode())


def describe(folder: Path) -> list[str]:
    """Say what an archive holds, one line per export."""
    entries = read_archive(folder)
    lines = [
        f"{e.path}: {e.n_visits} visits, {e.n_blocks} blocks, "
        + (f"signed with the key of {e.signer}" if e.signer else "not signed")
        for e in entries
    ]
    n_sites = len({(e.study, e.site) for e in entries})
    whole = (
        f"exports: {len(entries)}, of sites: {n_sites}, blocks: "
        f"{sum(e.n_blocks for e in entries)}"
    )
    return [*lines, whole]
