"""Who does the parts of an archive: processes of this machine, or an engine for many.

Nothing but names passes: each part is read, and what is made of it written, by who does it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from importlib.metadata import version
from typing import Any

from battery.errors import StoreError, UsageError
from battery.scoring import SCORING_VERSION
from battery.workers import n_workers, pool

# Does work on each job, in any order, and gives what came of it as it is done.
Engine = Callable[[Callable[[Any], str], Sequence[Any]], Iterable[str]]
ENGINES = ("processes", "dask")
ENDED = (
    "a process that read a part was ended from outside, as when memory ran out. Nothing was "
    "changed; close other programs, then do it again"
)


def in_processes(n_processes: int | None = None) -> Engine:
    """Return an engine of processes on this machine.

    Parameters
    ----------
    n_processes : int, optional
        Default: one a core; none beside this one for a single job.
    """

    def run(work: Callable[[Any], str], jobs: Sequence[Any]) -> Iterator[str]:
        most = n_workers(len(jobs), pays=1, asked=n_processes)
        if most <= 1:
            yield from map(work, jobs)
            return
        with pool(most) as executor:
            try:
                for future in as_completed([executor.submit(work, job) for job in jobs]):
                    yield future.result()
            except BrokenProcessPool as error:
                raise StoreError(ENDED) from error

    return run


def on_dask(
    scheduler: str = "",
    *,
    n_processes: int | None = None,
    say: Callable[[str], None] = lambda _: None,
) -> Engine:
    """Return an engine of Dask workers: those of a cluster that exists, or of this machine.

    A part whose worker was lost is done by another one. All workers must see the folder under
    the same path and have this program in the same version. Those of a cluster hold less
    memory where they were started with ``DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED=False``.

    Parameters
    ----------
    scheduler : str
        Address of the scheduler of a cluster, as ``tcp://10.0.0.5:8786``; empty: workers are
        started here and ended afterwards.
    n_processes : int, optional
        Workers that are started here; default: one a core.
    say : callable
        Told where the engine can be watched.

    Raises
    ------
    UsageError
        If the extra is not installed, nobody answers at the address, or a worker has another
        version.
    """
    dask = _distributed()

    def run(work: Callable[[Any], str], jobs: Sequence[Any]) -> Iterator[str]:
        if not jobs:
            return
        if scheduler:
            with _client(dask, scheduler) as client:
                yield from _on(client, work, jobs, say)
            return
        most = n_processes or n_workers(len(jobs), pays=1) or 1
        with workers_here(most) as cluster, dask.Client(cluster) as client:
            yield from _on(client, work, jobs, say)

    return run


@contextmanager
def workers_here(n_processes: int) -> Iterator[Any]:
    """Start Dask workers on this machine and give their cluster; they end afterwards.

    They do not watch themselves: what an hour of that takes in memory is more than a part.
    """
    from dask import config

    with (
        config.set({"distributed.worker.profile.enabled": False}),
        _distributed().LocalCluster(
            n_workers=n_processes,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address="127.0.0.1:0",
        ) as cluster,
    ):
        yield cluster


def _distributed() -> Any:
    try:
        import distributed
    except ImportError as error:
        msg = (
            "--engine dask needs the extra 'archive': pip install "
            "'coordination-battery[archive]'. Nothing was changed"
        )
        raise UsageError(msg) from error
    return distributed


def _client(dask: Any, scheduler: str) -> Any:
    try:
        return dask.Client(scheduler, timeout="20s")
    except (OSError, ValueError) as error:
        msg = (
            f"no scheduler answers at {scheduler!r}: {error}; start one with 'dask scheduler', "
            "or leave out --scheduler. Nothing was changed"
        )
        raise UsageError(msg) from error


def _on(
    client: Any, work: Callable[[Any], str], jobs: Sequence[Any], say: Callable[[str], None]
) -> Iterator[str]:
    dask = _distributed()
    say(f"watch it at {client.dashboard_link}")
    client.wait_for_workers(1, timeout=60)
    for address, there in client.run(versions_here).items():
        if there != versions_here():
            msg = (
                f"worker {address} has {there}, this program is {versions_here()}: the scores "
                "would not be of one version. Update it; nothing was changed"
            )
            raise UsageError(msg)
    futures = client.map(work, jobs, pure=False, batch_size=1_000)
    try:
        for future in dask.as_completed(futures):
            yield future.result()
            future.release()
    except dask.KilledWorker as error:
        msg = (
            "a part ended one worker after another, as when memory runs out; finished parts "
            "are kept, nothing else was changed"
        )
        raise StoreError(msg) from error
    finally:
        client.cancel(futures)


def versions_here() -> str:
    """Name the versions that the bits of a score depend on."""
    names = ("coordination-battery", "numpy", "scipy")
    return f"scoring {SCORING_VERSION}, " + ", ".join(f"{n} {version(n)}" for n in names)
