"""Copies of the store: made, tried whether they could be restored, and how old the last is."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path

from battery.errors import StoreError, UsageError
from battery.moments import utc_text
from battery.store import Store
from battery.store.opening import FILE_NAME
from battery.verify import verify

LAST = "backup.last_utc"  # setting: when this store was last copied whole
MAX_AGE = timedelta(days=7)


def copy_store(home: Path | str | None, target: Path, *, now: datetime) -> None:
    """Copy the whole store into one new file and remember when, where that can be written.

    Parameters
    ----------
    home : path, str or None
        Where the store is, as `Store.open` takes it.
    target : Path
    now : datetime
        With its zone.

    Raises
    ------
    UsageError
        If the file is there.
    StoreError
        If it cannot be written.
    """
    with Store.open(home, write=False) as store:
        store.back_up(target)
    # A store on a medium that cannot be written is copied all the same.
    with suppress(StoreError), Store.open(home) as store:
        store.setup.put_setting(LAST, utc_text(now, "seconds"))


def days_since_copy(store: Store, now: datetime) -> int | None:
    """Return the whole days since the last copy; None where none was ever made."""
    told = store.setup.setting(LAST, "")
    return (now - datetime.fromisoformat(told)).days if told else None


def copy_is_due(store: Store, now: datetime) -> bool:
    """Whether there is something to lose and no copy of the last week.

    Of a store on a server this is not known, as the server has means of its own.
    """
    if store.folder is None or not store.visits.are_there():
        return False
    days = days_since_copy(store, now)
    return days is None or days >= MAX_AGE.days


def try_copy(
    copy: Path, store: Store, *, progress: Callable[[int, int], None] | None = None
) -> list[str]:
    """Restore a copy in a folder that is thrown away, and look through it.

    Parameters
    ----------
    copy : Path
        As `copy_store` made it. It is only read.
    store : Store
    progress : callable, optional
        Called with (visits done, visits in all).

    Returns
    -------
    list of str
        What it holds, what the store has beyond it, and what is wrong in it.

    Raises
    ------
    UsageError
        If there is no such file.
    StoreError
        If it is no store, or cannot be read.
    """
    if not copy.is_file():
        msg = f"'{copy}' is not a file; name one that was copied before. Nothing was changed"
        raise UsageError(msg)
    with tempfile.TemporaryDirectory(prefix="battery-", ignore_cleanup_errors=True) as folder:
        try:
            shutil.copyfile(copy, Path(folder) / FILE_NAME)
        except OSError as error:
            msg = f"cannot read '{copy}': {error.strerror or error}. Nothing was changed"
            raise StoreError(msg) from error
        with Store.open(folder) as restored:
            found = verify(restored, replay=False, progress=progress)
            held = {visit.header.visit_id for visit in restored.visits.all()}
            n_people = len(restored.people.all())
    later = [v for v in store.visits.all() if v.header.visit_id not in held]
    whole = "it can be restored" if not found.findings else "it is damaged; make a new one"
    return [
        f"{n_people} people, {found.n_visits} visits, {found.n_blocks} blocks: {whole}",
        f"{len(later)} visits of the store are not in it",
        *(f"{finding.where}: {finding.what}" for finding in found.findings),
    ]
