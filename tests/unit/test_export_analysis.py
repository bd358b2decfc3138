"""What stands in the documents for researchers runs, and other means find the same scores."""

import json
import math
import re
import runpy
import shutil
import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.dataset as ds
import pyarrow.parquet as pq
import pytest

from battery.errors import RecordError
from battery.export import (
    add_exports,
    block_from_rows,
    export_tidy,
    redo,
    screen_from_row,
    verify_export,
)
from battery.export.dictionary.columns import UUID
from battery.export.rows.raw import block_sha256
from battery.export.rows.rebuilding import parted_settings, whole_settings
from battery.plan import Plan, PlannedTask
from battery.recording import short_hash_of
from battery.simulate import Person as Simulated
from battery.simulate import Truth
from battery.store import Store
from tests import clinic as made_up
from tests import store_kit as kit
from tests.export_kit import EVERYBODY, rewrite, rows

DOCUMENT = Path(redo.__file__).with_name("analysis.md")


@pytest.fixture(scope="module")
def study(clinic, tmp_path_factory):
    folder = tmp_path_factory.mktemp("analysis") / "study"
    with Store.open(clinic, write=False) as store:
        export_tidy(store, folder)
    return folder


def example(number):
    return re.findall(r"```python\n(.*?)```", DOCUMENT.read_text(encoding="utf-8"), re.DOTALL)[
        number
    ]


def run(number, study, archive=None):
    told = {"study": study.as_posix(), "archive": archive and archive.as_posix()}
    exec(compile(example(number), f"{DOCUMENT.name} {number}", "exec"), told)
    return told


def test_pandas_reads_main_measures_over_time(study):
    table = run(0, study)["table"]
    assert set(table.index.get_level_values("person")) == {"K7QF", "M4WX"}
    assert "trail.time_per_link_s" in table.columns
    days = {(v["person"], int(v["day"]), v["excluded"]) for v in rows(study, "visits")}
    told = {(person, day) for person, day, _ in table.index}
    assert told == {(person, day) for person, day, excluded in days if excluded == "false"}
    assert any(excluded == "true" for *_, excluded in days)


def test_polars_reads_samples_without_loading_all(study):
    travelled = run(1, study)["travelled"]
    assert set(travelled.columns) == {"block_id", "path_mm"}
    assert travelled["path_mm"].min() > 0
    assert all(re.fullmatch(UUID, name) for name in travelled["block_id"].to_list())


def test_duckdb_reads_trials_where_they_lie(study):
    reactions = run(2, study)["reactions"]
    assert reactions
    assert all(n > 3 and 0.1 < reaction_s < 2 for _, _, n, reaction_s in reactions)


def test_duckdb_tells_sites_of_an_archive_apart(study, tmp_path):
    archive = tmp_path / "archive"
    for name in ("reach", "other"):
        add_exports(archive, [study], study=name, site="north")
    people = run(3, study, archive)["people"]
    assert people == [("other", "north", 2), ("reach", "north", 2)]


def test_a_block_is_made_of_rows_that_anything_read(study):
    told = run(4, study)
    exported = {
        r["measure"]: r["value"]
        for r in rows(study, "scores")
        if r["block_id"] == told["row"]["block_id"]
    }
    again = {s.measure: "" if np.isnan(s.value) else str(s.value) for s in told["again"]}
    assert again == exported


def test_every_example_is_run():
    assert len(re.findall(r"```python", DOCUMENT.read_text(encoding="utf-8"))) == 5


# The main measures by other means


def test_the_main_measures_are_found_by_other_means(study):
    """Nothing of scoring is used; sums run in another order, so the last digits may differ."""
    found = redo.redo(study)
    assert {name for _, name, *_ in found} == {name for name, _ in redo.MAIN.values()}
    assert len(found) >= 14
    for block, name, exported, again in found:
        assert again == pytest.approx(exported, rel=1e-12), (block, name)


HANDS = {
    "trembles": Truth(tremor_hz=5.0, tremor_mm=2.0),
    "trembles slowly": Truth(tremor_hz=3.0, tremor_mm=4.0),
    "is steady": Truth(tremor_mm=0.0),
    "loses contact": Truth(tremor_hz=6.0, tremor_mm=1.5, lost_contact_per_min=30.0),
}
SHORT = Plan(
    name="short",
    hands="right",
    rest_s=0,
    tasks=(
        PlannedTask(task="slide", options={"duration_s": 20.0}),
        PlannedTask(task="pursuit", options={"predictable_s": 4.0, "unpredictable_s": 20.0}),
    ),
)


@pytest.mark.parametrize("hand", HANDS)
def test_a_hand_of_any_tremor_has_the_same_main_measures(tmp_path, monkeypatch, hand):
    monkeypatch.setattr(made_up, "PLAN", SHORT)
    with Store.open(tmp_path / "home") as store:
        store.people.add(kit.person())
        sources = {n: Simulated(HANDS[hand], seed=n) for n in range(4)}
        made_up.one_visit(store, "K7QF", 0, sources=sources)
        export_tidy(store, tmp_path / "study", selection=EVERYBODY)
    found = redo.redo(tmp_path / "study")
    assert len(found) == 2
    for _, name, exported, again in found:
        assert again == pytest.approx(exported, rel=1e-12), name


