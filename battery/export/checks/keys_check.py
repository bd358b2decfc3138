"""Keys of an export that repeat and references that lead nowhere, across tables and parts."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa

from battery.errors import RecordError
from battery.export.checks.allowed import breaches
from battery.export.dictionary.all_tables import TABLES
from battery.export.reading.reader import RAW, Export
from battery.export.rows.rebuilding import numbers_of
from battery.verify import Finding

MAX_ODD = 20  # findings told of the values of one table


class Keys:
    """Primary keys that repeat, and references that lead nowhere, across all parts."""

    def __init__(self, export: Export, bad: set[str]) -> None:
        self._export = export
        self._bad = set(bad)
        self._known: dict[str, set[Any]] = {}  # first key column of tables that are referred to
        self.n_visits = 0

    def findings(self) -> list[Finding]:
        """Look at every table that is there, those that are referred to first."""
        found = []
        for name in _referred_first():
            if name in RAW or name in self._bad or name not in self._export.tables:
                continue
            try:
                found += self._of(name)
            except RecordError as error:
                found.append(Finding(name, str(error)))
                self._bad.add(name)
                self._known.pop(name, None)
        return found

    def _of(self, name: str) -> list[Finding]:
        table = TABLES[name]
        is_referred = any(k.table == name for t in TABLES.values() for k in t.keys)
        # Rows of a table in parts repeat no key of another part, since their blocks do not.
        held: list[pa.Table] = []
        firsts: set[Any] = set()
        n_rows = n_keys = 0
        is_known = self._export.has_this_dictionary(name)
        odd: dict[str, None] = {}
        lost: dict[str, list[Any]] = {}
        refers = [k for k in table.keys if k.table in self._known]
        for part in range(1, len(self._export.names(name)) + 1):
            if name != "blocks":
                n_keys += _n_distinct(held)
                held = []
            for batch in self._export.batches(name, part):
                if is_known:
                    odd |= dict.fromkeys(breaches(table, batch))
                n_rows += batch.num_rows
                held.append(batch.select(table.primary))
                if is_referred:
                    firsts.update(batch.column(table.primary[0]).unique().to_pylist())
                for key in refers:
                    if key.column in batch.schema.names:
                        values = set(batch.column(key.column).unique().to_pylist()) - {None}
                        lost.setdefault(key.table, []).extend(values - self._known[key.table])
        n_keys += _n_distinct(held)
        if is_referred:
            self._known[name] = firsts
        if name == "visits":
            self.n_visits = n_rows
        found = [Finding(name, what) for what in list(odd)[:MAX_ODD]]
        if n_keys != n_rows:
            found.append(Finding(name, f"{n_rows - n_keys} keys are there more than once"))
        for other, absent in lost.items():
            if absent:
                gone = sorted(set(map(str, absent)))
                found.append(
                    Finding(
                        name,
                        f"rows refer to {len(gone)} {other} that are not there, such as "
                        f"{gone[0][:40]!r}",
                    )
                )
        return found


def _n_distinct(tables: list[pa.Table]) -> int:
    """Return how many rows of tables with the same columns differ from each other."""
    n_rows = sum(table.num_rows for table in tables)
    if not n_rows:
        return 0
    whole = pa.concat_tables(tables)
    numbered = [_numbered(column) for column in whole.columns]
    order = np.lexsort(numbered)
    differs = np.zeros(n_rows - 1, dtype=bool)
    for numbers in numbered:
        sorted_ = numbers[order]
        differs |= sorted_[1:] != sorted_[:-1]
    return 1 + int(np.count_nonzero(differs))


def _numbered(column: pa.ChunkedArray) -> np.ndarray[Any, Any]:
    """Return a number for each value of a column, the same for the same and for no other."""
    if pa.types.is_dictionary(column.type):
        # Who writes a file may number the same text twice.
        column = column.cast(pa.string())
    elif not column.null_count and pa.types.is_integer(column.type):
        return numbers_of(column)
    numbers = column.combine_chunks().dictionary_encode("encode").indices
    return np.from_dlpack(numbers)


def _referred_first() -> list[str]:
    order: list[str] = []
    while len(order) < len(TABLES):
        for name, table in TABLES.items():
            if name not in order and all(k.table in order for k in table.keys):
                order.append(name)
    return order
