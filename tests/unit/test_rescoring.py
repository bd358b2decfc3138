"""Scoring again: the same bits from one process or many, raw untouched, and a reason told."""

import shutil
import sqlite3
import statistics
from contextlib import closing

import pytest

from battery.rescoring import rescore, rescore_all
from battery.scoring import MEASURES, SCORING_VERSION
from battery.scoring.definitions.news import news_of
from battery.store import Store

COUNTERS = {"revisions", "sqlite_sequence"}  # count changes of a visit, those of scores too


@pytest.fixture(scope="module")
def clinic(small_clinic):
    """One task is enough here, where no test asks for all."""
    return small_clinic


@pytest.fixture
def own_whole(whole_clinic, tmp_path):
    return shutil.copytree(whole_clinic, tmp_path / "clinic")


def tables(folder, *, scores):
    """What a store holds, row by row: its scores, or everything else."""
    with closing(sqlite3.connect(folder / "battery.sqlite")) as database:
        names = [
            name
            for (name,) in database.execute("SELECT name FROM sqlite_master WHERE type='table'")
            if (name in ("scores", "trials")) is scores and name not in COUNTERS
        ]
        return {
            name: sorted(map(repr, database.execute(f"SELECT * FROM {name}"))) for name in names
        }


def change(folder, statement):
    with closing(sqlite3.connect(folder / "battery.sqlite")) as database, database:
        database.execute(statement)


def rescored(folder, n_processes=1):
    seen = []
    with Store.open(folder) as store:
        found = rescore(
            store, progress=lambda done, total: seen.append((done, total)),
            n_processes=n_processes,
        )  # fmt: skip
    assert seen == [(k, seen[-1][1]) for k in range(1, len(seen) + 1)]
    return found


@pytest.mark.long  # an archive in parts is in every run
def test_one_process_or_two_give_the_same_bits_and_raw_stays(own_clinic, tmp_path):
    change(own_clinic, "DELETE FROM scores")
    raw = tables(own_clinic, scores=False)
    assert {"blocks", "visits"} < set(raw)
    other = shutil.copytree(own_clinic, tmp_path / "other")
    one, two = rescored(own_clinic), rescored(other, n_processes=2)
    assert one == two
    assert one.n_blocks > 3
    assert one.n_values == one.changed.total()
    assert "never scored before" in one.summary
    assert tables(own_clinic, scores=True) == tables(other, scores=True)
    for folder in (own_clinic, other):
        assert tables(folder, scores=False) == raw


def test_what_was_scored_is_found_again(own_whole):
    """What the visit stored when it was done and what is computed now are the same bits."""
    found = rescored(own_whole)
    assert {why for why, _ in found.changed} == {"never scored before"}  # a block cut off
    before = tables(own_whole, scores=True)
    found = rescored(own_whole)
    assert found.changed.total() == 0
    assert " 0 changed, all the same bit for bit; raw records untouched" in found.summary
    assert tables(own_whole, scores=True) == before


def test_a_change_is_told_with_its_reason(own_whole):
    rescored(own_whole)
    before = tables(own_whole, scores=True)
    defined_anew, kept = "slide.mean_speed_mm_s", "tapping.reaction_time_s"
    assert (MEASURES[defined_anew].since, MEASURES[kept].since) == (2, 1)
    change(
        own_whole,
        "UPDATE scores SET scoring_version = 1, value = value + 1, low = NULL "
        f"WHERE measure IN ('{defined_anew}', '{kept}')",
    )
    change(own_whole, "DELETE FROM scores WHERE measure = 'slide.sparc'")
    change(own_whole, "UPDATE scores SET value = 0.5 WHERE measure = 'tapping.hit_rate'")
    change(own_whole, "UPDATE scores SET measure = 'trail.x' WHERE measure = 'trail.n_lifts'")
    found = rescored(own_whole)
    assert {why for why, _ in found.changed} == {
        f"version 1 to {SCORING_VERSION}, defined anew",
        f"version 1 to {SCORING_VERSION}, computed anew",
        "new measure",
        "no longer measured",
        "same version: other libraries or another machine",
    }
    assert f"version 1 to {SCORING_VERSION}, defined anew" in found.summary
    line = next(row for row in found.summary.splitlines() if f"    {kept}: " in row)
    with Store.open(own_whole, write=False) as store:
        now = [r.value for r in store.scores.all() if r.measure == kept and r.value == r.value]
    moved = sorted(100 * (value / (value + 1) - 1) for value in now)
    assert f"{len(now)} moved by {statistics.median(moved):+.2g} %" in line
    assert line.endswith(")") or len(now) == 1  # its definition stayed: no why
    assert tables(own_whole, scores=True) == before


def test_a_block_that_cannot_be_scored_is_named_and_stops_no_other(own_whole):
    with Store.open(own_whole, write=False) as store:
        bad = next(r.block_id for r in store.scores.all() if r.measure == "slide.sparc")
    rescored(own_whole)
    before = tables(own_whole, scores=True)
    change(own_whole, f"UPDATE payloads SET frames = x'00' WHERE block_id = '{bad}'")
    found = rescored(own_whole)
    assert list(found.failed) == [f"block {bad}"]
    assert found.n_blocks > 1
    assert f"not scored: block {bad}: " in found.summary
    assert tables(own_whole, scores=True) == before


def test_an_empty_store_is_no_error(tmp_path):
    with Store.open(tmp_path / "new") as store:
        assert rescore_all(store, progress=pytest.fail).startswith("0 blocks scored")


def test_every_measure_defined_anew_says_what_changed():
    """And no other does: news of a measure that stayed would be told for nothing."""
    for name, measure in MEASURES.items():
        assert bool(news_of(name)) is (measure.since == SCORING_VERSION), name


def test_a_value_defined_anew_is_told_with_why(own_whole):
    rescored(own_whole)
    name = "trail.time_per_link_s"
    change(
        own_whole,
        "UPDATE scores SET scoring_version = 2, value = value / 2 "
        f"WHERE measure = '{name}' AND value IS NOT NULL",
    )
    line = next(r for r in rescored(own_whole).summary.splitlines() if f"    {name}: " in r)
    assert "moved by +1e+02 %" in line
    assert "a trail given up, or thought out before it was begun, looked quicker" in line
