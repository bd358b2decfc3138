"""Spoilt exports: every change is named or does no harm, whatever the forger put right."""

import hashlib
import json
import resource
import shutil
import sys
import warnings

import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq
import pytest

from battery.errors import BatteryError
from battery.export import export_tidy, rescore_export, verify_export
from battery.export.dictionary import TABLES
from battery.recording import short_hash
from battery.simulate import Person as Simulated
from battery.simulate import Truth
from battery.store import Store
from tests import clinic as made_up
from tests import mutations
from tests import store_kit as kit

MAX_MEMORY_KB = 600_000  # beyond what the program needs anyway


def small_export(folder):
    """One visit of one short block of tapping, really recorded."""
    plan = made_up.PLAN.model_copy(update={"tasks": made_up.PLAN.tasks[:1]})
    with pytest.MonkeyPatch.context() as patch, Store.open(folder / "clinic") as store:
        patch.setattr(made_up, "PLAN", plan)
        store.add_person(kit.person())
        made_up.one_visit(
            store, "K7QF", 0, device=kit.DEVICE,
            sources={n: Simulated(Truth(), seed=n) for n in range(2)},
        )  # fmt: skip
        store.amend("visit", store.visits()[0].header.visit_id, "excluded", "yes",
                    author="AB", reason="r", at_utc="2026-05-01T10:00:00+00:00")  # fmt: skip
        export_tidy(store, folder / "study")
    return folder / "study"


def spoil(folder, files, random_source):
    """Change one file of an export, and mostly put its hash right; return the file's name."""
    name = random_source.choice(sorted(files))
    path = folder / name
    layer = random_source.randrange(8)
    if name == "datapackage.json" and layer < 6:
        told = mutations.json_changed(json.loads(files[name]), random_source)
        path.write_text(json.dumps(told))
        return name
    if layer == 0:
        path.unlink()
    elif layer == 1:
        other = random_source.choice(sorted(files))
        path.write_bytes(files[other])
    elif layer == 2:
        path.unlink()
        path.symlink_to(folder.parent / "secret")
        return name
    elif layer < 5 or not name.endswith(".parquet"):
        path.write_bytes(mutations.bytes_changed(files[name], random_source))
    else:
        return spoil_values(folder, name.removesuffix(".parquet"), random_source)
    if random_source.random() < 0.7:
        put_right(folder)
    return name


def spoil_values(folder, table, random_source):
    """Change values or rows of a table in both its files."""
    rows = pq.read_table(folder / f"{table}.parquet")
    if rows.num_rows == 0:
        (folder / f"{table}.csv").write_text("x\n")
        return table
    at = random_source.randrange(rows.num_rows)
    how = random_source.randrange(5)
    if how == 0:
        changed = pa.concat_tables([rows.slice(0, at), rows.slice(at + 1)])
    elif how == 1:
        changed = pa.concat_tables([rows, rows.slice(at, 1)])
    elif how == 2:
        changed = rows.take(pa.array(list(range(rows.num_rows))[::-1]))
    else:
        place = random_source.randrange(rows.num_columns)
        field = rows.schema.field(place)
        values = rows.column(place).to_pylist()
        values[at] = odd_value(field, values[at], random_source)
        changed = rows.set_column(place, field.name, pa.array(values, field.type))
        if table == "blocks" and field.name == "settings":
            told = [short_hash(json.loads(v)) for v in values]
            where = rows.schema.get_field_index("layout_hash")
            changed = changed.set_column(where, "layout_hash", pa.array(told))
    pq.write_table(changed, folder / f"{table}.parquet")
    pc.write_csv(
        changed, folder / f"{table}.csv", write_options=pc.WriteOptions(quoting_style="needed")
    )
    put_right(folder)
    return table


def odd_value(field, value, random_source):
    if field.name in ("settings", "content", "versions"):
        return json.dumps(mutations.json_changed(json.loads(value), random_source))
    if pa.types.is_integer(field.type):
        return random_source.choice((0, -1, 1, 2, 7, 100, 2**15 - 1))
    if pa.types.is_floating(field.type):
        return random_source.choice((0.0, -1.0, 1e9, -1e9, 1e300, float("inf"), 0.001))
    if pa.types.is_boolean(field.type):
        return not value
    return random_source.choice(("", "x", "../x", "a" * 3000, "left", "hold", "\x00", "D01"))


