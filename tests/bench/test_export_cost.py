"""What export, verification and rescoring cost beside the plain work they cannot do without.

References, measured in the same run: pyarrow writing the very row groups of the export from
memory; decoding every block of the store; reading every raw table of the export. An export has
to decode before it writes, so that plain writing and decoding together are the most it can
reach; figures that were measured stand in ``battery/export/analysis.md``.
By hand: ``pytest tests/bench/test_export_cost.py -m long -s``
"""

import resource
import subprocess
import sys
import time
from dataclasses import replace

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from pyarrow import csv
from sqlalchemy import event

from battery.export import Form, export_tidy, rescore_export, verify_export
from battery.export.dictionary.all_tables import TABLES
from battery.export.on_disk.table_files import ZSTD_LEVEL
from battery.export.reading.reader import Export
from battery.plan import STANDARD
from battery.store import Store, writer
from battery.store.codec import to_parquet as pack
from battery.verify import verify
from tests import clinic as made_up
from tests import store_kit as kit
from tests.bench.watching import Watch
from tests.export_kit import EVERYBODY

WHO = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)

pytestmark = [pytest.mark.bench, pytest.mark.long, pytest.mark.timeout(3600)]


@pytest.fixture(scope="module")
def one_visit(tmp_path_factory):
    """A standard visit of one hand as simulated people do it, to be copied under new names."""
    with (
        pytest.MonkeyPatch.context() as patch,
        Store.open(tmp_path_factory.mktemp("one")) as store,
    ):
        patch.setattr(made_up, "PLAN", STANDARD.model_copy(update={"hands": "right"}))
        store.people.add(kit.person())
        header = made_up.one_visit(store, "K7QF", 0)
        whole = store.transfer.whole_visit(header.visit_id)
        trials = store.scores.trials()
        scores = {
            b.header.index: (
                store.scores.of_block(b.header.block_id), trials.get(b.header.block_id)
            )
            for b in whole.blocks
        }  # fmt: skip
        return whole, scores


def store_of(folder, one, n_visits):
    """Return a store of so many such visits; arrays that are the same are packed once."""
    packed = {}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            writer, "to_parquet",
            lambda array: packed.get(id(array)) or packed.setdefault(id(array), pack(array)),
        )  # fmt: skip
        return _store_of(folder, one, n_visits)


def _store_of(folder, one, n_visits):
    whole, scores = one
    store = Store.open(folder)
    event.listen(store._engine, "checkout", _without_waiting)
    store.people.add(kit.person())
    store.setup.put_device(whole.header.device)
    store.setup.put_plan(whole.header.plan_hash, {"name": "short"})
    for number in range(1, n_visits + 1):
        header = replace(whole.header, visit_id=kit.identifier(f"v{number}"), sequence=number)
        store.visits.begin(header)
        for block in whole.blocks:
            told = replace(
                block.header, visit_id=header.visit_id,
                block_id=kit.identifier(f"v{number} b{block.header.index}"),
            )  # fmt: skip
            store.records.begin(told).close(replace(block, header=told))
            store.scores.put(told.block_id, *scores[block.header.index])
        store.visits.end(header.visit_id, "finished")
    return store


def _without_waiting(connection, *_):
    """A made-up store need not be safe on disk, row by row."""
    connection.execute("PRAGMA synchronous = OFF")


def cpu_s(work):
    """Processor seconds of a piece of work, its processes included: others may be busy too."""
    return both_s(work)[0]


def both_s(work):
    """The same, and seconds by the clock on the wall: these tell on a quiet machine only."""
    begun, at_s = [sum(resource.getrusage(who)[:2]) for who in WHO], time.monotonic()
    work()
    passed_s = time.monotonic() - at_s
    return sum(sum(resource.getrusage(who)[:2]) for who in WHO) - sum(begun), passed_s


def peak_mb(*words):
    """Most memory of a process of the command, by itself."""
    command = [sys.executable, "-m", "battery.cli", *map(str, words)]
    with Watch() as watch:
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return watch.peak_mb


def read_all(study, names=("samples", "events", "frames")):
    """Decode every raw row of an export, or other tables: the least that a check must do."""
    export = Export(study)
    for name in names:
        for file in export.names(name):
            pq.read_table(study / file, use_threads=False)


def groups_of(study):
    """Give each file of an export with its table and its row groups."""
    export = Export(study)
    for name, table in TABLES.items():
        for file in export.names(name):
            with pq.ParquetFile(study / file) as read:
                groups = [read.read_row_group(g) for g in range(read.num_row_groups)]
            yield file.replace("/", "-"), table, groups


