"""An export proves itself and tells nothing: every changed value is named, no date is found."""

import gzip
import json
import random
import re
import shutil
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from hashlib import sha256

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

from battery.cli import app
from battery.export import export_bids, export_tidy, rescore_export, verify_export
from battery.export.bids.bids_check import bids_findings
from battery.export.dictionary.all_tables import TABLES
from battery.export.on_disk.signing import DIGEST, SIGNATURE, digest_of, signed_bytes
from battery.export.on_disk.table_files import names_of
from battery.handover.keys import clinic_signature, make_clinic_keys
from battery.recording import (
    canonical_json,
    events_from_array,
    events_to_array,
    header_to_dict,
)
from battery.store import Store
from tests import store_kit as kit
from tests.export_kit import EVERYBODY, NOW, files, package, put_right, table_of
from tests.full_export import full_export


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture(scope="module")
def clinic(small_clinic):
    """One task is enough here."""
    return small_clinic


@pytest.fixture(scope="module")
def signed(tmp_path_factory):
    """A signed export in which every table has a row."""
    return full_export(tmp_path_factory.mktemp("proof"))


def said_of(found):
    return " | ".join(f"{f.where}: {f.what}" for f in found.findings)


# Every changed value


def other_value(field, value, choose):
    """A value that the column could well hold, and that is not this one."""
    kind = field.type.value_type if pa.types.is_dictionary(field.type) else field.type
    if pa.types.is_boolean(kind):
        return not value
    if pa.types.is_integer(kind):
        return (value or 0) + choose.choice((1, -1, 5))
    if pa.types.is_floating(kind):
        return 0.5 if value is None else value + choose.choice((0.25, -1.0, 1e-9 * 2**20))
    texts = ["left", "right", "hold", "K7QF", None, "x"]
    return choose.choice([t for t in texts if t != value and (t or field.nullable)])


def change_one(study, choose):
    """Change one value of one column; put right nothing, the hashes, or the digest too."""
    name = choose.choice(list(TABLES))  # each has a row, as another test holds
    path = study / choose.choice(names_of(name, 1))
    rows = pq.read_table(path)
    column, row = choose.randrange(rows.num_columns), choose.randrange(rows.num_rows)
    field = rows.schema.field(column)
    values = rows.column(column).to_pylist()
    values[row] = other_value(field, values[row], choose)
    changed = rows.set_column(column, field.name, pa.array(values, field.type))
    assert not changed.equals(rows)
    pq.write_table(changed.cast(rows.schema), path, compression="zstd")
    right = choose.choice(("nothing", "hashes", "digest"))
    if right != "nothing":
        put_right(study, right=right)
    return f"{name}.{field.name} row {row}, {right} put right"


def change_many(folder, n, seed, place):
    study = shutil.copytree(folder / "study", place / "study")
    whole = files(study)
    assert verify_export(study).findings == ()
    choose = random.Random(seed)
    silent, met = [], set()
    for _ in range(n):
        what = change_one(study, choose)
        met.add(what.split(" ")[0])
        if not verify_export(study).findings:
            silent.append(what)
        for name, data in whole.items():
            (study / name).write_bytes(data)
    return silent, met


def test_every_changed_value_of_a_signed_export_is_named(signed, tmp_path):
    silent, _ = change_many(signed, 12, 1, tmp_path)
    assert silent == []


@pytest.mark.long
@pytest.mark.timeout(7200)
def test_five_thousand_changed_values_are_all_named(signed, tmp_path):
    silent, met = change_many(signed, 5_000, 2, tmp_path)
    columns = sum(len(table.columns) for table in TABLES.values())
    sys.stdout.write(f"\n{len(met)} of {columns} columns changed, {len(silent)} silent\n")
    assert silent == []


def test_every_table_has_a_row_to_be_changed(signed):
    empty = [name for name in TABLES if not table_of(signed / "study", name).num_rows]
    assert empty == []


