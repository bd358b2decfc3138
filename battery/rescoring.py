"""All scores of a store again from the raw records, on all cores, and what changed by it.

Blocks are read and scored by processes of their own, which open the store to read only; what
they found is written by the one that asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

from battery.comparing import Held, Rescored
from battery.errors import BatteryError
from battery.recording import Screen
from battery.scoring.score import Score
from battery.store import Store
from battery.store.base import UNREADABLE
from battery.store.trial_rows import TrialRow
from battery.workers import n_workers, pool, store_here

CHUNK = 4
PAYS = 150  # blocks of a minute that are scored while another process starts

Job = tuple[str, Screen]
ToStore = tuple[list[Score], list[TrialRow] | None]
Outcome = tuple[str, ToStore | None, Rescored]  # block, what is to be stored


def rescore_all(
    store: Store, *, progress: Callable[[int, int], None], n_processes: int | None = None
) -> str:
    """Compute the scores of every test block again from its raw record.

    Parameters
    ----------
    progress : callable
        Called with blocks done and blocks in all.
    n_processes : int, optional
        Default: one a core, fewer for few blocks. The figures do not depend on it.

    Returns
    -------
    str
        How many blocks and values there are, how many values differ from the stored ones, and
        why; see `Rescored.summary`.
    """
    return rescore(store, progress=progress, n_processes=n_processes).summary


def rescore(
    store: Store, *, progress: Callable[[int, int], None], n_processes: int | None = None
) -> Rescored:
    """Do the work of `rescore_all`; a block that fails does not stop the others."""
    jobs = [
        (record.header.block_id, visit.header.device.screen)
        for visit in store.visits.all()
        for record in store.records.of_visit(visit.header.visit_id)
        if record.header.phase == "test" and record.ending is not None
    ]
    done = Rescored()
    with _outcomes(store, jobs, n_processes) as outcomes:
        for number, (block_id, fresh, found) in enumerate(outcomes, start=1):
            done.add(found)
            if fresh is not None:
                store.scores.put(block_id, *fresh)
            progress(number, len(jobs))
    return done


@contextmanager
def _outcomes(
    store: Store, jobs: list[Job], n_processes: int | None
) -> Iterator[Iterable[Outcome]]:
    most = n_workers(len(jobs), pays=PAYS, asked=n_processes)
    if most <= 1:
        yield (_score(store, job) for job in jobs)
        return
    with pool(most, store) as executor:
        yield executor.map(_score_here, jobs, chunksize=CHUNK)


def _score_here(job: Job) -> Outcome:
    return _score(store_here(), job)


def _score(store: Store, job: Job) -> Outcome:
    from battery.scoring import score_block
    from battery.scoring.trials import rows_to_keep

    block_id, screen = job
    found = Rescored()
    try:
        block = store.records.load(block_id)
        fresh = score_block(block, screen=screen)
        held = {
            row.measure: Held(
                row.value, row.n, row.low, row.high, row.reason, row.scoring_version
            )
            for row in store.scores.of_block(block_id)
        }
        differs = found.compare(block, screen, held, fresh)
        differs = differs or block_id not in store.scores.trials([block_id])
        to_store = (fresh, rows_to_keep(block)) if differs else None
    except BatteryError as error:
        found.fail(f"block {block_id}", str(error))
    except UNREADABLE as error:
        found.fail(f"block {block_id}", f"it cannot be scored: {type(error).__name__} {error}")
    else:
        return block_id, to_store, found
    return block_id, None, found
