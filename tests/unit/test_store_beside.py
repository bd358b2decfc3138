"""What lies beside the records of a store, and its tables."""

import math
import threading
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from sqlalchemy import inspect, text

from battery.errors import StoreError, UsageError
from battery.recording import FRAME_DTYPE, SAMPLE_DTYPE, canonical_json
from battery.scoring.score import SCORING_VERSION, Score, missing
from battery.store import Store, migrations, schema
from tests import store_kit as kit
from tests.unit.test_store import LATER, address, store, visit

__all__ = ["address", "store", "visit"]  # fixtures of both files


# Beside the record


def test_scores_replace_those_of_an_earlier_scoring(store, visit):
    header = kit.block_header(visit)
    kit.record(store, header)
    store.scores.put(
        header.block_id, [Score("slide.extent_mm", 1.0, 3), missing("slide.x", "")]
    )
    again = [
        Score("slide.extent_mm", 71.25, 12, 70.0, 72.5),
        missing("slide.jitter_across_mm", "too short", 2),
    ]
    store.scores.put(header.block_id, again)
    first, second = store.scores.all()
    assert (first.measure, first.value, first.n, first.low, first.high) == (
        "slide.extent_mm", 71.25, 12, 70.0, 72.5,
    )  # fmt: skip
    assert math.isnan(second.value)
    assert math.isnan(second.low)
    assert (second.reason, second.n, second.scoring_version) == (
        "too short",
        2,
        SCORING_VERSION,
    )
    assert len(store.scores.all("K7QF")) == 2
    assert store.scores.all("NONE") == []


def test_an_amendment_lies_beside_the_record(store, visit):
    header = kit.block_header(visit)
    block = kit.record(store, header)
    assert header.hand == "right"
    said = {"author": "therapist 2", "reason": "the person said so", "at_utc": LATER}
    first = store.annotations.amend("block", header.block_id, "hand", "left", **said)
    second = store.annotations.amend(
        "block", header.block_id, "hand", "right", **{**said, "at_utc": LATER}
    )
    assert (first.old, first.new) == ("right", "left")
    assert second.old in ("left", "right")
    assert (
        store.annotations.amend("visit", visit.visit_id, "excluded", "yes", **said).old == "no"
    )
    assert store.records.load(header.block_id).sha256 == block.sha256
    assert store.records.of_visit(visit.visit_id)[0].header.hand == "right"
    assert len(store.annotations.amendments("K7QF")) == len(store.annotations.amendments()) == 3
    assert store.annotations.amendments("NONE") == []


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"field": "samples"}, "cannot be amended; hand, excluded, note can"),
        ({"new": "both"}, "say left or right"),
        ({"target_id": "nothing"}, "no block 'nothing'"),
        ({"author": " "}, "needs an author and a reason"),
        ({"reason": ""}, "needs an author and a reason"),
        ({"target": "visit", "field": "person", "new": "NONE"}, "no person 'NONE'"),
    ],
)
def test_an_amendment_that_cannot_be_is_refused(store, visit, change, message):
    header = kit.block_header(visit)
    kit.record(store, header)
    words = {
        "target": "block", "target_id": header.block_id, "field": "hand", "new": "left",
        "author": "a", "reason": "b", "at_utc": LATER, **change,
    }  # fmt: skip
    with pytest.raises(UsageError, match=message):
        store.annotations.amend(**words)
    assert store.annotations.amendments() == []


def test_markers_are_dated_and_of_a_known_kind(store):
    late = store.annotations.add_marker("K7QF", "medication", at_utc=LATER, note="evening dose")
    early = store.annotations.add_marker("K7QF", "relapse", at_utc="2026-01-01T00:00:00+00:00")
    assert store.annotations.markers("K7QF") == [early, late] == store.annotations.markers()
    with pytest.raises(UsageError, match="'mood' is not a kind of event"):
        store.annotations.add_marker("K7QF", "mood", at_utc=LATER)


# The tables


def test_tables_made_by_the_steps_are_the_tables_of_the_schema(store):
    found = inspect(store._engine)
    assert set(found.get_table_names()) == set(schema.metadata.tables)
    for table in schema.metadata.sorted_tables:
        columns = {c["name"]: c for c in found.get_columns(table.name)}
        assert set(columns) == set(table.columns.keys()), table.name
        for column in table.columns:
            there = columns[column.name]
            assert there["nullable"] == column.nullable, column
            assert there["type"]._type_affinity is column.type._type_affinity, column
        keys = {tuple(f["constrained_columns"]) for f in found.get_foreign_keys(table.name)}
        assert keys == {(c.name,) for c in table.columns if c.foreign_keys}, table.name
        primary = found.get_pk_constraint(table.name)["constrained_columns"]
        assert primary == [c.name for c in table.primary_key], table.name
        indexes = {i["name"] for i in found.get_indexes(table.name) if not i["unique"]}
        assert indexes == {i.name for i in table.indexes}, table.name


def test_a_step_that_fails_leaves_no_trace(address, monkeypatch):
    def half(connection):
        connection.execute(text("CREATE TABLE half (x INTEGER)"))
        connection.execute(text("CREATE TABLE people (x INTEGER)"))  # is there already

    Store.open(address).close()
    with monkeypatch.context() as patch:
        patch.setattr(migrations, "STEPS", (*migrations.STEPS, half))
        with pytest.raises(StoreError, match="nothing was changed"):
            Store.open(address)
    with Store.open(address) as store:
        assert not inspect(store._engine).has_table("half")


def test_several_programs_may_open_a_new_store_at_once(address):
    """One of them makes the tables, once; the others wait for it."""
    at_once = threading.Barrier(4)

    def open_it(_number):
        at_once.wait()
        with Store.open(address) as store:
            return store.people.all()

    with ThreadPoolExecutor(4) as pool:
        assert list(pool.map(open_it, range(4))) == [[]] * 4
    with Store.open(address) as store, store._engine.connect() as connection:
        steps = connection.execute(text("SELECT count(*) FROM migrations")).scalar()
    assert steps == len(migrations.STEPS)


def test_arrays_of_no_rows_keep_their_columns(store, visit):
    header = kit.block_header(visit)
    kit.record(
        store, header, samples=np.zeros(0, SAMPLE_DTYPE), frames=np.zeros(0, FRAME_DTYPE)
    )
    again = store.records.load(header.block_id)
    assert again.samples.dtype == SAMPLE_DTYPE
    assert canonical_json(again.header.settings) == canonical_json(header.settings)
