"""Descriptor and readable dictionary of an export, made from the data dictionary."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from battery.export.columns import Column, Table
from battery.export.dictionary import TABLES
from battery.export.files import DICTIONARY, PACKAGE, PACKAGE_NAME, size_and_hash

EXPORT_VERSION = "1.0.0"  # of the tables; a changed meaning raises the first number
TITLE = "Coordination battery: raw trials and scores"
ABOUT = """\
Pointer and touch recordings of a coordination test, with what was computed from them.
People stand under codes drawn at random. There are no names, dates, serial numbers or free
texts: days count from each person's own day 0 and the time of day is given in parts of three
hours. A finger's path may still be particular to a person: share under agreement, not openly,
unless the person consented to that. Scores hold for the device they were measured on. Nothing
here is a diagnosis."""


def write_package(folder: Path, n_rows: Mapping[str, int]) -> None:
    """Write descriptor and dictionary for the tables in a folder.

    Parameters
    ----------
    folder : Path
        Holds every table as CSV and Parquet.
    n_rows : mapping
        Rows of each table.
    """
    (folder / DICTIONARY).write_text(readable(), encoding="utf-8", newline="\n")
    resources = [_resource(table, folder, n_rows[table.name]) for table in TABLES.values()]
    descriptor = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": PACKAGE_NAME,
        "title": TITLE,
        "description": ABOUT.replace("\n", " "),
        "version": EXPORT_VERSION,
        "resources": resources,
    }
    text = json.dumps(descriptor, indent=1, ensure_ascii=True) + "\n"
    (folder / PACKAGE).write_text(text, encoding="utf-8", newline="\n")


def _resource(table: Table, folder: Path, n_rows: int) -> dict[str, Any]:
    csv, parquet = f"{table.name}.csv", f"{table.name}.parquet"
    return {
        "name": table.name,
        "type": "table",
        "title": table.title,
        "description": table.meaning,
        "path": csv,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        **size_and_hash(folder / csv),
        "dialect": {"lineTerminator": "\n"},
        "schema": table.table_schema,
        # Beyond the standard: how many rows, and the same rows in the other format.
        "rows": n_rows,
        "parquet": {
            "path": parquet,
            "mediatype": "application/vnd.apache.parquet",
            **size_and_hash(folder / parquet),
        },
    }


def readable() -> str:
    """Return the dictionary as Markdown: every table and column with unit and meaning."""
    parts = [
        f"# {TITLE}",
        ABOUT,
        "Every table is there as CSV (UTF-8, comma, empty is missing) and as Parquet with the "
        "same rows. Positions are millimetres on the glass from the centre of the screen, x "
        "to the right, y up (away from the person). Raw times are nanoseconds from the start "
        "of the block on one monotonic clock.",
    ]
    for table in TABLES.values():
        keys = [f"Key: {', '.join(table.primary)}."]
        keys += [f"`{k.column}` refers to {k.table}." for k in table.keys]
        parts += [f"## {table.name}", table.meaning, " ".join(keys), _columns(table)]
    return "\n\n".join(parts) + "\n"


def _columns(table: Table) -> str:
    lines = ["| column | type | unit | meaning | empty when |", "|---|---|---|---|---|"]
    for column in table.columns:
        cells = (f"`{column.name}`", column.kind, column.unit, _meaning(column), column.missing)
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(lines)


def _meaning(column: Column) -> str:
    return column.meaning + (f" One of: {', '.join(column.words)}." if column.words else "")
