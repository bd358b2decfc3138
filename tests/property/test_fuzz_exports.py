"""Spoilt exports: every change is named or does no harm, whatever the forger put right."""

import contextlib
import json
import resource
import sys
import warnings

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from battery.errors import BatteryError
from battery.export import Form, export_tidy, rescore_export, verify_export
from battery.export.on_disk.csv_copy import write_csv
from battery.simulate import Person as Simulated
from battery.simulate import Truth
from battery.store import Store
from tests import clinic as made_up
from tests import mutations
from tests import store_kit as kit
from tests.export_kit import EVERYBODY, put_blocks_right, put_right
from tests.export_kit import files as all_files

MAX_MEMORY_KB = 600_000  # beyond what the program needs anyway


def small_export(folder):
    """One visit of one short block of tapping, really recorded."""
    plan = made_up.PLAN.model_copy(update={"tasks": made_up.PLAN.tasks[:1]})
    with pytest.MonkeyPatch.context() as patch, Store.open(folder / "clinic") as store:
        patch.setattr(made_up, "PLAN", plan)
        store.people.add(kit.person())
        made_up.one_visit(
            store, "K7QF", 0, device=kit.DEVICE,
            sources={n: Simulated(Truth(), seed=n) for n in range(2)},
        )  # fmt: skip
        visit_id = store.visits.all()[0].header.visit_id
        said = {"author": "AB", "reason": "r", "at_utc": "2026-05-01T10:00:00+00:00"}
        store.annotations.amend("visit", visit_id, "excluded", "yes", **said)
        export_tidy(store, folder / "study", selection=EVERYBODY, form=Form(csv=True))
        export_tidy(store, folder / "study without csv", selection=EVERYBODY)
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
        return spoil_values(folder, name, random_source)
    if random_source.random() < 0.7:
        put_right(folder, right=random_source.choice(("hashes", "digest")))
    return name


def spoil_values(folder, name, random_source):
    """Change values or rows of a Parquet file, its CSV copy with it."""
    rows = pq.read_table(folder / name)
    table = name.removesuffix(".parquet").split("/")[0]
    if rows.num_rows == 0:
        (folder / name).write_bytes(b"x")
        return name
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
    pq.write_table(changed, folder / name)
    if (folder / f"{table}.csv.gz").exists():
        write_csv(folder, [table], 1)
    put_right(folder, right=random_source.choice(("hashes", "digest")))
    if random_source.random() < 0.5:  # a lie that is well formed down to the hash of its block
        with contextlib.suppress(BatteryError):
            put_blocks_right(folder)
    return name


def odd_value(field, value, random_source):
    if field.name in ("layout", "content", "versions"):
        return json.dumps(mutations.json_changed(json.loads(value), random_source))
    if pa.types.is_integer(field.type):
        return random_source.choice((0, -1, 1, 2, 7, 100, 2**15 - 1))
    if pa.types.is_floating(field.type):
        return random_source.choice((0.0, -1.0, 1e9, -1e9, 1e300, float("inf"), 0.001))
    if pa.types.is_boolean(field.type):
        return not value
    return random_source.choice(("", "x", "../x", "a" * 3000, "left", "hold", "\x00", "D01"))


def looked_at(folder):
    """What the program says of an export; anything but an error of ours comes up here."""
    try:
        found = verify_export(folder, replay=True)
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
        if not {"study", "study without csv"} & set(p.parts)
    }


def loop(folder, n, seed):
    studies = [small_export(folder), folder / "study without csv"]
    (folder / "secret").write_text("planted secret")
    whole = [all_files(study) for study in studies]
    assert [looked_at(study) for study in studies] == [[], []]
    before, outside = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, tree(folder)
    random_source = mutations.source(seed)
    named, harmless = 0, []
    for number in range(n):
        # Copies as CSV cost more than half of the look, so most have none.
        study, files = studies[number % 8 > 0], whole[number % 8 > 0]
        spoilt = spoil(study, files, random_source)
        with mutations.limited_memory():
            said = looked_at(study)
        assert all("planted secret" not in line for line in said)
        named += bool(said)
        if not said:
            harmless.append((spoilt, changed_files(study, files)))
        for name, data in files.items():
            (study / name).unlink(missing_ok=True)
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


def test_twenty_spoilt_exports_are_named_or_do_no_harm(tmp_path):
    """What passes had its digest put right as well: this export is not signed."""
    _, harmless, _ = loop(tmp_path, 20, seed=1)
    for _, changed in harmless:
        assert changed in ([], ["datapackage.json"]) or len(changed) > 1
        assert "datapackage.json" in changed or changed == []


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_twenty_thousand_spoilt_exports_are_named_or_do_no_harm(tmp_path):
    named, harmless, grown_kb = loop(tmp_path, 20_000, seed=2)
    told = f"{named} named, {len(harmless)} harmless, {grown_kb} kB of memory more"
    sys.stdout.write(f"\n{told}\n")
