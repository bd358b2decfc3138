"""What scoring an archive again costs: 1 worker, 2 workers, a killed run, and how that grows.

The archive is made up by multiplication: one export of many blocks, linked under many numbers.
By hand, on a quiet machine: ``BLOCKS=10000 pytest tests/bench/test_archive_cost.py -m long -s``
"""

import importlib
import os
import shutil
import subprocess
import sys
import time
from dataclasses import replace

import psutil
import pytest

from battery.export import Form, export_tidy, rescore_export
from battery.export.archive.engines import on_dask, workers_here
from battery.export.archive.listing import Entry, path_of, write_list
from battery.export.on_disk.signing import digest_of
from battery.export.on_disk.table_files import RESCORED
from battery.export.reading.reader import Export
from tests.bench.test_export_cost import one_visit, store_of
from tests.bench.watching import Watch
from tests.export_kit import EVERYBODY

__all__ = ["one_visit"]  # a fixture
pytestmark = [pytest.mark.bench, pytest.mark.long, pytest.mark.timeout(7200)]
BLOCKS = int(os.environ.get("BLOCKS", "2000"))
A_STUDY = 1_000  # blocks
MAX_WORKER_MB = 400
TEN_MILLION = 10_000_000


@pytest.fixture(scope="module")
def archive(one_visit, tmp_path_factory):
    """An archive of so many test blocks; what is in it twice counts twice."""
    folder = tmp_path_factory.mktemp("archive")
    whole, scores = one_visit
    tests = tuple(b for b in whole.blocks if b.header.phase == "test")
    a_study = min(A_STUDY, BLOCKS)
    with store_of(
        folder / "home", (replace(whole, blocks=tests), scores), a_study // len(tests)
    ) as store:
        export_tidy(store, folder / "study", selection=EVERYBODY, form=Form(n_processes=1))
    digest = digest_of(Export(folder / "study").package)
    entries = []
    for number in range(1, BLOCKS // a_study + 1):
        path = path_of("big", "north", number)
        shutil.copytree(folder / "study", folder / "archive" / path, copy_function=os.link)
        entries.append(Entry("big", "north", path, digest, "", a_study // 4, a_study))
    write_list(folder / "archive", entries)
    return folder / "archive"


def forget(archive):
    for folder in archive.glob(f"*/*/*/{RESCORED}"):
        shutil.rmtree(folder)


def finished(archive):
    return {p: p.stat().st_mtime_ns for p in archive.glob(f"*/*/*/{RESCORED}/*/part-*.parquet")}


def workers_s():
    """Processor seconds of all processes below this one."""
    times = [child.cpu_times() for child in psutil.Process().children(recursive=True)]
    return sum(t.user + t.system for t in times)


def test_two_workers_do_nearly_twice_as_much(archive):
    """Workers are started, and have loaded the program, before the time begins."""
    import distributed

    wall_s, processor_s, peaks_mb, found = {}, {}, {}, {}
    for n_workers in (1, 2):
        forget(archive)
        with (
            workers_here(n_workers) as cluster,
            distributed.Client(cluster) as client,
            Watch() as watch,
        ):
            client.wait_for_workers(n_workers)
            client.run(importlib.import_module, "battery.export.archive.rescored")
            begun_s, used_s = time.monotonic(), workers_s()
            found[n_workers] = rescore_export(
                archive, keep=True, engine=on_dask(cluster.scheduler_address)
            )
            wall_s[n_workers] = time.monotonic() - begun_s
            processor_s[n_workers] = workers_s() - used_s
        peaks_mb[n_workers] = watch.peak_mb
    assert found[1] == found[2]
    assert (found[1].n_failed, found[1].n_differ) == (0, 0)
    n = found[1].n_blocks
    each_ms = 1e3 * processor_s[1] / n
    sys.stdout.write(
        f"\n{n} blocks: 1 worker {wall_s[1]:.1f} s, 2 workers {wall_s[2]:.1f} s, "
        f"{wall_s[1] / wall_s[2]:.2f} times as fast by the clock (only a quiet machine tells); "
        f"processor seconds {processor_s[1]:.1f} and {processor_s[2]:.1f}, so "
        f"{2 * processor_s[1] / processor_s[2]:.2f} times where both cores are free; "
        f"{each_ms:.1f} ms a block; most memory of a worker "
        f"{max(peaks_mb.values()):.0f} MB; {TEN_MILLION:,} blocks would take "
        f"{each_ms * TEN_MILLION / 3.6e6:.0f} core-hours, on 100 cores "
        f"{each_ms * TEN_MILLION / 3.6e8:.1f} hours\n"
    )
    assert max(peaks_mb.values()) < MAX_WORKER_MB


def test_a_killed_run_goes_on(archive):
    forget(archive)
    words = [sys.executable, "-m", "battery.cli", "rescore", "--from", str(archive)]
    process = subprocess.Popen(
        [*words, "--engine", "dask", "--workers", "2"], stdout=subprocess.DEVNULL
    )
    while not finished(archive):
        assert process.poll() is None
        time.sleep(0.1)  # a bench, not a test of every run
    process.kill()
    process.wait()
    done = finished(archive)
    seen = []
    found = rescore_export(
        archive, keep=True, engine=on_dask(n_processes=2),
        progress=lambda *step: seen.append(step),
    )  # fmt: skip
    assert seen[0][0] >= len(done)
    assert done.items() <= finished(archive).items()
    assert found.n_blocks == BLOCKS // min(A_STUDY, BLOCKS) * (min(A_STUDY, BLOCKS) // 4 * 4)
    sys.stdout.write(f"\nkilled with {len(done)} parts done, went on with the others\n")