def test_it_imports_nothing_of_the_program():
    text = Path(redo.__file__).read_text(encoding="utf-8")
    assert not re.search(r"^(from|import) (battery|tasks|norms)", text, re.MULTILINE)


# A block of rows


@pytest.fixture(scope="module")
def parts_of_a_block(study):
    row = next(r for r in pq.read_table(study / "blocks").to_pylist() if r["task"] == "slide")
    fixed = {
        r["settings_id"]: r["content"]
        for r in pq.read_table(study / "settings.parquet").to_pylist()
    }
    mine = ds.field("block_id") == row["block_id"]
    raw = {
        n: ds.dataset(study / n).to_table(filter=mine) for n in ("samples", "events", "frames")
    }
    return row, fixed[row["settings_id"]], raw


def test_rows_may_come_in_any_order_and_as_plain_texts(parts_of_a_block):
    row, fixed, raw = parts_of_a_block
    whole = block_from_rows(row, fixed, **raw)
    mixed = {name: table.take(list(range(len(table)))[::-1]) for name, table in raw.items()}
    plain = {
        name: pa.table({c: table[c].to_pylist() for c in table.column_names[::-1]})
        for name, table in mixed.items()
    }
    for given in (mixed, plain):
        again = block_from_rows(row, json.loads(fixed), **given)
        for name in ("samples", "events", "frames"):
            assert getattr(again, name).tobytes() == getattr(whole, name).tobytes()
        assert again.header == whole.header


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (lambda row, raw: raw.update(samples=raw["samples"].slice(1)), "not numbered from 0"),
        (lambda row, raw: raw.update(samples=raw["samples"].slice(0, 9)), "not have its hash"),
        (lambda row, raw: raw.update(events=raw["events"].drop_columns("trial")), "no block"),
        (lambda row, raw: row.update(duration_s=row["duration_s"] + 1), "not have its hash"),
        (lambda row, raw: row.update(task="juggling"), "no such task"),
        (lambda row, raw: row.update(layout="[]"), "make no block"),
        (lambda row, raw: row.pop("layout_seed"), "layout_seed"),
    ],
)
def test_rows_that_make_no_block_are_refused(parts_of_a_block, spoil, told):
    row, fixed, raw = parts_of_a_block
    own_row, own_raw = dict(row), dict(raw)
    spoil(own_row, own_raw)
    with pytest.raises(RecordError, match=told):
        block_from_rows(own_row, fixed, **own_raw)


@pytest.mark.parametrize("holds", [True, False])
def test_a_number_spelt_otherwise_is_read_where_the_hash_is_over_it(
    study, parts_of_a_block, tmp_path, holds
):
    """By who verifies and by who reads rows alike: a hash covers the text that was stored.

    So a program that spells numbers in its own way writes true records. Another number under
    the same hashes is none.
    """
    row, fixed, raw = parts_of_a_block
    name, value = next((n, v) for n, v in json.loads(row["layout"]).items() if v and v % 1)
    spelt = f"{value:.25e}" if holds else repr(math.nextafter(value, math.inf))
    own = row | {"layout": row["layout"].replace(f'"{name}":{value}', f'"{name}":{spelt}')}
    assert own["layout"] != row["layout"]
    whole, text = whole_settings(*parted_settings(fixed), own["layout"])
    if holds:
        assert whole == whole_settings(*parted_settings(fixed), row["layout"])[0]
        own["layout_hash"] = short_hash_of(text)
        block = block_from_rows(row, fixed, **raw)
        own["sha256"] = block_sha256(own, whole, block, text=text)
    copy = shutil.copytree(study, tmp_path / "study")
    rewrite(
        copy, "blocks",
        lambda rows: pa.Table.from_pylist(
            [own if r["block_id"] == row["block_id"] else r for r in rows.to_pylist()],
            schema=rows.schema,
        ),
    )  # fmt: skip
    found = verify_export(copy).findings
    if holds:
        assert found == ()
        again = block_from_rows(own, fixed, **raw)
        assert again.header.settings == block.header.settings
        assert again.samples.tobytes() == block.samples.tobytes()
    else:
        assert "does not have its hash" in str(found)
        with pytest.raises(RecordError, match="not have its hash"):
            block_from_rows(own, fixed, **raw)


def test_a_row_without_a_screen_is_refused(study):
    visit = pq.read_table(study / "visits.parquet").to_pylist()[0]
    assert screen_from_row(visit).width_px == visit["width_px"]
    with pytest.raises(RecordError, match="has no screen"):
        screen_from_row(visit | {"mm_per_px_x": 0.0})


@pytest.mark.parametrize("words", [[], ["nothing here"]])
def test_the_researchers_check_says_what_it_wants(words, monkeypatch):
    monkeypatch.setattr(sys, "argv", ["redo", *words])
    with pytest.raises(SystemExit, match="STUDY is the folder of an export"):
        runpy.run_path(redo.__file__, run_name="__main__")
