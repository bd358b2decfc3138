"""Many exports in one archive, scored again by whoever comes first: the same bits."""

import json
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import duckdb
import psutil
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

from battery.cli import app
from battery.errors import UsageError
from battery.export import Form, add_exports, export_tidy, parts, rescore_export, verify_export
from battery.export.archive_list import exports_in, read_archive
from battery.export.engines import in_processes, on_dask
from battery.export.rescored import ScoreJob, is_finished, score_part
from battery.export.selection import Selection
from battery.export.table_files import RESCORED
from battery.handover.keys import clinic_signature, make_clinic_keys
from battery.scoring import SCORING_VERSION
from battery.store import Store
from tests import clinic as made_up
from tests.export_kit import n_parts, put_blocks_right, rewrite, set_value

FORMATS = Path(__file__).parents[1] / "data" / "formats"


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """A small clinic with a key of its own."""
    folder = tmp_path_factory.mktemp("archive")
    home = folder / "home"
    made_up.make_small(home)
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


def test_any_partition_and_a_killed_worker_give_the_same_bits(home, own, tmp_path):
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

    dask = on_dask(n_processes=2, say=said.append)
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


# The archive


def told(added):
    return "\n".join(added.lines)


def test_exports_of_two_sites_lie_apart_as_they_were_made(own, tmp_path):
    """The same people's codes at both: only study and site keep them apart."""
    other = shutil.copytree(FORMATS / "02" / "export", tmp_path / "other")
    archive = tmp_path / "archive"
    added = add_exports(archive, [own], study="reach")
    added2 = add_exports(archive, [other], study="reach", site="south")
    assert (added.n_refused, added2.n_refused) == (0, 0), told(added) + told(added2)
    entries = read_archive(archive)
    assert [e.site == "south" for e in entries] == [False, True]
    assert entries[0].site == entries[0].signer.replace(" ", "-")
    for source, entry in zip((own, other), entries, strict=True):
        there = archive / entry.path
        names = {p.relative_to(source) for p in source.rglob("*") if p.is_file()}
        assert names == {p.relative_to(there) for p in there.rglob("*") if p.is_file()}
        assert all((source / n).read_bytes() == (there / n).read_bytes() for n in names)
        assert verify_export(there).findings == ()
    query = (
        "SELECT DISTINCT study, site, person FROM read_parquet("
        f"'{archive.as_posix()}/*/*/*/people.parquet', hive_partitioning=true)"
    )
    people = duckdb.sql(query).fetchall()
    assert {(study, site) for study, site, _ in people} == {("reach", e.site) for e in entries}
    assert rescore_export(archive).n_blocks == sum(
        rescore_export(folder).n_blocks for folder in (own, other)
    )


@pytest.mark.parametrize("form", sorted(p.name for p in FORMATS.iterdir() if p.is_dir()))
def test_every_form_that_was_ever_written_is_taken_in_and_scored(tmp_path, form):
    archive = tmp_path / "archive"
    added = add_exports(archive, [FORMATS / form / "export"], study="old", site="north")
    assert added.n_refused == 0, told(added)
    found = rescore_export(archive)
    assert (found.n_failed, found.n_blocks) == (0, 4)
    assert run("verify", archive).exit_code == 0
    assert "study=old/site=north/export=001: " in run("archive", "list", archive).output


def test_what_is_there_already_is_named(home, own, tmp_path):
    archive = tmp_path / "archive"
    part = exported(home, tmp_path / "part", selection=Selection(people=["K7QF"]))
    add_exports(archive, [part], study="reach")
    again = add_exports(archive, [part], study="reach")
    assert "is there already, as study=reach/" in told(again)
    # All of it, and more: it takes the place of the earlier one.
    more = add_exports(archive, [own], study="reach")
    assert "in place of study=reach" in told(more)
    assert len(exports_in(archive)) == 1
    assert [e.path[-3:] for e in read_archive(archive)] == ["002"]
    assert not list(archive.glob("*/*/export=001"))
    # Only a part of what is there.
    less = add_exports(archive, [part], study="reach")
    assert less.n_refused == 1
    assert "of its blocks are in study=reach" in told(less)
    # From another site; and in another study, where that is said and no more.
    elsewhere = add_exports(archive, [own], study="other")
    assert "another study too" in told(elsewhere)
    moved = add_exports(archive, [part], study="reach", site="north")
    assert "came from another site already" in told(moved)


def test_blocks_apart_lie_beside_each_other(home, tmp_path):
    archive = tmp_path / "archive"
    folders = [
        exported(home, tmp_path / code, selection=Selection(people=[code]))
        for code in ("K7QF", "M4WX")
    ]
    added = add_exports(archive, folders, study="reach")
    assert added.n_refused == 0
    assert [e.path[-3:] for e in read_archive(archive)] == ["001", "002"]