def test_without_a_signature_only_who_makes_every_hash_anew_is_not_found(signed, tmp_path):
    """What the summary says: hashes alone show no forger who makes all of them anew."""
    study = shutil.copytree(signed / "study", tmp_path / "study")
    told = package(study)
    del told[SIGNATURE]
    (study / "datapackage.json").write_text(json.dumps(told))
    assert "not signed" in verify_export(study).summary()
    rows = pq.read_table(study / "people.parquet")
    changed = rows.set_column(6, rows.schema.field(6).name, pa.array([9]))
    pq.write_table(changed.cast(rows.schema), study / "people.parquet")
    assert "people.parquet: it does not have" in said_of(verify_export(study))
    put_right(study, right="hashes")
    assert "does not have the digest" in said_of(verify_export(study))
    put_right(study, right="digest")
    assert verify_export(study).findings == ()


# The signature


def test_the_clinics_signature_is_named_by_its_card(signed):
    card = next((signed / "stick").glob("clinic_*.card"))
    mark = card.stem.removeprefix("clinic_")
    found = verify_export(signed / "study", signer=mark)
    assert found.findings == ()
    assert found.signer.replace(" ", "") == mark
    assert found.signer in found.summary()
    assert "not signed by" in said_of(verify_export(signed / "study", signer="0" * 16))


def test_another_key_or_a_borrowed_signature_is_told(signed, tmp_path):
    study = shutil.copytree(signed / "study", tmp_path / "study")
    told = package(study)
    told["licenses"] = [{"name": "CC0-1.0"}]
    told[DIGEST] = digest_of(told)
    (study / "datapackage.json").write_text(json.dumps(told))
    assert "its signature does not hold" in said_of(verify_export(study))
    with Store.open(tmp_path / "forger") as store:
        make_clinic_keys(store, tmp_path / "stick")
        sign = clinic_signature(store)
    told[SIGNATURE] = sign(signed_bytes(told[DIGEST]))
    (study / "datapackage.json").write_text(json.dumps(told))
    whose = verify_export(signed / "study").signer
    assert verify_export(study).signer != whose
    assert "not signed by" in said_of(verify_export(study, signer=whose))


def test_the_command_signs_where_there_is_a_key(signed, tmp_path):
    words = ("--home", signed / "home", "--without-consent", "a test")
    told = run("export", tmp_path / "a", *words)
    assert told.exit_code == 0, told.exception
    whose = verify_export(signed / "study").signer
    assert run("verify", tmp_path / "a", "--signer", whose).exit_code == 0
    assert run("verify", tmp_path / "a", "--signer", "0123 4567 89ab cdef").exit_code == 1


# The date


def hexes(folder):
    """Every text of hex digits that could be a hash, anywhere in an export."""
    found = set()
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        data = path.read_bytes()
        if path.suffix == ".parquet":
            data = repr(pq.read_table(path).to_pylist()).encode()
        elif path.suffix == ".gz":
            data = gzip.decompress(data)
        found |= set(re.findall(rb"(?<![0-9a-f])[0-9a-f]{16,64}(?![0-9a-f])", data))
    return {text.decode() for text in found}


def date_found(block, day, hashes, seconds):
    """Try seconds of a day as the start, all else known; return that which fits a hash."""
    raw = block.samples.tobytes() + block.frames.tobytes()
    raw += repr(events_from_array(block.events)).encode()
    for second in seconds:
        start = (day + timedelta(seconds=second)).isoformat(timespec="microseconds")
        header = replace(block.header, started_utc=start)
        text = canonical_json(header_to_dict(header)).encode()
        if {sha256(text + raw).hexdigest(), sha256(text).hexdigest()[:16]} & hashes:
            return start
    return None


