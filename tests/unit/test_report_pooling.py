"""What everybody brings to the pools: the same by the short way as reading by reading."""

import shutil
import sqlite3

import pytest

from battery.flagging import Flagging
from battery.report.combined import by_measure
from battery.report.gather import gather
from battery.report.points import rule_of
from battery.report.pool_reading import read_pools
from battery.report.pooling import shares_of
from battery.report.readings import Everything, readings_or_none
from battery.report.rendering import page_of, render
from battery.store import Store, rebuild
from tests.desk.office import NOW
from tests.multiplying import multiplied
from tests.sparing import share

CODE = "AAA9"
N_PEOPLE, N_VISITS = 5, 5
SOME = "block_id IN (SELECT block_id FROM blocks WHERE rowid % 5 = 0)"


@pytest.fixture(scope="module")
def grown(clinic, tmp_path_factory):
    """A clinic where several people are past their baseline, no two values alike."""
    home = shutil.copytree(clinic, tmp_path_factory.mktemp("grown") / "clinic")
    multiplied(home, N_PEOPLE, N_VISITS)
    return home


@pytest.fixture
def own_grown(grown, tmp_path):
    return shutil.copytree(grown, tmp_path / "clinic")


def spoilt(home, statement):
    with sqlite3.connect(home / "battery.sqlite") as held:
        held.execute(statement)
    held.close()


def reading_by_reading(store):
    """What everybody brings, of all readings of all measures: slow, and plain."""
    everything = Everything.read(store)
    return {
        code: shares_of(
            everything.people[code],
            by_measure(
                readings_or_none(everything, code, visits), rule_of(everything.people[code])
            ),
        )
        for code, visits in everything.visits.items()
        if visits
    }


def shares(pools):
    return {
        code: dict(theirs) for same in pools._by_plan.values() for code, theirs in same.items()
    }


ODD = {
    "as it is": "SELECT 1",
    "values are missing": "UPDATE scores SET value = NULL WHERE measure LIKE '%_mm'",
    "a value is missing here and there": "UPDATE scores SET value = NULL WHERE rowid % 7 = 0",
    "blocks without scores": "DELETE FROM scores WHERE {some}",
    "another version of scoring": "UPDATE scores SET scoring_version = 1 WHERE {some}",
    "another pointer": "UPDATE blocks SET input_type = 'touch' WHERE {some}",
    "values of 0 and below": "UPDATE scores SET value = -1 WHERE rowid % 3 = 0",
    "no main measure": "DELETE FROM scores WHERE measure = 'tapping.radial_error_mm'",
    "too few trials": "UPDATE scores SET n = 1 WHERE {some}",
    "stopped": "UPDATE blocks SET ending = 'stopped' WHERE {some}",
    "a value that is none": "UPDATE scores SET value = 'x' WHERE rowid % 11 = 0",
    "a number of trials that is none": "UPDATE scores SET n = 'x' WHERE rowid % 5 = 0",
}


@pytest.mark.parametrize("odd", share(ODD, 3))
def test_the_short_way_finds_what_readings_bring(own_grown, odd):
    spoilt(own_grown, ODD[odd].replace("{some}", SOME))
    with Store.open(own_grown, write=False) as store:
        slow = reading_by_reading(store)
        assert shares(read_pools(store)) == slow
    told = [share for theirs in slow.values() for own in theirs.values() for share in own]
    assert any(share.baseline for share in told)


def test_a_page_reads_one_person_and_the_pools(grown, monkeypatch):
    with Store.open(grown, write=False) as store:
        pools = read_pools(store)
        read = set()
        built = rebuild.visit_record

        def watched(row):
            read.add(row["person"])
            return built(row)

        monkeypatch.setattr(rebuild, "visit_record", watched)
        rows = gather(store, CODE, pools)
        assert read == {CODE}
        assert rows == gather(store, CODE)
        assert read > {CODE}


def test_who_changed_is_read_anew_and_nobody_else(own_grown):
    said = {"author": "AB", "reason": "mixed up", "at_utc": "2026-12-01T10:00:00+00:00"}
    with Store.open(own_grown) as store:
        pools = read_pools(store)
        visit = store.visits.all(CODE)[3].header.visit_id
        store.annotations.amend("visit", visit, "person", "M4WX", **said)
        fresh = read_pools(store)
        assert shares(fresh) != shares(pools)
        assert shares(pools.renewed(store, [CODE, "M4WX"])) == shares(fresh)


def test_a_page_with_pools_that_are_held_is_the_page(grown):
    with Store.open(grown, write=False) as store:
        pools = read_pools(store)
        for person in store.people.all():
            held = render(page_of(store, person.code, now=NOW, pools=pools))
            assert held == render(page_of(store, person.code, now=NOW))


def test_flags_of_one_person_are_those_of_everybody(grown):
    with Store.open(grown, write=False) as store:
        whole = Flagging.read(store)
        own = Everything.read_person(store, store.people.get(CODE)).flagging
        assert own.usual[CODE] == whole.usual[CODE]
        assert own.before == {key: whole.before[key] for key in own.before}
        assert own.before
