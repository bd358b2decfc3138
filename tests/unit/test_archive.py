"""Many exports in one archive, scored again by whoever comes first: the same bits."""

import json
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

from battery.cli import app
from battery.export import export_tidy, rescore_export, verify_export
from battery.export.archive.engines import in_processes, on_dask
from battery.export.archive.rescored import ScoreJob, is_finished, score_part
from battery.export.on_disk.table_files import RESCORED
from battery.export.writing import parts
from battery.handover.keys import clinic_signature, make_clinic_keys
from battery.scoring import SCORING_VERSION
from battery.store import Store
from tests.export_kit import n_parts, rewrite, set_value

FORMATS = Path(__file__).parents[1] / "data" / "formats"


@pytest.fixture(scope="module")
def home(small_clinic, tmp_path_factory):
    """A clinic with a key of its own."""
    folder = tmp_path_factory.mktemp("archive")
    home = shutil.copytree(small_clinic, folder / "home")
    with Store.open(home) as store:
        make_clinic_keys(store, folder / "stick")
    return home


def exported(home, folder, *, blocks_a_part=1, **how):
    with pytest.MonkeyPatch.context() as patch, Store.open(home, write=False) as store:
        patch.setattr(parts, "MIN_BLOCKS", blocks_a_part)
        patch.setattr(parts, "MAX_BLOCKS", blocks_a_part)
        export_tidy(store, folder, sign=clinic_signature(store), **how)
    return folder


@pytest.fixture(scope="module")
def study(home, tmp_path_factory):
    """An export with a part a visit."""
    return exported(home, tmp_path_factory.mktemp("study") / "study")


@pytest.fixture
def own(study, tmp_path):
    return shutil.copytree(study, tmp_path / "own")


@pytest.fixture(autouse=True)
def _in_one_process(monkeypatch):
    """Starting others costs more here than the work; who asks for them gets them."""
    monkeypatch.setattr(os, "cpu_count", lambda: 1)


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


def scores_of(folder):
    """The scores that lie beside an export, each bit of them."""
    tables = [pq.read_table(p) for p in sorted(beside(folder).glob("*.parquet"))]
    rows = pa.concat_tables(tables).to_pylist()
    return sorted(map(repr, rows))


def beside(folder):
    return folder / RESCORED / f"version-{SCORING_VERSION}"


# The same bits, whoever does which part


@pytest.mark.parametrize("n_processes", [1, pytest.param(2, marks=pytest.mark.long)])
def test_any_partition_and_a_killed_worker_give_the_same_bits(home, own, tmp_path, n_processes):
    """The first part that is done gives the sign; a worker dies in the middle of others."""
    whole = exported(home, tmp_path / "whole", blocks_a_part=100)
    assert (n_parts(whole), n_parts(own)) == (1, 4)
    one = rescore_export(whole, keep=True)
    assert (one.n_differ, one.n_failed, one.n_values > 100) == (0, 0, True)
    assert "an earlier run" not in one.summary
    assert "that were kept: 1;" in rescore_export(whole, keep=True).summary
    killed, said = [], []

    def step(done, _total):
        if done == 1 and not killed:
            children = psutil.Process().children(recursive=True)
            workers = [c for c in children if "spawn_main" in " ".join(c.cmdline())]
            killed.append(workers[0].pid)
            workers[0].kill()

    dask = on_dask(n_processes=n_processes, say=said.append)
    assert rescore_export(own, keep=True, engine=dask, progress=step) == one
    assert killed
    assert scores_of(own) == scores_of(whole)
    assert said[0].startswith("watch it at http://127.0.0.1")


@pytest.mark.long
@pytest.mark.parametrize(
    "engine",
    [
        in_processes(1), in_processes(2), on_dask(n_processes=1), on_dask(n_processes=2),
        on_dask(n_processes=4),
    ],
)  # fmt: skip
def test_any_number_of_workers_gives_the_same_bits(own, engine):
    one = rescore_export(own, keep=True)
    held = scores_of(own)
    shutil.rmtree(own / RESCORED)
    assert rescore_export(own, keep=True, engine=engine) == one
    assert scores_of(own) == held


def test_nothing_is_written_unless_it_is_kept(own):
    before = sorted(own.rglob("*"))
    rescore_export(own)
    assert sorted(own.rglob("*")) == before
    assert verify_export(own).findings == ()


# Runs that were ended


def begun(folder):
    """End a run with its first part, and return what is finished, with its times."""

    class EndedError(Exception):
        pass

    def end(done, _total):
        if done:
            raise EndedError

    with pytest.raises(EndedError):
        rescore_export(folder, keep=True, engine=in_processes(1), progress=end)
    return finished(folder)


