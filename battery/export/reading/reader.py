"""An export read back, part by part, with little in memory whatever the files claim.

Only the files an export has are opened, by their own names; what a descriptor says about
paths is compared and never followed. The first form, of one file a table, is read too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from battery import forms
from battery.errors import RecordError
from battery.export.dictionary.all_tables import TABLES
from battery.export.dictionary.columns import WORDS
from battery.export.on_disk.descriptor import is_plain, read_package
from battery.export.on_disk.table_files import names_of
from battery.export.reading.block_rows import BlockRows
from battery.export.reading.limits import hold_footer, hold_pages
from battery.export.reading.row_groups import held_rows
from battery.export.rows import raw
from battery.export.rows.rebuilding import (
    BROKEN,
    MAX_VALUES,
    RawRows,
    block_of,
    dicts_of,
    first_line,
    n_values,
    parted_settings,
    structure_of,
    whole_settings,
)
from battery.playable import hold_block, hold_events, hold_settings
from battery.recording import Block, Screen, canonical_json
from battery.workers import in_order

ROWS_OF_SOME = 50_000  # of blocks that one thread builds one after another
MAX_ROWS_OF_FILE = 500_000  # of one that is not raw
MAX_ROWS_OF_FIRST = 5_000_000  # the first form had one file a table
ROWS_AS_DICTS = 2_048
MAX_PARTS = 100_000
RAW = frozenset({"samples", "events", "frames"})  # read with the blocks, a block at a time
PLAIN = (pa.int16(), pa.int64(), pa.float32(), pa.float64(), pa.bool_(), WORDS)

# Tables that blocks are made of, and the columns of `blocks` that the first form did not have:
# there were settings on every block, and the hash was of the record in the store.
MADE_OF = frozenset({"visits", "settings", "blocks", "samples", "events", "frames"})
NOT_IN_FIRST = frozenset(
    {"task_version", "n_events", "n_frames", "settings_id", "layout", "sha256"}
)

_Rows = dict[str, RawRows]  # of each raw table, those of one block
_Told = tuple[dict[str, Any], _Rows]  # its row of `blocks` beside them


@dataclass(frozen=True, slots=True)
class ReadBlock:
    """A block of an export, with the screen of its visit and what the table says of it.

    One that is what its hash says can also have been played.
    """

    block: Block
    screen: Screen
    row: dict[str, Any]
    sha256: str  # of the block as it was read; empty in the first form

    @property
    def holds(self) -> bool:
        """Whether it is what its hash says."""
        return not self.sha256 or self.sha256 == self.row["sha256"]


class Export:
    """A folder that holds an export.

    Attributes
    ----------
    package : dict
        Its descriptor.
    is_first_form : bool
    n_parts : int
        Of each table that has parts.
    unreadable : dict of block to reason
        Blocks that were met so far and left out, as they do not hold together or cannot have
        been played.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.package = read_package(folder)
        self.is_first_form = str(self.package["version"]).startswith("1.")
        self.n_parts = 1 if self.is_first_form else self._count_parts()
        self.unreadable: dict[str, str] = {}
        self._settings: dict[str, dict[str, Any]] | None = None
        self._texts: dict[str, dict[str, str] | None] = {}  # of each value of settings
        self._screens: dict[str, Screen] | None = None
        self._bad_visits: dict[str, str] = {}

    def _count_parts(self) -> int:
        for about in self.package["resources"]:
            if isinstance(about, dict) and about.get("name") == "blocks":
                parts = about.get("parts")
                if isinstance(parts, list) and 1 <= len(parts) <= MAX_PARTS:
                    return len(parts)
        msg = f"the descriptor of '{self.folder}' does not say how many parts there are"
        raise RecordError(msg)

    def names(self, table: str) -> list[str]:
        """Return the names of a table's Parquet files, in order."""
        if self.is_first_form:
            return [f"{table}.parquet"]
        return names_of(table, self.n_parts)

    @property
    def tables(self) -> list[str]:
        """Names of the tables that its descriptor has and this program knows."""
        told = [r.get("name") for r in self.package["resources"] if isinstance(r, dict)]
        return [name for name in TABLES if name in told]

    def resources(self, table: str) -> list[dict[str, Any]]:
        """Return what its descriptor says of a table; more than once where it is wrong."""
        told = (r for r in self.package["resources"] if isinstance(r, dict))
        return [r for r in told if r.get("name") == table]

    def has_this_dictionary(self, table: str) -> bool:
        """Whether it was written by what this program knows of the columns of a table."""
        schemas = [r.get("schema") for r in self.resources(table)]
        return schemas == [TABLES[table].table_schema]

    def _needed(self, table: str) -> set[str]:
        """Return the columns that must be there; others may lack in an earlier export."""
        names = {column.name for column in TABLES[table].columns}
        if table not in MADE_OF:
            return set(TABLES[table].primary)
        if self.is_first_form and table == "blocks":
            return names - NOT_IN_FIRST | {"settings"}
        return names

    def open(self, table: str, part: int = 1) -> pq.ParquetFile:
        """Open a Parquet file and hold it to the dictionary.

        Parameters
        ----------
        part : int
            From 1; of a table without parts there is only one.

        Raises
        ------
        RecordError
            If it cannot be read or has other columns.
        """
        return self._opened(table, part)[0]

    def _opened(self, table: str, part: int) -> tuple[pq.ParquetFile, list[int]]:
        """Open a file, held to the dictionary; say too what each row group takes at once."""
        names = self.names(table)
        name = names[part - 1] if len(names) > 1 else names[0]
        path = self.folder / name
        if not is_plain(path) or path.parent.is_symlink():
            msg = f"{name} is not a plain file"
            raise RecordError(msg)
        try:
            held = hold_pages(path, hold_footer(path, name), name)
            file = _with_texts_numbered(path, _texts_of(table))
            most = MAX_ROWS_OF_FIRST if self.is_first_form else MAX_ROWS_OF_FILE
            if table not in RAW and file.metadata.num_rows > most:
                msg = f"{name} has more than {most} rows; not read"
                raise RecordError(msg)
            schema = file.schema_arrow
        except BROKEN as error:
            msg = f"{name} cannot be read: {first_line(error)}"
            raise RecordError(msg) from error
        known = _read_types(table)
        odd = self._needed(table) - set(schema.names)
        odd |= {f.name for f in schema if f.type not in known.get(f.name, PLAIN)}
        if odd or len(set(schema.names)) != len(schema.names):
            msg = f"{name} has other columns than the dictionary of this program"
            raise RecordError(msg)
        return file, held

    def batches(self, table: str, part: int = 1) -> Iterator[pa.Table]:
        """Give the rows of a part, or of a table without parts, some at a time.

        Raises
        ------
        RecordError
            If they cannot be read or hold a text that is too long.
        """
        file, held = self._opened(table, part)
        with file:
            try:
                yield from held_rows(file, held if table in RAW else [])
            except BROKEN as error:
                msg = f"{self.names(table)[part - 1]} cannot be read: {first_line(error)}"
                raise RecordError(msg) from error

    def rows(self, table: str, part: int = 1) -> Iterator[dict[str, Any]]:
        """Give the rows of a part, or of a table without parts, one by one."""
        for batch in self.batches(table, part):
            for start in range(0, batch.num_rows, ROWS_AS_DICTS):
                yield from dicts_of(batch.slice(start, ROWS_AS_DICTS))

    @property
    def settings(self) -> dict[str, dict[str, Any]]:
        """What the plan fixes of a block's settings, by identifier."""
        if self._settings is None:
            rows = [] if self.is_first_form else self.rows("settings")
            held: dict[str, dict[str, Any]] = {}
            left = MAX_VALUES
            try:
                for row in rows:
                    left -= n_values(row["content"])
                    if left < 0:
                        msg = f"settings hold more than {MAX_VALUES} values; not read"
                        raise RecordError(msg)
                    name = row["settings_id"]
                    held[name], self._texts[name] = parted_settings(row["content"])
                self._settings = held
            except (ValueError, TypeError, RecursionError) as error:
                msg = f"settings do not hold together: {first_line(error)}"
                raise RecordError(msg) from error
        return self._settings

    @property
    def screens(self) -> dict[str, Screen]:
        """The screen of each visit whose screen there can be."""
        if self._screens is None:
            self._screens = {}
            for row in self.rows("visits"):
                told = {name: row[name] for name in Screen.__slots__}
                try:
                    forms.hold(forms.ScreenForm, told)
                except ValueError as error:
                    self._bad_visits[row["visit_id"]] = str(error)
                else:
                    self._screens[row["visit_id"]] = Screen(**told)
        return self._screens

    def blocks(self, part: int | None = None, *, n_threads: int = 1) -> Iterator[ReadBlock]:
        """Read every block, one after another, or those of one part.

        One that cannot be read is left out, and named in `unreadable`.

        Parameters
        ----------
        part : int, optional
        n_threads : int
            That build blocks while rows are read; what is given does not depend on it.

        Raises
        ------
        RecordError
            If a table cannot be read or the rows do not fit together.
        """
        _ = self.screens, self.settings  # before threads ask for them
        for number in range(1, self.n_parts + 1) if part is None else (part,):
            some = _at_once(self._rows_of_blocks(number), ROWS_OF_SOME if n_threads > 1 else 0)
            with in_order(self._built_all, some, n_threads, to_give_is_work=True) as built:
                for block_id, read in chain.from_iterable(built):
                    if isinstance(read, ReadBlock):
                        yield read
                    else:
                        self.unreadable[block_id] = read

    def _rows_of_blocks(self, part: int) -> Iterator[_Told]:
        streams = {
            name: BlockRows(self, name, part) for name in ("samples", "events", "frames")
        }
        for row in self.rows("blocks", part):
            yield row, {name: stream.of(row["block_id"]) for name, stream in streams.items()}
        for name, stream in streams.items():
            if stream.left_over is not None:
                msg = f"{name} of block {stream.left_over!r} are out of place"
                raise RecordError(msg)

    def _built_all(self, told: Sequence[_Told]) -> list[tuple[str, ReadBlock | str]]:
        return [self._built(one) for one in told]

    def _built(self, told: _Told) -> tuple[str, ReadBlock | str]:
        """Build a block of its rows; say why if it cannot be."""
        row, rows = told
        try:
            return str(row["block_id"]), self._read(row, self.screens, rows)
        except RecordError as error:
            why = str(error).removeprefix(f"block {row['block_id']}").lstrip(":. ")
            return str(row["block_id"]), why

    def _read(self, row: dict[str, Any], screens: dict[str, Screen], rows: _Rows) -> ReadBlock:
        screen = screens.get(row["visit_id"])
        if screen is None:
            why = self._bad_visits.get(row["visit_id"], "it is not there")
            msg = f"block {row['block_id']} is of a visit that cannot be read: {why}"
            raise RecordError(msg)
        settings, text = self._settings_of(row)
        block = block_of(row, settings, rows)
        try:
            whole = text or canonical_json(settings)
            read = ReadBlock(block, screen, row, self._hash(row, block, whole, rows))
            if text and not read.holds:  # its numbers may be written in another way
                whole = canonical_json(settings)
                read = ReadBlock(block, screen, row, self._hash(row, block, whole, rows))
        except (ValueError, TypeError, RecursionError) as error:
            msg = f"block {row['block_id']} does not hold together: {first_line(error)}"
            raise RecordError(msg) from error
        if read.holds:
            try:
                if all(isinstance(held, np.ndarray) for held in rows.values()):
                    hold_settings(block.header, "it.header", text=whole)
                    hold_events(block, "it")
                else:
                    hold_block(block, "it", text=whole)
            except ValueError as error:
                raise RecordError(str(error).removeprefix("it.header.")) from error
        return read

    def _settings_of(self, row: dict[str, Any]) -> tuple[dict[str, Any], str]:
        """Return the settings of a block, and their text where it need not be written anew."""
        try:
            if self.is_first_form:
                return structure_of(row["settings"]), ""
            named = row["settings_id"]
            return whole_settings(self.settings[named], self._texts[named], row["layout"])
        except KeyError as error:
            msg = f"block {row['block_id']}: its settings are not there"
            raise RecordError(msg) from error
        except (ValueError, TypeError, RecursionError) as error:
            msg = f"block {row['block_id']} does not hold together: {first_line(error)}"
            raise RecordError(msg) from error

    def _hash(self, row: dict[str, Any], block: Block, text: str, rows: _Rows) -> str:
        if self.is_first_form:
            return ""
        return raw.block_sha256(
            row, block.header.settings, block, text=text,
            is_quiet=isinstance(rows["samples"], np.ndarray),
        )  # fmt: skip


