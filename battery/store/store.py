"""The store: everything that is kept, in a few parts that share one database."""

from __future__ import annotations

from pathlib import Path
from types import TracebackType
from typing import Self

from battery.errors import StoreError
from battery.store.annotations import Annotations
from battery.store.backup import copy_file
from battery.store.base import Connected
from battery.store.care import Care
from battery.store.erasing import Erasure
from battery.store.handing import Bundles
from battery.store.kept import Kept
from battery.store.merging import Transfer
from battery.store.opening import FILE_NAME, Opened, open_database
from battery.store.people import People
from battery.store.records import Records
from battery.store.scores import Scores
from battery.store.setup import Setup
from battery.store.visits import Visits


class Store(Connected):
    """All people, visits, blocks and scores of one place. Use it as a context.

    Opening for writing creates the store where there is none and migrates an older one.
    Several programs may read while one records.

    Attributes
    ----------
    folder : Path or None
        Where the file lies; None for a server.
    people : People
        Who there is, and consent.
    visits : Visits
        Visits and answers.
    records : Records
        Blocks as they were recorded, and the lock of whoever records.
    scores : Scores
    annotations : Annotations
        Amendments, events, alarms that were seen, new baselines, outside errors.
    care : Care
        Who is due, contraindications, home exercise, goals.
    setup : Setup
        Devices and their checks, plans, settings.
    bundles : Bundles
        What this store has made for a clinic.
    transfer : Transfer
        What arrives from tablets.
    kept : Kept
        What was read of people, so that it is not read again.
    erasure : Erasure
    """

    def __init__(self, opened: Opened) -> None:
        super().__init__(opened)
        self.people = People(opened)
        self.visits = Visits(opened)
        self.records = Records(opened)
        self.scores = Scores(opened)
        self.care = Care(opened)
        self.annotations = Annotations(opened, self.care)
        self.setup = Setup(opened)
        self.bundles = Bundles(opened, self.setup)
        self.transfer = Transfer(opened, self.setup, self.visits, self.records)
        self.kept = Kept(opened)
        self.erasure = Erasure(opened, self.annotations)

    @classmethod
    def open(cls, where: Path | str | None = None, *, write: bool = True) -> Self:
        """Open the store in a folder, or at a database address.

        Parameters
        ----------
        where : path, str or None
            A folder, or ``postgresql://...``. None is BATTERY_HOME, else the user's data
            folder.
        write : bool
            False only reads: it neither creates nor changes anything, and needs no right to.

        Raises
        ------
        StoreError
            One line: what is wrong with which file, and the way out.
        """
        return cls(open_database(where, write=write))

    @property
    def address(self) -> Path | str:
        """With which another process opens the same store, its password included."""
        if self.folder is not None:
            return self.folder
        return self._engine.url.render_as_string(hide_password=False)

    def back_up(self, target: Path) -> None:
        """Copy the whole store into one new file, while others may read and write.

        To restore it, put it into an empty folder as ``battery.sqlite``.

        Raises
        ------
        UsageError
            If the file is there.
        StoreError
            If it cannot be written, or the store is on a server, which has its own means.
        """
        if self.folder is None:
            msg = "the store is on a server; back it up with the server's own pg_dump"
            raise StoreError(msg)
        copy = self._opened.copy
        copied = None if copy is None else Path(copy.name) / FILE_NAME
        copy_file(self.folder / FILE_NAME, target, copied=copied)

    def problems(self) -> list[str]:
        """List what the database itself finds broken; empty when it finds nothing."""
        if self._engine.dialect.name != "sqlite":
            return []  # a server checks its references on every write and its pages itself
        with self._reading() as connection:
            pages = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
            orphans = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        found = [f"file: {page}" for page in pages if page != "ok"]
        return found + [
            f"table {table}, row {row}: refers to a row of {parent} that is not there"
            for table, row, parent, _ in orphans
        ]

    def close(self) -> None:
        """Let go of the lock and the file. A block that still runs stays open in the store."""
        self.records.stop()
        self._opened.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
