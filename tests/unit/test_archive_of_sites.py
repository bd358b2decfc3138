"""Exports of several sites in one archive: what goes together, and what is refused."""

import json
import shutil
import sys

import duckdb
import pytest

from battery.errors import UsageError
from battery.export import Form, add_exports, rescore_export, verify_export
from battery.export.archive.engines import on_dask
from battery.export.archive.listing import exports_in, read_archive
from battery.export.choosing.selection import Selection
from tests.export_kit import put_blocks_right, rewrite, set_value
from tests.unit.test_archive import (
    FORMATS,
    _in_one_process,
    exported,
    home,
    own,
    run,
    study,
)

__all__ = ["_in_one_process", "home", "own", "study"]  # fixtures of both files


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
    with pytest.raises(UsageError, match="is not a name for a study"):
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
    with pytest.raises(UsageError, match=r"holds 'mine.txt' and is not an archive"):
        add_exports(tmp_path / "letters", [own], study="reach")


# The commands


def test_the_commands_say_what_goes_together(own, tmp_path):
    for words, said in (
        (("rescore", "--from", own, "--engine", "spark"), "no engine 'spark'"),
        (("rescore", "--from", own, "--scheduler", "tcp://x:1"), "goes with --engine dask"),
        (("rescore", "--keep"), "go with --from"),
        (("archive", "list", tmp_path), "is not an archive"),
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
