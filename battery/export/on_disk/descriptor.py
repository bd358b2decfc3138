"""The descriptor of an export, read within limits; of a later form it is refused."""

from __future__ import annotations

import json
import stat
from pathlib import Path
from typing import Any

from battery.errors import UsageError
from battery.export.on_disk.table_files import PACKAGE, PACKAGE_NAME
from battery.export.rows.rebuilding import MAX_VALUES, n_values

FORMS = ("1", "2")  # first numbers of the versions that are read
MAX_PACKAGE_BYTES = 64_000_000  # 200 bytes a part and table, of a million visits


def read_package(folder: Path) -> dict[str, Any]:
    """Read the descriptor of an export.

    Raises
    ------
    UsageError
        If the folder holds no export, or one of a later program.
    """
    path = folder / PACKAGE
    refusal = (
        f"'{folder}' holds no export of this program that can be read; name the folder that "
        f"has '{PACKAGE}' in it. Nothing was changed"
    )
    try:
        if not is_plain(path) or path.stat().st_size > MAX_PACKAGE_BYTES:
            raise UsageError(refusal)
        text = path.read_text(encoding="utf-8")
        if n_values(text) > MAX_VALUES:
            raise UsageError(refusal)
        told = dict(json.loads(text))
    except (OSError, ValueError, TypeError, RecursionError) as error:
        raise UsageError(refusal) from error
    if told.get("name") != PACKAGE_NAME or not isinstance(told.get("resources"), list):
        raise UsageError(refusal)
    version = str(told.get("version"))[:40]
    if version.split(".")[0] not in FORMS:
        msg = (
            f"'{folder}' is an export of form {version}; this program reads up to "
            f"{FORMS[-1]}. Update it; nothing was changed"
        )
        raise UsageError(msg)
    return told


def is_plain(path: Path) -> bool:
    """Whether it is a file itself, not a link to one and not a device."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except OSError:
        return False
