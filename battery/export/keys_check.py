"""Keys of an export that repeat and references that lead nowhere, across tables and parts."""

from __future__ import annotations

from typing import Any

from battery.errors import RecordError
from battery.export.allowed import breaches
from battery.export.dictionary import TABLES
from battery.export.reading import RAW, Export
from battery.export.rebuilding import values_of
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
        seen: set[Any] = set()
        firsts: set[Any] = set()
        n_rows = n_keys = 0
        is_known = self._export.has_this_dictionary(name)
        odd: dict[str, None] = {}
        lost: dict[str, list[Any]] = {}
        refers = [k for k in table.keys if k.table in self._known]
        for part in range(1, len(self._export.names(name)) + 1):
            if name != "blocks":
                n_keys += len(seen)
                seen = set()
            for batch in self._export.batches(name, part):
                if is_known:
                    odd |= dict.fromkeys(breaches(table, batch))
                columns = [values_of(batch.column(name)) for name in table.primary]
                n_rows += batch.num_rows
                seen.update(zip(*columns, strict=True))
                if is_referred:
                    firsts.update(batch.column(table.primary[0]).unique().to_pylist())
                for key in refers:
                    if key.column in batch.schema.names:
                        values = set(batch.column(key.column).unique().to_pylist()) - {None}
                        lost.setdefault(key.table, []).extend(values - self._known[key.table])
        n_keys += len(seen)
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


def _referred_first() -> list[str]:
    order: list[str] = []
    while len(order) < len(TABLES):
        for name, table in TABLES.items():
            if name not in order and all(k.table in order for k in table.keys):
                order.append(name)
    return order
