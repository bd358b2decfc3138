"""Descriptor and readable dictionary of an export, made from the data dictionary."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq

from battery.export.choosing.selection import Selection
from battery.export.dictionary.all_tables import TABLES
from battery.export.dictionary.columns import Column, Table
from battery.export.on_disk.signing import DIGEST, SIGNATURE, Sign, digest_of, signed_bytes
from battery.export.on_disk.table_files import (
    CSV,
    DICTIONARY,
    PACKAGE,
    PACKAGE_NAME,
    names_of,
    size_and_hash,
)
from battery.scoring import SCORING_VERSION
from battery.store import Store

EXPORT_VERSION = "2.1.0"  # of the tables; a changed meaning raises the first number
LICENCE, AUTHORS = "export.licence", "export.authors"  # settings of the clinic
TITLE = "Coordination battery: raw trials and scores"
PARQUET = "application/vnd.apache.parquet"
ABOUT = """\
Pointer and touch recordings of a coordination test, with what was computed from them.
People stand under codes drawn at random. There are no names, dates, serial numbers or free
texts: days count from each person's own day 0 and the time of day is given in parts of three
hours. A finger's path may still be particular to a person: share under agreement, not openly,
unless the person consented to that. Scores hold for the device they were measured on. Nothing
here is a diagnosis."""


@dataclass(frozen=True, slots=True)
class About:
    """What an export says of itself beside its tables.

    Parameters
    ----------
    made_utc : str
        To the second.
    selection : dict
        What was asked for.
    new_codes : bool
        Whether codes and identifiers were drawn for this export alone.
    n_damaged : int
        Blocks that could not be read and are left out.
    licence : str
        Name or address of a licence; empty while none was chosen.
    authors : sequence of str
    """

    made_utc: str
    selection: Mapping[str, Any]
    new_codes: bool = False
    n_damaged: int = 0
    licence: str = ""
    authors: Sequence[str] = ()

    @classmethod
    def of(
        cls,
        store: Store,
        selection: Selection,
        *,
        made: datetime,
        new_codes: bool = False,
        n_damaged: int = 0,
    ) -> About:
        """Take licence and authors from the clinic's settings."""
        return cls(
            made.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
            selection.told,
            new_codes,
            n_damaged,
            str(store.setup.setting(LICENCE, "")),
            [str(name) for name in store.setup.setting(AUTHORS, [])],
        )

    @property
    def told(self) -> dict[str, Any]:
        """Properties of a data package; those it does not define stand under our own names."""
        found: dict[str, Any] = {"created": self.made_utc}
        if self.licence:
            found["licenses"] = [_licence(self.licence)]
        if self.authors:
            found["contributors"] = [
                {"title": name, "roles": ["author"]} for name in self.authors
            ]
        return found | {
            "software": {
                "name": "coordination-battery",
                "version": version("coordination-battery"),
                "scoring_version": SCORING_VERSION,
            },
            "selection": dict(self.selection),
            "codes": "drawn for this export" if self.new_codes else "those of the store",
            "damaged_blocks_left_out": self.n_damaged,
        }


def _licence(text: str) -> dict[str, str]:
    if text.startswith(("https://", "http://")):
        return {"path": text}
    name = re.sub(r"[^0-9A-Za-z.+-]+", "-", text).strip("-") or "other"
    return {"name": name, "title": text}


def write_package(
    folder: Path,
    n_rows: Mapping[str, int],
    n_parts: int,
    about: About,
    sign: Sign | None = None,
) -> str:
    """Write descriptor and dictionary for the tables in a folder; return the digest.

    Parameters
    ----------
    folder : Path
        Holds every table as Parquet.
    n_rows : mapping
        Rows of each table.
    n_parts : int
        Of each table that has parts.
    sign : callable, optional
        Signs the digest of the descriptor, which holds the hash of every file.
    """
    (folder / DICTIONARY).write_text(readable(), encoding="utf-8", newline="\n")
    descriptor: dict[str, Any] = {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": PACKAGE_NAME,
        "title": TITLE,
        "description": ABOUT.replace("\n", " "),
        "version": EXPORT_VERSION,
        **about.told,
        "dictionary": {"path": DICTIONARY, **size_and_hash(folder / DICTIONARY)},
        "resources": [
            _resource(table, folder, n_rows[name], n_parts) for name, table in TABLES.items()
        ],
    }
    descriptor[DIGEST] = digest_of(descriptor)
    if sign is not None:
        descriptor[SIGNATURE] = dict(sign(signed_bytes(descriptor[DIGEST])))
    text = json.dumps(descriptor, indent=1, ensure_ascii=True) + "\n"
    (folder / PACKAGE).write_text(text, encoding="utf-8", newline="\n")
    return str(descriptor[DIGEST])


def _resource(table: Table, folder: Path, n_rows: int, n_parts: int) -> dict[str, Any]:
    names = names_of(table.name, n_parts)
    parts = [
        {
            "path": name,
            **size_and_hash(folder / name),
            "rows": n_rows if len(names) == 1 else pq.read_metadata(folder / name).num_rows,
        }
        for name in names
    ]
    csv = folder / f"{table.name}{CSV}"
    main: dict[str, Any] = {
        "path": names if table.in_parts else names[0],
        "format": "parquet",
        "mediatype": PARQUET,
    }
    if csv.exists():
        main = {
            "path": csv.name,
            "format": "csv",
            "mediatype": "text/csv",
            "encoding": "utf-8",
            "compression": "gz",
            **size_and_hash(csv),
            "dialect": {"lineTerminator": "\n"},
        }
    return {
        "name": table.name,
        "type": "table",
        "title": table.title,
        "description": table.meaning,
        **main,
        "schema": table.table_schema,
        # Beyond the standard: how many rows, and the Parquet files that hold them, in order.
        "rows": n_rows,
        "parts": parts,
    }


def readable() -> str:
    """Return the dictionary as Markdown: every table and column with unit and meaning."""
    parts = [
        f"# {TITLE}",
        ABOUT,
        "Every table is one Parquet file, or a folder of parts of about a thousand blocks "
        "each: part 3 of samples holds the samples of the blocks in part 3 of blocks, a visit "
        "in each group of rows. Where a table is there as CSV too (UTF-8, comma, empty is "
        "missing), it has the same rows; a text that a spreadsheet could run has an "
        "apostrophe before it. Positions are millimetres on the glass from the centre of the "
        "screen, x to the right, y up (away from the person). Raw times are nanoseconds from "
        "the start of the block on one monotonic clock.",
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
