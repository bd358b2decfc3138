"""The export: valid by the open standard, de-identified, complete, the same every time."""

import csv
import gzip
import hashlib
import json
import re
import shutil

import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq
import pytest

from battery.export import export_tidy
from battery.export.dictionary.all_tables import TABLES
from battery.export.dictionary.trials import TRIALS
from battery.export.on_disk.package import readable
from battery.export.on_disk.table_files import names_of
from battery.scoring.trials import trial_rows
from battery.store import Store
from tests import clinic as made_up
from tests.export_kit import (
    FULL,
    NOW,
    csv_text,
    digests,
    package,
    rows,
    table_of,
    whole_names,
)
from tests.export_kit import files as kit_files
from tests.sparing import only

pytestmark = [
    pytest.mark.filterwarnings("ignore::DeprecationWarning:frictionless"),
    # The reference validator leaves packed files open.
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
]


@pytest.fixture(scope="module")
def exported(clinic, tmp_path_factory):
    """One export of the clinic. Copy it before changing anything."""
    folder = tmp_path_factory.mktemp("export") / "study"
    with Store.open(clinic, write=False) as store:
        export_tidy(store, folder, form=FULL, now=NOW)
    return folder


@pytest.fixture
def own_export(exported, tmp_path):
    return shutil.copytree(exported, tmp_path / "own")


# The standard


def is_valid(folder):
    """Whether the reference validator is content with all tables but samples and frames."""
    import frictionless

    told = package(folder)
    told["resources"] = [r for r in told["resources"] if r["format"] == "csv"]
    (folder / "small.json").write_text(json.dumps(told))
    return frictionless.validate(str(folder / "small.json")).valid


def test_frictionless_finds_nothing_to_complain_about(exported):
    """Data Package 2.0, https://datapackage.org/standard/data-package/, by its reference
    validator: hashes, types, constraints, primary and foreign keys.
    """
    import frictionless

    report = frictionless.validate(str(exported / "datapackage.json"))
    problems = [(t.name, e.message) for t in report.tasks for e in t.errors]
    assert report.valid, problems
    assert {task.name for task in report.tasks} == set(TABLES)


BROKEN = [
    ("blocks", "hand", "middle", "constraint-error"),
    ("events", "kind", "sneeze", "constraint-error"),
    ("samples", "t_ns", "soon", "type-error"),
    ("samples", "stamp_gap_ns", "-1", "constraint-error"),
    ("trials", "block_id", "00000000-0000-4000-8000-00000000dead", "foreign-key"),
    ("scores", "measure", "tapping.charm", "foreign-key"),
    ("visits", "device", "D99", "foreign-key"),
    ("visits", "person", "NONE", "foreign-key"),
    ("amendments", "block_id", "00000000-0000-4000-8000-00000000dead", "foreign-key"),
    ("events", "event", "1", "primary-key"),
    ("people", "dominant_hand", "", "constraint-error"),
]
OF_EVERY_KIND = [BROKEN[place] for place in (0, 2, 7, 8, 9)]


@pytest.mark.parametrize(("table", "column", "value", "kind"), only(BROKEN, OF_EVERY_KIND))
def test_a_broken_value_or_key_is_caught(own_export, table, column, value, kind):
    import frictionless

    changed = rows(own_export, table)
    row = next(i for i, r in enumerate(changed) if r[column] and r[column] != value)
    changed[row][column] = value
    with gzip.open(own_export / f"{table}.csv.gz", "wt", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, changed[0].keys(), lineterminator="\n")
        writer.writeheader()
        writer.writerows(changed)
    small = own_export / "small.json"  # this table and those it refers to
    descriptor = json.loads((own_export / "datapackage.json").read_text())
    needed = {table} | {key.table for key in TABLES[table].keys}
    needed |= {key.table for name in needed for key in TABLES[name].keys}
    needed |= {key.table for name in needed for key in TABLES[name].keys}
    descriptor["resources"] = [r for r in descriptor["resources"] if r["name"] in needed]
    small.write_text(json.dumps(descriptor))
    report = frictionless.validate(str(small))
    found = {e.type for t in report.tasks if t.name == table for e in t.errors}
    assert kind in found
    assert "hash-count" in found  # the changed file no longer has the stated hash


