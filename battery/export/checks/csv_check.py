"""Whether the CSV files of an export hold the rows of its Parquet files."""

from __future__ import annotations

import gzip
import hashlib
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from battery.errors import BatteryError
from battery.export.on_disk.csv_copy import write_rows
from battery.export.on_disk.descriptor import is_plain
from battery.export.on_disk.table_files import CSV
from battery.export.reading.reader import Export
from battery.export.rows.rebuilding import BROKEN
from battery.verify import Finding

MAX_CSV_BYTES = 1 << 34  # unpacked; a CSV file that claims more is not what was written
CHUNK_BYTES = 1 << 20


def csv_findings(export: Export, bad: set[str]) -> Iterator[Finding]:
    """Hold each CSV file to what the Parquet files' rows give when they are written."""
    for name in export.tables:
        told = export.resources(name)[0]
        if name in bad or not (export.is_first_form or told.get("format") == "csv"):
            continue
        file = f"{name}.csv" if export.is_first_form else f"{name}{CSV}"
        if not is_plain(export.folder / file):
            continue  # named already
        digest = _Digest()
        try:
            with export.open(name) as first:
                schema = first.schema_arrow
            n_files = len(export.names(name))
            rows = (b for part in range(1, n_files + 1) for b in export.batches(name, part))
            write_rows(digest, schema, rows, as_is=export.is_first_form)
            written = _unpacked_hash(export.folder / file)
        except (BatteryError, zlib.error, EOFError, *BROKEN) as error:
            yield Finding(file, f"it cannot be read: {str(error)[:200]}")
            continue
        if written != digest.sha256.hexdigest():
            yield Finding(file, f"it does not hold the rows of {name} in Parquet")


def _unpacked_hash(path: Path) -> str:
    """Hash a CSV file, unpacked if it is packed."""
    digest = hashlib.sha256()
    n_bytes = 0
    with gzip.open(path) if path.name.endswith(".gz") else path.open("rb") as file:
        while data := file.read(CHUNK_BYTES):
            n_bytes += len(data)
            if n_bytes > MAX_CSV_BYTES:
                msg = f"it unpacks to more than {MAX_CSV_BYTES} bytes"
                raise ValueError(msg)
            digest.update(data)
    return digest.hexdigest()


class _Digest:
    """A file that keeps only the hash of what is written to it."""

    closed = False

    def __init__(self) -> None:
        self.sha256 = hashlib.sha256()

    def write(self, data: Any) -> int:
        self.sha256.update(data)
        return len(data)

    def flush(self) -> None:
        pass

    def close(self) -> None:
        pass
