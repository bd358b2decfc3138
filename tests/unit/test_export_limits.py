"""Small files that would unpack to much: named, with little memory, by the commands themselves.

Each is a file of an export with its hashes and digest put right, so that only the limits stand
between it and the memory. All are looked at by one process of its own, whose peak is read.
"""

import json
import random
import shutil
import subprocess
import sys

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from battery.errors import RecordError
from battery.export.dictionary.all_tables import TABLES
from battery.export.reading import limits, row_groups
from battery.export.reading.limits import (
    CHUNK_BYTES,
    DATA_AT,
    DICTIONARY_AT,
    Compact,
    hold_footer,
    hold_pages,
)
from battery.export.reading.usual_heads import FIELDS, page_head
from tests.export_kit import put_right
from tests.property.test_fuzz_exports import small_export
from tests.sparing import only

MAX_MORE_KB = 200_000
LONG = "x" * 2_000_000
SAMPLES = "samples/part-0001.parquet"

CHILD = """
import pathlib, sys
from typer.testing import CliRunner
from battery.cli import app
from battery.errors import BatteryError

for folder in sys.argv[1:]:
    for words in (["verify", folder], ["rescore", "--from", folder]):
        done = CliRunner().invoke(app, words)
        if not isinstance(done.exception, (type(None), SystemExit, BatteryError)):
            raise done.exception
        said = " ".join(f"{done.output} {done.exception or ''}".split())
        status = pathlib.Path("/proc/self/status").read_text()  # not of who started it
        peak_kb = int(status.split("VmHWM:")[1].split()[0])
        print(words[0], done.exit_code, peak_kb, said, sep="\\t")
"""


def rows_of(name, n_rows, **given):
    """A table of n equal rows, with some columns given."""
    columns = {}
    for field in TABLES[name].arrow_schema:
        kind = field.type.value_type if pa.types.is_dictionary(field.type) else field.type
        value = given.get(field.name, "x" if pa.types.is_string(kind) else 0)
        if isinstance(value, str):
            coded = pa.DictionaryArray.from_arrays(
                pa.array(np.zeros(n_rows, np.int32)), pa.array([value])
            )
            columns[field.name] = coded
        elif isinstance(value, pa.Array):
            columns[field.name] = value
        else:
            columns[field.name] = pa.array(np.zeros(n_rows), pa.float64()).cast(kind)
    return pa.table(columns)


def write(path, table, **options):
    pq.write_table(table, path, compression="zstd", store_schema=False, **options)


def one_long_text(study):
    write(study / SAMPLES, rows_of("samples", 60_000, block_id=LONG))


def one_long_text_in_a_small_table(study):
    write(study / "markers.parquet", rows_of("markers", 60_000, kind=LONG))


def a_long_text_in_many_rows(study):
    """Each text within its limit; all rows together 600 MB."""
    write(study / "markers.parquet", rows_of("markers", 60_000, person="y" * 10_000))


def a_giant_page(study):
    """40 MB of noughts a column in one page of some kilobytes."""
    table = rows_of("samples", 5_000_000, x_mm=pa.array(np.zeros(5_000_000)))
    write(
        study / SAMPLES, table, use_dictionary=["block_id", "kind"], data_page_size=2**30,
        row_group_size=5_000_000, max_rows_per_page=5_000_000,
    )  # fmt: skip


def rows_without_end(study):
    """One block of three million rows."""
    block = pq.read_table(study / "blocks" / "part-0001.parquet").column("block_id")[0].as_py()
    write(study / SAMPLES, rows_of("samples", 3_000_000, block_id=block), row_group_size=65_536)


def many_row_groups(study):
    write(study / SAMPLES, rows_of("samples", 6_000), row_group_size=1)


def a_huge_schema(study):
    table = pa.table({f"column {n}": pa.array([], pa.int64()) for n in range(20_000)})
    write(study / SAMPLES, table)


def a_wide_table(study):
    table = pa.table({f"column {n}": pa.array([], pa.int64()) for n in range(1_000)})
    write(study / SAMPLES, table)


def texts_that_share_their_beginning(study):
    """A thousand texts of 500 kB, each of which says only how it ends."""
    texts = pa.array([LONG[:500_000] + str(n) for n in range(1_000)])
    table = rows_of("markers", 1_000, kind=texts)
    write(
        study / "markers.parquet", table, use_dictionary=False,
        column_encoding={
            f.name: "DELTA_BYTE_ARRAY" for f in table.schema if pa.types.is_string(f.type)
        },
    )  # fmt: skip


def a_descriptor_of_many_values(study):
    path = study / "datapackage.json"
    told = json.loads(path.read_text())
    told["more"] = 0
    path.write_text(json.dumps(told).replace('"more": 0', f'"more": [{"[]," * 4_000_000}0]'))


def settings_of_many_values(study):
    old = pq.read_table(study / "settings.parquet")
    content = '{"a": [' + "[]," * 300_000 + "0]}"
    place = old.schema.get_field_index("content")
    column = pa.array([content] * old.num_rows).cast(old.schema.field(place).type)
    write(study / "settings.parquet", old.set_column(place, "content", column))


BOMBS = {
    one_long_text: "a text of block_id",
    one_long_text_in_a_small_table: "a text of",
    a_long_text_in_many_rows: "the texts up to",
    a_giant_page: "at once; not read",
    rows_without_end: "more than 1000000 rows",
    many_row_groups: "too many structures",
    a_huge_schema: "too many structures",
    a_wide_table: "has 1000 columns, more than",
    texts_that_share_their_beginning: "hides its size",
    a_descriptor_of_many_values: "holds no export",
    settings_of_many_values: "too many values",
}
FEW = [one_long_text, many_row_groups]


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return small_export(tmp_path_factory.mktemp("limits"))