def _at_once(told: Iterable[_Told], n_rows: int) -> Iterator[list[_Told]]:
    """Give blocks together until they have so many rows, so that a thread has enough to do."""
    some: list[_Told] = []
    left = n_rows
    try:
        for one in told:
            some.append(one)
            left -= sum(map(len, one[1].values()))
            if left <= 0:
                yield some
                some, left = [], n_rows
    except RecordError:
        yield some  # what came before it is given first
        raise
    if some:
        yield some


@cache
def _read_types(table: str) -> dict[str, tuple[pa.DataType]]:
    """Return the type that each column of a table must be read as."""
    kinds = {column.name: column.arrow_field.type for column in TABLES[table].columns}
    return {n: (WORDS if pa.types.is_string(kind) else kind,) for n, kind in kinds.items()}


@cache
def _texts_of(table: str) -> list[str]:
    """Name the columns of a table that hold texts."""
    schema = TABLES[table].arrow_schema
    return [field.name for field in schema if pa.types.is_string(field.type)]


def _with_texts_numbered(path: Path, usual: list[str]) -> pq.ParquetFile:
    """Open a file so that one long text in many rows is held once.

    Parameters
    ----------
    path : Path
    usual : list of str
        Columns that hold texts, as far as is known before it is opened.
    """
    try:
        file = pq.ParquetFile(path, pre_buffer=False, read_dictionary=usual or None)
    except KeyError:  # one of them is not there
        file = pq.ParquetFile(path, pre_buffer=False)
    schema = file.schema_arrow
    plain = [field.name for field in schema if pa.types.is_string(field.type)]
    if not plain:
        return file
    with file:
        texts = [field.name for field in schema if field.type in (WORDS, pa.string())]
        return pq.ParquetFile(
            path, pre_buffer=False, read_dictionary=texts, metadata=file.metadata
        )
