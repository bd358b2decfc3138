"""What a column and a table of the export are, and what is made from their definitions."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import pyarrow as pa

Kind = Literal["string", "integer", "number", "boolean", "object", "array"]

_ARROW: Mapping[Kind, pa.DataType] = {
    "string": pa.string(),
    "integer": pa.int64(),
    "number": pa.float64(),
    "boolean": pa.bool_(),
    "object": pa.string(),  # JSON text
    "array": pa.string(),  # JSON text
}
WORDS = pa.dictionary(pa.int32(), pa.string())  # few different texts in many rows


@dataclass(frozen=True, slots=True)
class Column:
    """One column, defined once; every header, schema and page of the dictionary is made of it.

    Parameters
    ----------
    name : str
        Carries the unit.
    kind : str
        Type of a value, by its Table Schema name.
    meaning : str
        What it says, one sentence.
    unit : str
        UCUM; empty where there is none, ``1`` for a ratio.
    missing : str
        When and why it is empty; an empty text means that it never is.
    words : collection of str
        All values it may have; empty where any may be.
    minimum, maximum : float, optional
        Bounds a value must keep, both included.
    pattern : str
        Regular expression that a text must match as a whole.
    arrow : str
        Type in Parquet where it differs from that of the kind; ``words`` numbers the texts.
    encoding : str
        How Parquet packs it; empty for a dictionary.
    """

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    missing: str = ""
    words: Collection[str] = ()
    minimum: float | None = None
    maximum: float | None = None
    pattern: str = ""
    arrow: str = ""
    encoding: str = ""

    @property
    def constraints(self) -> dict[str, Any]:
        """Constraints by their Table Schema names."""
        limits: dict[str, Any] = {} if self.missing else {"required": True}
        if self.words:
            limits["enum"] = list(self.words)
        if self.minimum is not None:
            limits["minimum"] = self.minimum
        if self.maximum is not None:
            limits["maximum"] = self.maximum
        if self.pattern:
            limits["pattern"] = self.pattern
        return limits

    @property
    def field(self) -> dict[str, Any]:
        """The field descriptor of a Table Schema."""
        missing = f" Empty: {self.missing}." if self.missing else ""
        described: dict[str, Any] = {
            "name": self.name,
            "type": self.kind,
            "description": self.meaning + missing,
        }
        if self.unit:
            described["unit"] = self.unit
        if self.constraints:
            described["constraints"] = self.constraints
        return described

    @property
    def arrow_field(self) -> pa.Field:
        """The column of a Parquet file, with its unit and meaning."""
        kind = _ARROW[self.kind]
        if self.arrow:
            kind = WORDS if self.arrow == "words" else pa.type_for_alias(self.arrow)
        notes = {"description": self.meaning} | ({"unit": self.unit} if self.unit else {})
        return pa.field(self.name, kind, nullable=bool(self.missing), metadata=notes)


@dataclass(frozen=True, slots=True)
class Key:
    """A column that refers to the first key column of another table."""

    column: str
    table: str
    target: str


@dataclass(frozen=True, slots=True)
class Table:
    """One table of the export.

    Parameters
    ----------
    name, title, meaning : str
    columns : tuple of Column
        In order.
    primary : tuple of str
        Columns that together are different in every row.
    keys : tuple of Key
        References to other tables.
    in_parts : bool
        Whether it is a folder of parts, each of about a thousand blocks, or one file.
    """

    name: str
    title: str
    meaning: str
    columns: tuple[Column, ...]
    primary: tuple[str, ...]
    keys: tuple[Key, ...] = ()
    in_parts: bool = False

    @property
    def encodings(self) -> dict[str, Any]:
        """How a Parquet writer packs the columns."""
        packed = {c.name: c.encoding for c in self.columns if c.encoding}
        rest = [c.name for c in self.columns if not c.encoding]
        return {"use_dictionary": rest, "column_encoding": packed} if packed else {}

    @property
    def arrow_schema(self) -> pa.Schema:
        """The schema of the Parquet file; nothing in it depends on the data or the machine."""
        return pa.schema(
            [column.arrow_field for column in self.columns],
            metadata={"title": self.title, "description": self.meaning},
        )

    @property
    def table_schema(self) -> dict[str, Any]:
        """The Table Schema of the rows."""
        schema: dict[str, Any] = {
            "$schema": "https://datapackage.org/profiles/2.0/tableschema.json",
            "fields": [column.field for column in self.columns],
            "missingValues": [""],
            "primaryKey": list(self.primary),
        }
        if self.keys:
            schema["foreignKeys"] = [
                {
                    "fields": [key.column],
                    "reference": {"resource": key.table, "fields": [key.target]},
                }
                for key in self.keys
            ]
        return schema

    def arrow_table(
        self, rows: list[dict[str, Any]], schema: pa.Schema | None = None
    ) -> pa.Table:
        """Pack rows; every column must be there by name, and no other.

        Parameters
        ----------
        rows : list of dict
        schema : pyarrow.Schema, optional
            `arrow_schema`, where it was made before.

        Raises
        ------
        ValueError
            If a row has a column that is not defined, or lacks one.
        """
        schema = schema or self.arrow_schema
        try:
            columns = [[row[name] for row in rows] for name in schema.names]
        except KeyError:
            columns = []
        if not columns or any(len(row) != len(columns) for row in rows):
            odd = sorted({name for row in rows for name in set(row) ^ set(schema.names)})
            msg = f"table {self.name}: columns {odd} are not in both row and dictionary"
            raise ValueError(msg)
        arrays = [pa.array(c, field.type) for c, field in zip(columns, schema, strict=True)]
        return pa.Table.from_arrays(arrays, schema=schema)


UUID = r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}"
BLOCK = Column("block_id", "string", "The block.", pattern=UUID)
BLOCK_OF_MANY = replace(BLOCK, arrow="words")  # of a table with many rows a block
DELTA = "DELTA_BINARY_PACKED"
OF_BLOCK = Key("block_id", "blocks", "block_id")
DAY = (
    "Days, in local dates, from the person's day 0: the first visit of the baseline, or the "
    "first visit while there is no baseline."
)


def time_ns(name: str, meaning: str) -> Column:
    """Make a column of a moment on the clock of the block."""
    return Column(name, "integer", meaning, "ns", minimum=0, encoding=DELTA)


def number(name: str, meaning: str, unit: str, missing: str = "", **limits: float) -> Column:
    """Make a column of a real number; `limits` are `minimum` and `maximum`."""
    return Column(name, "number", meaning, unit, missing, **limits)  # type: ignore[arg-type]