def put_right(folder):
    """Make the descriptor state what the files are, as a careful forger would."""
    try:
        package = json.loads((folder / "datapackage.json").read_text())
        for about in package["resources"]:
            for file in (about, about["parquet"]):
                path = folder / file["path"]
                if path.is_file() and not path.is_symlink():
                    data = path.read_bytes()
                    file["bytes"] = len(data)
                    file["hash"] = f"sha256:{hashlib.sha256(data).hexdigest()}"
    except (OSError, ValueError, TypeError, KeyError):
        return  # the descriptor itself is what was spoilt
    (folder / "datapackage.json").write_text(json.dumps(package))


def looked_at(folder):
    """What the program says of an export; anything but an error of ours comes up here."""
    try:
        found = verify_export(folder)
    except BatteryError as error:
        return [str(error)]
    try:
        with warnings.catch_warnings():  # odd numbers give odd scores, which is no harm
            warnings.simplefilter("ignore", RuntimeWarning)
            done = rescore_export(folder)
    except BatteryError as error:
        return [str(error)]
    return [f"{f.where}: {f.what}" for f in found.findings] + done.differ + list(done.failed)


def tree(folder):
    return {
        str(p.relative_to(folder)): p.stat().st_size
        for p in folder.rglob("*")
        if p.parent.name != "study"
    }


def loop(folder, n, seed):
    study = small_export(folder)
    (folder / "secret").write_text("outside")
    files = {p.name: p.read_bytes() for p in study.iterdir()}
    assert looked_at(study) == []
    before, outside = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, tree(folder)
    random_source = mutations.source(seed)
    named, harmless = 0, []
    for _ in range(n):
        spoilt = spoil(study, files, random_source)
        with mutations.limited_memory():
            said = looked_at(study)
        assert all("outside" not in line for line in said)
        named += bool(said)
        if not said:
            harmless.append((spoilt, changed_files(study, files)))
        shutil.rmtree(study)
        study.mkdir()
        for name, data in files.items():
            (study / name).write_bytes(data)
    assert tree(folder) == outside
    grown_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert grown_kb < MAX_MEMORY_KB
    assert named > 0.6 * n
    return named, harmless, grown_kb


def changed_files(study, files):
    return sorted(
        n for n, data in files.items()
        if not (study / n).is_file() or (study / n).read_bytes() != data
    )  # fmt: skip


def test_a_hundred_spoilt_exports_are_named_or_do_no_harm(tmp_path):
    """A file of raw rows that passes had its hash put right in the descriptor as well.

    What neither replay nor scores depend on, such as pressure, is then protected by nothing:
    an export carries hashes, not a signature.
    """
    _, harmless, _ = loop(tmp_path, 100, seed=1)
    raw = {f"{table}.{kind}" for table in TABLES for kind in ("csv", "parquet")}
    for _, changed in harmless:
        assert not raw & set(changed) or "datapackage.json" in changed


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_twenty_thousand_spoilt_exports_are_named_or_do_no_harm(tmp_path):
    named, harmless, grown_kb = loop(tmp_path, 20_000, seed=2)
    told = f"{named} named, {len(harmless)} harmless, {grown_kb} kB of memory more"
    sys.stdout.write(f"\n{told}\n")


def test_a_table_that_claims_a_giant_page_is_not_unpacked(tmp_path):
    """A small file that unpacks to 400 MB: refused by its own statement of size."""
    study = small_export(tmp_path)
    n_rows = 50_000_000
    path = study / "samples.parquet"
    column = pa.repeat(pa.scalar(0, pa.int64()), n_rows)
    sink = pq.ParquetWriter(path, pa.schema([("t_ns", pa.int64())]), use_dictionary=False,
                            compression="zstd")  # fmt: skip
    with sink:
        sink.write_table(pa.table({"t_ns": column}), row_group_size=n_rows)
    put_right(study)
    assert path.stat().st_size < 5_000_000
    assert any("claims more than" in line for line in looked_at(study))