@pytest.mark.parametrize(
    "seconds",
    [
        range(9 * 3600, 10 * 3600),
        pytest.param(range(86_400), marks=pytest.mark.long),
    ],
    ids=["an hour", "a day"],
)
def test_no_start_of_a_block_is_found_by_search(tmp_path, seconds):
    """With settings, samples and day known, over the seconds of its hour or of all that day.

    That the search works is shown on the hash that stands in the store.
    """
    visit = kit.visit(started_utc="2026-03-04T09:30:00.000000+00:00")
    begun = "2026-03-04T09:30:07.000000+00:00"
    header = replace(kit.block_header(visit, 0), started_utc=begun)
    samples, frames, events = kit.made_up_arrays(0)
    few = {"samples": samples[:3], "frames": frames[:3], "ended_ns": 10**9}
    with Store.open(tmp_path / "home") as store:
        kit.enrol(store)
        store.visits.begin(visit)
        kit.record(store, header, 0, **few, events=events_to_array(events[:1]))
        block = store.records.load(header.block_id)
        export_tidy(store, tmp_path / "out" / "study", selection=EVERYBODY, now=NOW)
        export_bids(store, tmp_path / "out" / "bids", selection=EVERYBODY)
    day = datetime(2026, 3, 4, tzinfo=UTC)
    assert date_found(block, day, {block.sha256}, seconds) == begun
    told = hexes(tmp_path / "out")
    assert len(told) > 20
    assert date_found(block, day, told, seconds) is None


# Codes


def test_new_codes_lead_back_by_the_key_list_alone(clinic, tmp_path):
    listed = tmp_path / "keys.csv"
    words = ("--home", clinic, "--new-codes", listed)
    told = run("export", tmp_path / "a", *words)
    assert told.exit_code == 0, told.exception
    assert run("export", tmp_path / "plain", "--home", clinic).exit_code == 0
    whose = dict(line.split(",") for line in listed.read_text().splitlines()[1:])
    assert set(whose.values()) == {"K7QF", "M4WX"}
    assert listed.stat().st_mode & 0o077 == 0
    people = {row["person"] for row in table_of(tmp_path / "a", "people").to_pylist()}
    assert people == set(whose)
    assert not people & {"K7QF", "M4WX", "X3CF"}
    shared = identifiers(tmp_path / "a") & identifiers(tmp_path / "plain")
    assert shared == set()
    assert verify_export(tmp_path / "a").findings == ()
    assert rescore_export(tmp_path / "a").failed == {}
    again = run("export", tmp_path / "b", "--home", clinic, "--new-codes", tmp_path / "k2.csv")
    assert again.exit_code == 0
    assert not identifiers(tmp_path / "a") & identifiers(tmp_path / "b")


def test_new_codes_of_a_bids_dataset_lead_back_by_the_key_list_alone(clinic, tmp_path):
    listed, bids = tmp_path / "keys.csv", tmp_path / "bids"
    told = run("export", bids, "--bids", "--home", clinic, "--new-codes", listed)
    assert told.exit_code == 0, told.exception
    whose = dict(line.split(",") for line in listed.read_text().splitlines()[1:])
    assert set(whose.values()) == {"K7QF", "M4WX"}
    subjects = {p.name.removeprefix("sub-") for p in bids.glob("sub-*")}
    assert subjects == set(whose)
    with Store.open(clinic, write=False) as store:
        visits = [v.header.visit_id for v in store.visits.all()]
        blocks = [b.header.block_id for v in visits for b in store.records.of_visit(v)]
    stored = ["K7QF", "M4WX", "X3CF", *visits, *blocks]
    for path in (p for p in bids.rglob("*") if p.is_file()):
        data = path.read_bytes()
        data = gzip.decompress(data) if path.suffix == ".gz" else data
        text = f"{path.relative_to(bids)} {data.decode()}"
        assert not [name for name in stored if name in text], path
    assert bids_findings(bids) == []


def identifiers(folder):
    """Codes and identifiers of people, visits, blocks and whatever is said of them."""
    found = set()
    for name, table in TABLES.items():
        for column in (*table.primary, *(key.column for key in table.keys)):
            if (column.endswith("_id") and column != "settings_id") or column == "person":
                found |= set(table_of(folder, name)[column].to_pylist())
    return found - {None}


@pytest.mark.parametrize("name", ["a/keys.csv", "there.csv"])
def test_a_key_list_lies_neither_in_the_export_nor_over_a_file(clinic, tmp_path, name):
    (tmp_path / "there.csv").write_text("mine")
    words = ("--home", clinic, "--new-codes", tmp_path / name)
    told = run("export", tmp_path / "a", *words)
    assert "nothing was exported" in str(told.exception)
    assert not (tmp_path / "a").exists()
    assert (tmp_path / "there.csv").read_text() == "mine"