def test_descriptor_states_the_profile_and_every_file(exported):
    descriptor = package(exported)
    assert descriptor["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    named = {r["path"] for r in descriptor["resources"]}
    named |= {part["path"] for r in descriptor["resources"] for part in r["parts"]}
    assert named | {"datapackage.json", "dictionary.md"} == set(kit_files(exported))
    for described in descriptor["resources"]:
        for file in (described, *described["parts"]):
            data = (exported / file["path"]).read_bytes()
            assert file["bytes"] == len(data)
            assert file["hash"] == f"sha256:{hashlib.sha256(data).hexdigest()}"
        assert described["rows"] == len(rows(exported, described["name"]))
        assert described["rows"] == sum(part["rows"] for part in described["parts"])


def test_an_export_without_csv_is_a_valid_package_too(clinic, tmp_path):
    """The descriptor by the standard's own profile; its tables are read by other tests."""
    import frictionless

    with Store.open(clinic, write=False) as store:
        export_tidy(store, tmp_path / "study", now=NOW)
    descriptor = package(tmp_path / "study")
    read = frictionless.Package.from_descriptor(descriptor, basepath=str(tmp_path / "study"))
    assert {resource.name for resource in read.resources} == set(TABLES)
    assert set(kit_files(tmp_path / "study")) == whole_names() | {
        "datapackage.json", "dictionary.md",
    }  # fmt: skip


# The dictionary


def test_dictionary_covers_every_column_of_every_file(exported):
    text = readable()
    assert (exported / "dictionary.md").read_text(encoding="utf-8") == text
    for name, table in TABLES.items():
        columns = [column.name for column in table.columns]
        header = csv_text(exported, name).splitlines()[0]
        assert next(csv.reader([header])) == columns
        schema = pq.read_schema(exported / names_of(name, 1)[0])
        assert schema.names == columns
        section = text.split(f"\n## {name}\n")[1].split("\n## ")[0]
        for column in table.columns:
            assert column.meaning.endswith("."), column.name
            assert f"| `{column.name}` | {column.kind} |" in section
            assert schema.field(column.name).metadata[b"description"] == column.meaning.encode()
        assert set(table.primary) <= set(columns)
        for key in table.keys:
            assert TABLES[key.table].primary == (key.target,)


def test_units_stand_in_names_and_agree_with_the_dictionary():
    """Unit codes by UCUM, https://ucum.org/ucum; the suffix is the house's."""
    units = {
        "s": "s", "ms": "ms", "ns": "ns", "mm": "mm", "hz": "Hz", "px": "{px}", "day": "d",
    }  # fmt: skip
    for table in TABLES.values():
        for column in table.columns:
            suffix = column.name.rsplit("_", 1)[-1]
            if column.name.startswith("mm_per_px"):
                assert column.unit == "mm/{px}"
            elif column.name.endswith("_mm_s"):
                assert column.unit == "mm/s"
            elif column.name.endswith("_a_day"):
                assert column.unit == "/d"
            elif suffix in units and column.kind in ("number", "integer"):
                assert column.unit == units[suffix], column.name


def test_trial_columns_are_those_of_the_scoring_no_more_no_less(clinic):
    used = {"block_id"}
    with Store.open(clinic, write=False) as store:
        for visit in store.visits.all():
            for record in store.records.of_visit(visit.header.visit_id):
                block = store.records.load(record.header.block_id)
                used |= {name for row in trial_rows(block) for name in row}
    assert {column.name for column in TRIALS.columns} == used


def test_an_undefined_column_is_an_error_not_a_silent_loss():
    with pytest.raises(ValueError, match=r"table trials: columns \['mood'\]"):
        TRIALS.arrow_table([{**{c.name: None for c in TRIALS.columns}, "mood": 1}])


# The content


def test_csv_and_parquet_hold_the_same_rows(exported):
    for name, table in TABLES.items():
        parquet = table_of(exported, name)
        plain = [pa.string() if pa.types.is_dictionary(t) else t for t in parquet.schema.types]
        options = pc.ConvertOptions(
            column_types=dict(zip(parquet.schema.names, plain, strict=True)),
            strings_can_be_null=True, true_values=["true"], false_values=["false"],
            null_values=[""],
        )  # fmt: skip
        read = pc.read_csv(
            exported / f"{name}.csv.gz",
            parse_options=pc.ParseOptions(newlines_in_values=True),
            convert_options=options,
        )
        assert read.to_pylist() == parquet.to_pylist(), table.name


def test_raw_values_are_those_of_the_store(clinic, exported):
    """Bit for bit: a researcher can compute every score again from the export."""
    samples = table_of(exported, "samples")
    events = table_of(exported, "events")
    frames = table_of(exported, "frames")
    with Store.open(clinic, write=False) as store:
        visit = store.visits.all("K7QF")[1].header
        for record in store.records.of_visit(visit.visit_id):
            block = store.records.load(record.header.block_id)
            mine = pa.compute.equal(samples["block_id"], record.header.block_id)
            part = samples.filter(mine)
            assert part["sample"].to_pylist() == list(range(len(block.samples)))
            for column in ("t_ns", "x_mm", "y_mm", "pointer", "stamp_gap_ns"):
                assert part[column].to_numpy().tobytes() == block.samples[column].tobytes()
            part = frames.filter(pa.compute.equal(frames["block_id"], record.header.block_id))
            assert part["flip_ns"].to_numpy().tobytes() == block.frames["flip_ns"].tobytes()
            part = events.filter(pa.compute.equal(events["block_id"], record.header.block_id))
            assert part["kind"].to_pylist() == block.events["kind"].tolist()
            assert part["t_ns"].to_pylist() == block.events["t_ns"].tolist()


def test_every_block_is_there_with_its_ending_and_flags(exported):
    blocks = rows(exported, "blocks")
    assert len(blocks) == 4 * 8 + 1
    odd = {b["ending"]: b for b in blocks if b["ending"] != "finished"}
    assert set(odd) == {"stopped", "interrupted"}
    assert odd["stopped"]["flags"].split()[0] == "stopped"
    assert odd["interrupted"]["flags"].split()[0] == "interrupted"
    assert 0 < int(odd["interrupted"]["n_samples"]) < 600  # two seconds were handed over
    scored = {row["block_id"] for row in rows(exported, "scores") if row["value"]}
    tested = {b["block_id"] for b in blocks if b["phase"] == "test"}
    assert scored <= tested
    assert odd["stopped"]["block_id"] not in scored


def test_missing_scores_say_why(exported):
    missing = [row for row in rows(exported, "scores") if not row["value"]]
    assert missing
    assert all(row["reason"] for row in missing)


def test_amendments_hold_and_what_was_recorded_stays_visible(exported):
    blocks = {b["block_id"]: b for b in rows(exported, "blocks")}
    amended = [b for b in blocks.values() if b["hand"] != b["hand_recorded"]]
    assert [(b["hand"], b["hand_recorded"]) for b in amended] == [("left", "right")]
    excluded = [v for v in rows(exported, "visits") if v["excluded"] == "true"]
    assert len(excluded) == 1
    said = rows(exported, "amendments")
    assert sorted(a["field"] for a in said) == ["excluded", "hand", "note", "note"]
    assert all(not a["new"] and not a["old"] for a in said if a["field"] == "note")


# De-identification


def all_text(folder):
    """Every byte of the files, and every value and note inside the Parquet files."""
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        yield path.name, path.read_bytes()
        if path.suffix == ".gz":
            yield path.name, gzip.decompress(path.read_bytes())
        if path.suffix == ".parquet":
            table = pq.read_table(path)
            yield path.name, repr(table.schema.metadata).encode()
            yield path.name, repr(pq.read_metadata(path).metadata).encode()
            yield path.name, repr(table.to_pylist()).encode()


def test_planted_names_and_serials_are_nowhere(exported, clinic):
    stored = b"".join(p.read_bytes() for p in clinic.glob("*.sqlite*"))
    assert all(word.encode() in stored for word in made_up.PLANTED)  # they truly were there
    for name, data in all_text(exported):
        for word in made_up.PLANTED:
            assert word.lower().encode() not in data.lower(), (name, word)


def test_no_wall_date_is_anywhere(exported):
    for name, data in all_text(exported):
        made = NOW.strftime("%Y-%m-%dT%H:%M:%SZ").encode()  # the export itself, said on purpose
        found = re.findall(rb"\b(?:19|20)\d\d-[01]\d-[0-3]\d", data.replace(made, b""))
        assert not found, (name, found)


def test_who_withdrew_is_absent(exported):
    for name, data in all_text(exported):
        assert b"X3CF" not in data, name
    assert {p["person"] for p in rows(exported, "people")} == {"K7QF", "M4WX"}


def test_days_count_from_the_first_baseline_visit_in_local_dates(exported):
    """By hand: visits on Mondays 2, 9, 16 March at 23:30 local, one left out as
    familiarisation, so the 9th is day 0; enrolled on the 1st; the marker on 20 March.
    """
    people = {p["person"]: p for p in rows(exported, "people")}
    days = {}
    for visit in rows(exported, "visits"):
        days.setdefault(visit["person"], []).append((visit["day"], visit["hour_bin"]))
    assert days == {
        "K7QF": [("-7", "21-24"), ("0", "21-24"), ("7", "21-24")],
        "M4WX": [("0", "21-24")],
    }
    assert (people["K7QF"]["day_zero"], people["K7QF"]["enrolled_day"]) == (
        "first_baseline", "-8",
    )  # fmt: skip
    assert people["M4WX"]["day_zero"] == "first_visit"
    assert [m["day"] for m in rows(exported, "markers")] == ["11"]
    # Practice on the 12th: three days after the 9th, the first visit of M4WX too.
    said = [
        (p["person"], p["day"], p["kind"], p["exercise"]) for p in rows(exported, "practice")
    ]
    assert sorted(said) == [
        ("K7QF", "3", "reported", "all"),
        ("K7QF", "3", "seen", "head_turns"),
        ("M4WX", "3", "reported", "rest_day"),
    ]


def test_devices_are_numbered_by_first_use_and_later_visits_change_no_number(
    own_clinic, exported, tmp_path
):
    before = {v["visit_id"]: v["device"] for v in rows(exported, "visits")}
    assert set(before.values()) == {"D01", "D02"}
    with Store.open(own_clinic) as store:
        made_up.one_visit(store, "M4WX", 9, device=made_up.TABLET)
        export_tidy(store, tmp_path / "later")
    after = {v["visit_id"]: v["device"] for v in rows(tmp_path / "later", "visits")}
    assert len(after) == len(before) + 1
    assert {i: after[i] for i in before} == before
    assert [d["system"] for d in rows(exported, "devices")] == ["linux", "simulated"]


# The same every time


def test_two_exports_are_the_same_bytes(own_clinic, exported, tmp_path):
    with Store.open(own_clinic) as store:
        export_tidy(store, tmp_path / "again", form=FULL, now=NOW)
    assert digests(tmp_path / "again") == digests(exported)


def test_an_export_over_an_export_replaces_it(clinic, own_export, exported):
    (own_export / "samples.csv.gz").write_text("old")
    with Store.open(clinic, write=False) as store:
        export_tidy(store, own_export, form=FULL, now=NOW)
    assert digests(own_export) == digests(exported)


@pytest.mark.parametrize("spoil", [{"novel": 1}, {"kind": ...}])
def test_a_row_that_is_not_the_dictionarys_is_never_written(spoil):
    """A column too many, or one that lacks, in one row of many."""
    table = TABLES["markers"]
    row = {"marker_id": "a", "person": "K7QF", "day": 1, "kind": "fall"}
    assert table.arrow_table([row, row]).to_pylist() == [row, row]
    odd = {name: value for name, value in (row | spoil).items() if value is not ...}
    with pytest.raises(ValueError, match=f"'{next(iter(spoil))}'.* both row and dictionary"):
        table.arrow_table([row, odd])
