"""Other processes that read a store: one a core, each with the store open to read only.

Such a process is started anew rather than copied, so that it holds no connection, no lock and
no thread of whoever asked.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from battery.store import Store


def n_workers(n_blocks: int, *, pays: int, asked: int | None = None) -> int:
    """Return how many processes so many blocks are worth: what was asked for, or one a core.

    Parameters
    ----------
    pays : int
        Blocks that take as long as starting a process does.
    """
    return asked or min(os.cpu_count() or 1, n_blocks // pays)


@contextmanager
def pool(n_processes: int, store: Store | None = None) -> Iterator[ProcessPoolExecutor]:
    """Give processes that work, each with the store open where there is one.

    What has not begun when this is left, by an error or an interruption, never begins.
    """
    executor = ProcessPoolExecutor(
        n_processes,
        mp_context=multiprocessing.get_context("spawn"),
        initializer=_open,
        initargs=(None if store is None else store.address,),
    )
    try:
        yield executor
    finally:
        executor.shutdown(cancel_futures=True)


class _Worker:
    """The store of a process that works; it is read to the process's end."""

    store: Store | None = None


def _open(address: Path | str | None) -> None:
    if address is not None:
        _Worker.store = Store.open(address, write=False)


def store_here() -> Store:
    """Return the store that this process has open to work on."""
    if _Worker.store is None:
        msg = "this process has no store open"
        raise RuntimeError(msg)
    return _Worker.store