@pytest.mark.parametrize("bombs", only([FEW, list(BOMBS)], [FEW]), ids=["few", "all"])
def test_a_small_file_that_unpacks_to_much_is_named_with_little_memory(study, tmp_path, bombs):
    folders = []
    for bomb in bombs:
        folder = shutil.copytree(study, tmp_path / bomb.__name__)
        for copy in folder.glob("*.csv.gz"):
            copy.unlink()
        bomb(folder)
        if bomb is not a_descriptor_of_many_values:
            put_right(folder)
        folders.append(folder)
    done = subprocess.run(
        [sys.executable, "-c", CHILD, study, *folders],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    told = [line.split("\t") for line in done.stdout.splitlines()]
    whole_kb = int(told[1][2])
    assert [line[1] for line in told[:2]] == ["0", "0"], told[:2]
    for place, bomb in enumerate(bombs, start=1):
        verified, scored = told[2 * place : 2 * place + 2]
        assert BOMBS[bomb] in verified[3], (bomb.__name__, verified)
        assert verified[1] != "0"
        assert int(scored[2]) - whole_kb < MAX_MORE_KB, bomb.__name__


def test_what_the_program_wrote_is_within_its_limits(study):
    for path in sorted(study.rglob("*.parquet")):
        groups = hold_footer(path, path.name)
        hold_pages(path, groups, path.name)
        about = pq.read_metadata(path)
        assert len(groups) == about.num_row_groups
        for number, group in enumerate(groups):
            told = [about.row_group(number).column(n) for n in range(about.num_columns)]
            assert [chunk[CHUNK_BYTES] for chunk in group] == [
                column.total_compressed_size for column in told
            ]
            assert [chunk[DATA_AT] for chunk in group] == [c.data_page_offset for c in told]
            assert [chunk.get(DICTIONARY_AT) for chunk in group] == [
                column.dictionary_page_offset for column in told
            ]


def test_row_groups_are_read_together_within_what_may_be_held(tmp_path):
    path = tmp_path / "many.parquet"
    pq.write_table(pa.table({"n": range(100)}), path, row_group_size=10)
    with pq.ParquetFile(path) as file:
        large = limits.MAX_HELD_BYTES // 3
        runs = list(row_groups._together(file, [large] * 4 + [1] * 6))
        assert [len(run) for run in runs] == [3, 7]
        assert [n for run in runs for n in run] == list(range(10))
        assert list(row_groups._together(file, [])) == [[n] for n in range(10)]


def test_a_head_of_the_usual_shape_reads_as_field_by_field(study):
    """Whole, and with any byte of it changed: then it has another shape, or says the same."""
    draw = random.Random(7)
    n_pages = n_columns = 0
    for path in (study / "events" / "part-0001.parquet", study / "visits.parquet"):
        data = path.read_bytes()
        for column in hold_footer(path, path.name)[0]:
            at = min(column[DATA_AT], column.get(DICTIONARY_AT, column[DATA_AT]))
            head = data[at : at + 400]
            for tried in (head, *(_changed(head[:120], draw) for _ in range(40))):
                usual = page_head(tried, 0)
                if usual is not None:
                    n_pages += 1
                    other = limits._head_of_page(tried, 0, "it")
                    assert usual._replace(encoding=other.encoding) == other
                    assert (usual.encoding == limits.DELTA_BYTE_ARRAY) == (
                        other.encoding == limits.DELTA_BYTE_ARRAY
                    )
        footer = data[-8 - int.from_bytes(data[-8:-4], "little") : -8]
        for tried in (footer, *(_changed(footer, draw) for _ in range(40))):
            usual, other = _groups_of(tried), _groups_of(tried, fields=True)
            n_columns += len(usual) if usual else 0
            assert usual == other
    assert n_pages > 100
    assert n_columns > 30


def _changed(data, draw):
    at = draw.randrange(len(data))
    return data[:at] + bytes([draw.randrange(256)]) + data[at + 1 :]


def _groups_of(footer, *, fields=False):
    """What a footer says of its columns, or None where it is refused."""
    with pytest.MonkeyPatch.context() as patch:
        if fields:
            patch.setattr(limits, "column_numbers", lambda *_: None)
        read = Compact(footer, "it")
        try:
            read.structure()
        except RecordError:
            return None
    return [[{f: c.get(f) for f in FIELDS} for c in group] for group in read.groups]


def test_a_head_is_read_as_the_protocol_says():
    """Worked by hand from the compact protocol: field 1 = 300, field 3 = {1: -2}, field 20 = 1.

    A whole number is zigzagged (300 to 600, -2 to 3, 1 to 2) and written seven bits at a time
    (600 = 0b100_1011000 as d8 04); a head is step and type, or nought and type and the field.
    """
    data = bytes([0x15, 0xD8, 0x04, 0x2C, 0x15, 0x03, 0x00, 0x05, 0x28, 0x02, 0x00])
    head = Compact(data + b"more", "it")
    assert head.structure() == {1: 300, 20: 1}
    assert head.inner == {3: {1: -2}}
    assert head.at == len(data)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x15",
        b"\x15\xff\xff",
        b"\x18\xff\x7f",
        b"\x1c" * 40,
        b"\x1d",
        b"\x15" + b"\xff" * 12,
    ],
)
def test_a_head_that_makes_no_sense_is_refused(data):
    with pytest.raises(RecordError):
        Compact(data, "it").structure()
