"""An export with every hash put right: what it says is held to what it can say, and named."""

import math
import re
import shutil
import sys
import warnings

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from battery.errors import BatteryError
from battery.export import rescore_export, verify_export
from battery.export.dictionary.all_tables import TABLES
from battery.export.on_disk.table_files import names_of
from tests.export_kit import put_blocks_right, rewrite, set_value
from tests.full_export import full_export
from tests.property.test_fuzz_exports import small_export
from tests.sparing import share

WHOLE = (-1, 0, 2**31, 2**63 - 1)
REAL = (-1.0, 0.0, 1e308, float("inf"), float("nan"), 5e-324)
TEXT = ("", "nosuch", "../../x", "\0", "[]", "{}", '{"x": NaN}', "=1+1", "left", "9" * 400)
ANYTHING = {"versions"}  # said of what recorded it, whatever that was
MADE_OF = ("visits", "settings", "blocks", "samples", "events", "frames")


def hostile(column):
    """Every hostile value of a column's type."""
    kind = column.arrow_field.type
    if pa.types.is_boolean(kind):
        return ()
    if pa.types.is_integer(kind):
        return tuple(v for v in WHOLE if v < 2 ** (kind.bit_width - 1))
    return REAL if pa.types.is_floating(kind) else TEXT


CASES = [
    (name, column.name, value)
    for name in MADE_OF
    for column in TABLES[name].columns
    for value in hostile(column)
    if column.name != "sha256"  # made anew by whoever forges
]


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    small_export(tmp_path_factory.mktemp("gate"))
    return tmp_path_factory.getbasetemp() / "gate0" / "study without csv"


def looked_at(folder):
    """What is said of an export; any error but ours comes up here."""
    said = []
    try:
        said += [f"{f.where}: {f.what}" for f in verify_export(folder).findings]
    except BatteryError as error:
        said.append(str(error))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # odd numbers, odd scores
            done = rescore_export(folder)
        said += [*done.failed.values(), *done.differ]
    except BatteryError as error:
        said.append(str(error))
    return said


def told_of(study, folder, case):
    name, column, value = case
    shutil.copytree(study, folder)
    before = pq.read_table(folder / names_of(name, 1)[0]).column(column)[0].as_py()
    rewrite(folder, name, set_value(column, 0, value))
    if name in MADE_OF:
        put_blocks_right(folder)
    said = looked_at(folder)
    shutil.rmtree(folder)
    assert all("\n" not in line for line in said)
    return said, before


def loop(study, folder, cases):
    """Every case; return those of which nothing was said though the value cannot be."""
    silent = []
    for case in cases:
        said, before = told_of(study, folder / "own", case)
        name, column, value = case
        about = next(c for c in TABLES[name].columns if c.name == column)
        if not said and value != before and not may_be(about, value):
            silent.append(case)
    return silent


def may_be(column, value):
    """Whether the dictionary allows the value, written a second time and slowly."""
    if isinstance(value, str):
        if column.words:
            return value in column.words
        if column.kind == "object" and column.name not in ANYTHING:
            return False
        return not column.pattern or re.fullmatch(column.pattern, value) is not None
    if value != value or abs(value) == float("inf"):
        return bool(column.missing) and value != value
    above = column.minimum is None or value >= column.minimum
    return above and (column.maximum is None or value <= column.maximum)


def test_a_hostile_value_is_named_though_every_hash_holds(study, tmp_path):
    found = [("samples", "pressure", math.inf), ("events", "r_mm", -1.0)]  # by the whole loop
    assert loop(study, tmp_path, [*found, *CASES[::29]]) == []


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_every_hostile_value_is_named_though_every_hash_holds(study, tmp_path):
    silent = loop(study, tmp_path, CASES)
    sys.stdout.write(f"\n{len(CASES)} hostile values, silent: {silent}\n")
    assert silent == []


@pytest.fixture(scope="module")
def full(tmp_path_factory):
    return full_export(tmp_path_factory.mktemp("full")) / "study"


@pytest.mark.parametrize(
    "name", share(sorted(set(TABLES) - {"samples", "events", "frames"}), every=3)
)
def test_a_value_beyond_the_dictionary_is_named_in_every_table(full, tmp_path, name):
    own = shutil.copytree(full, tmp_path / "own")
    path = own / names_of(name, 1)[0]
    rows = pq.read_table(path)
    assert rows.num_rows
    columns = TABLES[name].columns
    text = next(c for c in columns if c.words or c.pattern or c.minimum is not None)
    value = "n\u00f6" if text.kind == "string" else -7
    rewrite(own, name, set_value(text.name, 0, value))
    found = verify_export(own).findings
    assert any(text.name in f.what or "refer to" in f.what for f in found), found


def test_a_block_that_cannot_have_been_played_does_not_stop_the_others(study, tmp_path):
    own = shutil.copytree(study, tmp_path / "own")
    rewrite(own, "blocks", set_value("layout_seed", 1, 2**40))
    put_blocks_right(own)
    done = rescore_export(own)
    bad = pq.read_table(own / names_of("blocks", 1)[0]).column("block_id")[1].as_py()
    assert list(done.failed) == [f"block {bad}"]
    assert "layout_seed is 1099511627776" in done.failed[f"block {bad}"]
    whole = rescore_export(study)
    assert whole.failed == {}
    assert done.n_blocks == whole.n_blocks - 1
