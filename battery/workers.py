"""Work on all cores: in other processes, each with the store open to read only, or in threads.

A process is started anew rather than copied, so that it holds no connection, no lock and no
thread of whoever asked. Threads need no start; they pay where most time is spent in libraries.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

from battery.store import Store

MAX_THREADS = 4  # of one process: more wait for each other
SELDOM = 20_000  # objects made between two looks for cycles


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


T = TypeVar("T")
U = TypeVar("U")


def threads_here() -> int:
    """Return how many threads of this process are worth it where most time is spent outside."""
    return min(os.cpu_count() or 1, MAX_THREADS)


@contextmanager
def in_order(
    work: Callable[[T], U], given: Iterable[T], n: int, *, to_give_is_work: bool = False
) -> Iterator[Iterator[U]]:
    """Do a work on each thing given, in threads, and give what came of each in order.

    Things are taken here, some ahead, so that they may come from what one thread alone can ask.

    Parameters
    ----------
    work : callable
    given : iterable
    n : int
        How many threads; up to one, all is done here.
    to_give_is_work : bool
        Whether this thread has enough to do with what it gives to be one of them.
    """
    if n <= 1:
        yield map(work, given)
        return
    executor = ThreadPoolExecutor(n - 1 if to_give_is_work else n)
    try:
        yield _ahead(executor, work, given, 2 * n)
    finally:
        executor.shutdown(cancel_futures=True)


def _ahead(
    executor: ThreadPoolExecutor, work: Callable[[T], U], given: Iterable[T], most: int
) -> Iterator[U]:
    waiting: deque[Future[U]] = deque()
    source = iter(given)
    failed: Exception | None = None
    while failed is None:
        try:
            waiting.append(executor.submit(work, next(source)))
        except StopIteration:
            break
        except Exception as error:  # noqa: BLE001  # what came before it is given first
            failed = error
        if len(waiting) > most:
            yield waiting.popleft().result()
    while waiting:
        yield waiting.popleft().result()
    if failed is not None:
        raise failed


@contextmanager
def seldom_collected() -> Iterator[None]:
    """Look for cycles of objects more seldom while very many are made that are in none.

    It holds for the whole process. Where two threads are in this at once it may outlast them,
    which costs a little memory and nothing else.
    """
    was = gc.get_threshold()
    gc.set_threshold(max(was[0], SELDOM), *was[1:])
    try:
        yield
    finally:
        gc.set_threshold(*was)


class _Worker:
    """The store of a process that works; it is read to the process's end."""

    store: Store | None = None


def _open(address: Path | str | None) -> None:
    gc.freeze()  # what is loaded stays
    gc.set_threshold(SELDOM, *gc.get_threshold()[1:])
    if address is not None:
        _Worker.store = Store.open(address, write=False)


def store_here() -> Store:
    """Return the store that this process has open to work on."""
    if _Worker.store is None:
        msg = "this process has no store open"
        raise RuntimeError(msg)
    return _Worker.store
