"""What tests of exports share: reading tables, and putting hashes right as a forger would."""

import gzip
import hashlib
import json
from datetime import UTC, datetime
from types import SimpleNamespace

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from battery.export import Form
from battery.export.choosing.selection import Selection
from battery.export.dictionary.all_tables import TABLES
from battery.export.on_disk.csv_copy import write_csv
from battery.export.on_disk.signing import DIGEST, digest_of
from battery.export.on_disk.table_files import names_of
from battery.export.reading import block_rows, reader
from battery.export.rows import raw, rebuilding

NOW = datetime(2026, 11, 1, 9, 30, tzinfo=UTC)
FULL = Form(raw_csv=True)
EVERYBODY = Selection(without_consent="a test")


def package(folder):
    return json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))


def n_parts(folder):
    return len(next(r for r in package(folder)["resources"] if r["name"] == "blocks")["parts"])


def table_of(folder, name):
    """All parts of a table as one."""
    parts = [pq.read_table(folder / path) for path in names_of(name, n_parts(folder))]
    return pa.concat_tables(parts).unify_dictionaries().combine_chunks()


def rows(folder, name):
    """Rows as their CSV would give them: texts, empty where a value is missing."""
    return [{k: _text(v) for k, v in row.items()} for row in table_of(folder, name).to_pylist()]


def _text(value):
    if value is None:
        return ""
    return {True: "true", False: "false"}[value] if isinstance(value, bool) else str(value)


def csv_text(folder, name):
    return gzip.decompress((folder / f"{name}.csv.gz").read_bytes()).decode()


def files(folder):
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def digests(folder):
    return {name: hashlib.sha256(data).hexdigest() for name, data in files(folder).items()}


def rewrite(folder, name, change, *, right="digest"):
    """Change a table's rows as a forger would who puts sizes, hashes and the digest right."""
    for path in names_of(name, n_parts(folder)):
        old = pq.read_table(folder / path)
        new = change(old)
        pq.write_table(new.cast(old.schema), folder / path, compression="zstd")
    if (folder / f"{name}.csv.gz").exists():
        write_csv(folder, [name], n_parts(folder))
    put_right(folder, right=right)


def put_right(folder, *, right="digest"):
    """Make the descriptor state what the files are: their hashes, or the digest too."""
    try:
        told = package(folder)
        abouts = [told["dictionary"]]
        for about in told["resources"]:
            abouts += [*about["parts"], *([about] if about["format"] == "csv" else [])]
        for about in abouts:
            path = folder / about["path"]
            if path.is_file() and not path.is_symlink():
                data = path.read_bytes()
                about["bytes"] = len(data)
                about["hash"] = f"sha256:{hashlib.sha256(data).hexdigest()}"
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return  # the descriptor itself is what was spoilt
    if right == "digest":
        told[DIGEST] = digest_of(told)
    (folder / "datapackage.json").write_text(json.dumps(told))


def put_blocks_right(folder):
    """Make every block have the hash of what it now says, as far as there is one."""
    export = reader.Export(folder)
    for part, path in enumerate(names_of("blocks", n_parts(folder)), start=1):
        streams = {
            n: block_rows.BlockRows(export, n, part) for n in ("samples", "events", "frames")
        }
        blocks = pq.read_table(folder / path)
        hashes = []
        for row in blocks.to_pylist():
            try:
                rows = {name: stream.of(row["block_id"]) for name, stream in streams.items()}
                held = {**export.settings[row["settings_id"]], **json.loads(row["layout"])}
                block = SimpleNamespace(
                    **{
                        n: r if isinstance(r, np.ndarray) else rebuilding.packed_rows(n, r)
                        for n, r in rows.items()
                    }
                )
                hashes.append(raw.block_sha256(row, held, block))
            except (
                ValueError,
                TypeError,
                KeyError,
                AttributeError,
                OverflowError,
                LookupError,
            ):
                hashes.append(row["sha256"])  # of what cannot be there is no hash
        place = blocks.schema.get_field_index("sha256")
        field = blocks.schema.field(place)
        blocks = blocks.set_column(place, field.name, pa.array(hashes, field.type))
        pq.write_table(blocks.cast(blocks.schema), folder / path, compression="zstd")
    put_right(folder)


def set_value(column, row, value):
    """Give a change of one value, in the part that has such a row."""

    def change(table):
        if row >= table.num_rows:
            return table
        values = table.column(column).to_pylist()
        values[row] = value
        place = table.schema.get_field_index(column)
        field = table.schema.field(column)
        return table.set_column(place, field.name, pa.array(values, field.type))

    return change


def whole_names():
    """Names of the files of an export of one part."""
    return {name for table in TABLES for name in names_of(table, 1)}
