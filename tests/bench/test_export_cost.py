"""What export, verification and rescoring cost beside the plain work they cannot do without.

References, measured in the same run: pyarrow writing the very tables of the export as CSV and
Parquet from memory; and decoding every block of the store, or every raw table of the export.
By hand: ``pytest tests/bench/test_export_cost.py -m long -s``
"""

import sys
import time
from dataclasses import replace

import pyarrow.csv as pc
import pyarrow.parquet as pq
import pytest

from battery.export import export_tidy, rescore_export, verify_export
from battery.export.dictionary import TABLES
from battery.rescoring import rescore_all
from battery.store import Store
from battery.verify import verify
from tests import clinic as made_up
from tests import store_kit as kit

pytestmark = [pytest.mark.bench, pytest.mark.long, pytest.mark.timeout(3600)]


@pytest.fixture(scope="module")
def one_visit(tmp_path_factory):
    """A visit of eight blocks as simulated people do them, to be copied under new names."""
    with Store.open(tmp_path_factory.mktemp("one")) as store:
        store.add_person(kit.person())
        header = made_up.one_visit(store, "K7QF", 0)
        whole = store.whole_visit(header.visit_id)
        scores = {b.header.index: store.block_scores(b.header.block_id) for b in whole.blocks}
        return whole, scores


def store_of(folder, one, n_visits):
    whole, scores = one
    store = Store.open(folder)
    store.add_person(kit.person())
    store.put_device(whole.header.device)
    store.put_plan(whole.header.plan_hash, {"name": "short"})
    for number in range(1, n_visits + 1):
        header = replace(whole.header, visit_id=kit.identifier(f"v{number}"), sequence=number)
        store.begin_visit(header)
        for block in whole.blocks:
            told = replace(
                block.header, visit_id=header.visit_id,
                block_id=kit.identifier(f"v{number} b{block.header.index}"),
            )  # fmt: skip
            store.begin_block(told).close(replace(block, header=told))
            store.put_scores(told.block_id, scores[block.header.index])
        store.end_visit(header.visit_id, "finished")
    return store


def seconds(work):
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


@pytest.mark.parametrize("n_visits", [1, 10, 100])
def test_cost_beside_the_plain_work(one_visit, tmp_path, n_visits):
    store = store_of(tmp_path / "store", one_visit, n_visits)
    study, plain = tmp_path / "study", tmp_path / "plain"
    plain.mkdir()
    export_s = seconds(lambda: export_tidy(store, study))
    tables = {name: pq.read_table(study / f"{name}.parquet") for name in TABLES}
    n_bytes = sum(p.stat().st_size for p in study.iterdir())

    def write():
        options = pc.WriteOptions(quoting_style="needed")
        for name, table in tables.items():
            pc.write_csv(table, plain / f"{name}.csv", write_options=options)
            pq.write_table(table, plain / f"{name}.parquet", compression="zstd")

    def decode():
        for visit in store.visits():
            for block in store.blocks(visit.header.visit_id):
                store.load_block(block.header.block_id)

    def read():
        for name in ("samples", "events", "frames"):
            pq.read_table(study / f"{name}.parquet", use_threads=False)

    plain_s, decode_s, read_s = seconds(write), seconds(decode), seconds(read)
    costs = {
        "export / plain writing": export_s / plain_s,
        "verify store / decode": seconds(lambda: verify(store)) / decode_s,
        "rescore store, one process / decode": seconds(
            lambda: rescore_all(store, progress=lambda *_: None, n_processes=1)
        )
        / decode_s,
        "verify export / reading its raw tables": seconds(lambda: verify_export(study))
        / read_s,
        "rescore export / reading its raw tables": seconds(lambda: rescore_export(study))
        / read_s,
    }
    n_samples = tables["samples"].num_rows
    store.close()
    told = "\n".join(f"  {name}: {ratio:.1f}" for name, ratio in costs.items())
    sys.stdout.write(
        f"\n{n_visits} visits, {n_samples} samples: {n_bytes / export_s / 1e6:.1f} MB/s "
        f"exported, decode {decode_s:.2f} s\n{told}\n"
    )
    assert n_samples > 5000 * n_visits