def write_plain_csv(study, folder):
    """Write the rows of an export as compressed CSV, file by file as they are read."""
    for file, table, groups in groups_of(study):
        plain = pa.schema(
            [
                (f.name, pa.string() if pa.types.is_dictionary(f.type) else f.type)
                for f in table.arrow_schema
            ]
        )
        with (
            pa.CompressedOutputStream(str(folder / f"{file}.csv.gz"), "gzip") as packed,
            csv.CSVWriter(packed, plain) as writer,
        ):
            for group in groups:
                writer.write_table(group.cast(plain))


def write_plain(study, folder):
    """Write the very tables of an export from memory, as it wrote them: the reference."""
    tables = [(folder / file, table, groups) for file, table, groups in groups_of(study)]

    def work():
        for path, table, groups in tables:
            with pq.ParquetWriter(
                path, table.arrow_schema, compression="zstd", compression_level=ZSTD_LEVEL,
                write_page_checksum=True, **table.encodings,
            ) as writer:  # fmt: skip
                for group in groups:
                    writer.write_table(group)

    return work


@pytest.mark.parametrize("n_visits", [1, 10, 100, 1_000])
def test_cost_beside_the_plain_work(one_visit, tmp_path, n_visits):
    store = store_of(tmp_path / "store", one_visit, n_visits)
    study, plain = tmp_path / "study", tmp_path / "plain"
    plain.mkdir()

    def decode():
        """Read and check every block: the least that an export must do before it writes."""
        for visit in store.visits.all():
            records = store.records.of_visit(visit.header.visit_id)
            packed = store.records.packed([r.header.block_id for r in records])
            for record in records:
                packed[record.header.block_id].unpacked(known=record)

    decode()  # so that no library is loaded while the time is taken
    decode_s = cpu_s(decode)
    export_s, export_wall_s = both_s(lambda: export_tidy(store, study, selection=EVERYBODY))
    again_s = cpu_s(lambda: export_tidy(store, study, selection=EVERYBODY))
    full = Form(raw_csv=True)
    csv_s, csv_wall_s = both_s(
        lambda: export_tidy(store, tmp_path / "csv", selection=EVERYBODY, form=full)
    )
    (tmp_path / "plain csv").mkdir()
    plain_csv_s, plain_csv_wall_s = both_s(
        lambda: write_plain_csv(study, tmp_path / "plain csv")
    )
    plain_s, plain_wall_s = both_s(write_plain(study, plain))
    read_all(study)
    read_s, read_wall_s = both_s(lambda: read_all(study))
    every_s = cpu_s(lambda: read_all(study, TABLES))
    verify_s, verify_wall_s = both_s(lambda: verify_export(study))
    whole_s, whole_wall_s = both_s(lambda: verify(store, replay=False))
    rescore_s = cpu_s(lambda: rescore_export(study))
    sizes = {
        what: sum(p.stat().st_size for p in folder.rglob("*") if p.is_file()) / 1e6
        for what, folder in (
            ("parquet", study),
            ("with csv", tmp_path / "csv"),
            ("plain csv", tmp_path / "plain csv"),
        )
    }
    store.close()
    peaks_mb = [
        peak_mb("export", tmp_path / name, *how, "--home", tmp_path / "store",
                "--without-consent", "a made-up person", "--by", "AB")
        for name, how in (("command", ()), ("command csv", ("--raw-csv",)))
    ]  # fmt: skip
    sys.stdout.write(
        f"\n{n_visits} visits, processor seconds: decoding the store {decode_s:.2f}, plain "
        f"writing {plain_s:.2f}, export {export_s:.2f} ({plain_s / export_s:.2f} of plain, "
        f"{(decode_s + plain_s) / export_s:.2f} of decoding and plain; on the wall "
        f"{plain_wall_s / export_wall_s:.2f} of plain), again {again_s:.2f} (of the "
        f"first {again_s / export_s:.2f}); with all as csv {csv_s:.2f}, plain csv "
        f"{plain_csv_s:.2f} ({plain_csv_s / (csv_s - export_s):.2f} of plain, on the wall "
        f"{plain_csv_wall_s / (csv_wall_s - export_wall_s):.2f}); reading the "
        f"export {read_s:.2f}, verify {verify_s:.2f} "
        f"({verify_s / read_s:.1f}x, on the wall {verify_wall_s / read_wall_s:.1f}x; "
        f"{verify_s / every_s:.1f}x reading every table of it, {every_s:.3f}), of the "
        f"store {whole_s:.2f} ({whole_s / decode_s:.1f}x decoding, {whole_wall_s:.2f} on the "
        f"wall), rescore {rescore_s:.2f}; {sizes['parquet']:.2f} MB, "
        f"{sizes['with csv']:.2f} MB with csv, {sizes['plain csv']:.2f} MB plain csv; peak of "
        "the command's largest process "
        f"{peaks_mb[0]:.0f} MB, with csv {peaks_mb[1]:.0f} MB\n"
    )
    assert max(peaks_mb) < 400