def killed(folder):
    """The same by a real kill of the command."""
    words = [sys.executable, "-m", "battery.cli", "rescore", "--from", str(folder), "--keep"]
    process = subprocess.Popen(
        [*words, "--workers", "1"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    until = time.monotonic() + 120
    while not finished(folder):
        assert time.monotonic() < until
        assert process.poll() is None
    process.kill()
    process.wait()
    return finished(folder)


def finished(folder):
    return {p.name: p.stat().st_mtime_ns for p in beside(folder).glob("part-*.parquet")}


@pytest.mark.parametrize("end", [begun, pytest.param(killed, marks=pytest.mark.long)])
def test_a_run_that_was_ended_goes_on_where_it_was(own, end):
    done = end(own)
    assert 1 <= len(done) < n_parts(own)
    (beside(own) / ".part-0002.parquet.0.partial").write_bytes(b"half")
    seen = []
    found = rescore_export(own, keep=True, progress=lambda *step: seen.append(step))
    assert seen[0] == (len(done), n_parts(own))
    assert done.items() <= finished(own).items()
    shutil.rmtree(own / RESCORED)
    assert found == rescore_export(own)


def test_a_part_is_done_again_only_if_it_changed(own):
    rescore_export(own, keep=True)
    jobs = [
        ScoreJob(own, n, beside(own) / f"part-{n:04d}.parquet")
        for n in range(1, n_parts(own) + 1)
    ]
    assert all(map(is_finished, jobs))
    jobs[1].scores.write_bytes(jobs[1].scores.read_bytes()[:-9])  # cut short
    assert [is_finished(job) for job in jobs[:3]] == [True, False, True]
    assert score_part(jobs[1]) == "part-0002.parquet"
    assert is_finished(jobs[1])
    told = json.loads((own / "datapackage.json").read_text())
    next(r for r in told["resources"] if r["name"] == "samples")["parts"][0]["hash"] = "other"
    (own / "datapackage.json").write_text(json.dumps(told))
    assert [is_finished(job) for job in jobs[:3]] == [False, True, True]


def test_a_new_export_into_the_folder_leaves_no_scores_of_the_last(home, own):
    rescore_export(own, keep=True)
    exported(home, own)
    assert not (own / RESCORED).exists()
    assert verify_export(own).findings == ()


# What changed from version to version


def with_column(table, name, values):
    place = table.schema.get_field_index(name)
    field = table.schema.field(place)
    return table.set_column(place, field, pa.array(values, field.type))


def test_what_another_version_scored_is_told_measure_by_measure(own):
    """Values made a tenth larger, of a version before; one value gone, one with a reason."""

    def older(table):
        values = [None if v is None else 1.1 * v for v in table.column("value").to_pylist()]
        table = with_column(table, "value", values)
        before = [SCORING_VERSION - 1] * table.num_rows
        return with_column(table, "scoring_version", before)

    rewrite(own, "scores", older)
    found = rescore_export(own)
    assert found.n_differ == 0
    assert found.n_other_version > 50
    line = next(row for row in found.summary.splitlines() if "tapping.radial_error_mm: " in row)
    assert "moved by -9.1 % (-9.1 to -9.1 %" in line
    assert run("rescore", "--from", own).exit_code == 0  # another version is no damage


def test_flags_and_reasons_that_changed_are_told(own):
    """A hit rate that was no ceiling then is one now, or the other way round."""

    def older(table):
        names = table.column("measure").to_pylist()
        values, reasons, versions = (
            table.column(c).to_pylist() for c in ("value", "reason", "scoring_version")
        )
        for at, name in enumerate(names):
            versions[at] = SCORING_VERSION - 1
            if name == "tapping.radial_error_mm":
                values[at] = 0.5
            elif values[at] is None:
                values[at], reasons[at] = 1.0, None
        for name, column in (
            ("value", values),
            ("reason", reasons),
            ("scoring_version", versions),
        ):
            table = with_column(table, name, column)
        return table

    rewrite(own, "scores", older)
    found = rescore_export(own)
    assert found.reasons
    assert all("#" in kind or kind for _, _, kind in found.reasons)
    text = found.summary
    assert f"version {SCORING_VERSION - 1} to {SCORING_VERSION}" in text
    assert "missing now:" in text
    assert "withheld now" in text


def test_what_parts_found_adds_up_to_what_one_finds_and_goes_through_json(own):
    rewrite(own, "scores", set_value("value", 0, 77.0))
    found = rescore_export(own)
    assert found.n_differ >= 1
    assert "was 77.0" in found.differ[0]
    assert type(found).from_plain(json.loads(json.dumps(found.to_plain()))) == found
    twice = type(found)()
    twice.add(found)
    twice.add(found)
    assert twice.n_values == 2 * found.n_values
    assert twice.changed.total() == 2 * found.changed.total()
    assert run("rescore", "--from", own).exit_code == 1