def test_a_contradiction_is_named_and_nothing_is_taken(home, own, tmp_path):
    """A block whose hash was made anew over another length: two clinics' word of one block."""
    archive = tmp_path / "archive"
    add_exports(archive, [own], study="reach", site="north")
    other = shutil.copytree(own, tmp_path / "other")
    rewrite(other, "blocks", set_value("start_s", 0, 1234.5))
    put_blocks_right(other)
    del_signature(other)
    added = add_exports(archive, [other], study="reach", site="north")
    assert "says otherwise" in told(added)
    assert added.n_refused == 1
    assert len(exports_in(archive)) == 1


def del_signature(folder):
    told = json.loads((folder / "datapackage.json").read_text())
    told.pop("signature", None)
    (folder / "datapackage.json").write_text(json.dumps(told))


def test_the_same_recordings_under_new_codes_are_named(home, own, tmp_path):
    archive = tmp_path / "archive"
    anew = exported(home, tmp_path / "anew", form=Form(key_list=tmp_path / "keys.csv"))
    add_exports(archive, [own], study="reach", site="north")
    added = add_exports(archive, [anew], study="reach", site="south")
    assert added.n_refused == 0
    assert "under other identifiers: whoever reads both counts them twice" in told(added)


def test_what_does_not_hold_is_refused_and_stops_no_other(own, tmp_path):
    bad = shutil.copytree(own, tmp_path / "bad")
    (bad / "people.parquet").write_bytes(b"x")
    unsigned = shutil.copytree(own, tmp_path / "unsigned")
    del_signature(unsigned)
    archive = tmp_path / "archive"
    added = add_exports(archive, [bad, tmp_path / "nothing", unsigned, own], study="reach")
    assert added.n_refused == 3
    text = told(added)
    assert "it does not hold: people.parquet" in text
    assert "holds no export" in text
    assert "say with --site where it comes from" in text
    assert len(exports_in(archive)) == 1
    assert not (archive / ".partial").exists()


@pytest.mark.parametrize("label", ["", "..", "a/b", "a b", "x" * 41, "-x", "site=1"])
def test_a_name_that_leads_elsewhere_is_refused(own, tmp_path, label):
    with pytest.raises(UsageError, match="is no name of a study"):
        add_exports(tmp_path / "archive", [own], study=label)
    assert not (tmp_path / "archive").exists()


def test_a_list_that_leads_elsewhere_is_not_followed(own, tmp_path):
    archive = tmp_path / "archive"
    add_exports(archive, [own], study="reach")
    told = json.loads((archive / "archive.json").read_text())
    for path in ("../own", "study=reach/site=x/export=../../..", str(own)):
        told["exports"][0]["path"] = path
        (archive / "archive.json").write_text(json.dumps(told))
        with pytest.raises(UsageError, match="cannot be read"):
            rescore_export(archive)
    lost = {
        "study": "../..",
        "path": f"study=../../site={told['exports'][0]['site']}/export=001",
    }
    told["exports"][0] |= lost
    (archive / "archive.json").write_text(json.dumps(told))
    with pytest.raises(UsageError, match="cannot be read"):
        exports_in(archive)
    told["version"] = "9.0.0"
    (archive / "archive.json").write_text(json.dumps(told))
    with pytest.raises(UsageError, match=r"form 9\.0\.0"):
        exports_in(archive)


def test_a_folder_with_something_else_is_left_alone(own, tmp_path):
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "mine.txt").write_text("x")
    with pytest.raises(UsageError, match=r"holds 'mine.txt' and is no archive"):
        add_exports(tmp_path / "letters", [own], study="reach")


# The commands


def test_the_commands_say_what_goes_together(own, tmp_path):
    for words, said in (
        (("rescore", "--from", own, "--engine", "spark"), "no engine 'spark'"),
        (("rescore", "--from", own, "--scheduler", "tcp://x:1"), "goes with --engine dask"),
        (("rescore", "--keep"), "go with --from"),
        (("archive", "list", tmp_path), "is no archive"),
        (("archive", "add", tmp_path / "a"), "which exports"),
        (("archive", "drop", tmp_path / "a"), "no action 'drop'"),
    ):
        result = run(*words)
        assert isinstance(result.exception, UsageError), words
        assert said in str(result.exception)


def test_a_scheduler_that_is_not_there_is_said(own, monkeypatch):
    import distributed

    def nobody(*_, **__):
        msg = "Timed out"
        raise OSError(msg)

    monkeypatch.setattr(distributed, "Client", nobody)
    with pytest.raises(UsageError, match=r"no scheduler answers at 'tcp://127\.0\.0\.1:1'"):
        rescore_export(own, engine=on_dask("tcp://127.0.0.1:1"))


def test_without_the_extra_the_way_out_is_said(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError, match="extra 'archive'"):
        on_dask()
