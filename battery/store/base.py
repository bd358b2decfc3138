"""The connection that all parts of the store share."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

from sqlalchemy import Connection, Select
from sqlalchemy.exc import SQLAlchemyError

from battery.store.opening import Opened, describe

T = TypeVar("T")
AT_ONCE = 10_000  # identifiers in one question
# What a row that was damaged, or let in by another program, can make of our own reading.
UNREADABLE = (
    ValueError, TypeError, LookupError, ArithmeticError, AttributeError, RecursionError,
)  # fmt: skip


class Connected:
    """Short transactions on one database; a database error becomes one line.

    Parameters
    ----------
    opened : Opened
        The database.
    """

    def __init__(self, opened: Opened) -> None:
        self._opened = opened
        options: dict[str, Any] = {"reading": True}
        if opened.engine.dialect.name == "postgresql":
            options |= {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}
        self._reader = opened.engine.execution_options(**options)
        self._engine = opened.engine if opened.write else self._reader
        self.folder = opened.folder
        self.name = opened.name

    @contextmanager
    def at_one_moment(self) -> Iterator[None]:
        """Read everything inside as it was at the start, whatever others write meanwhile."""
        with self._reading() as connection:
            # A transaction sees the moment of its first question.
            connection.exec_driver_sql("SELECT count(*) FROM migrations")
            self._opened.moments.append(connection)
            try:
                yield
            finally:
                self._opened.moments.pop()

    @contextmanager
    def tried(self) -> Iterator[None]:
        """Let what is written inside be read inside, and be gone afterwards.

        Nobody else sees any of it; others who write wait as long as this takes.
        """
        with self._in_one(keep=False):
            yield

    @contextmanager
    def together(self) -> Iterator[None]:
        """Keep all that is written inside, or nothing of it if anything fails.

        Inside another one it is part of that: kept with it, or not at all.

        Raises
        ------
        StoreError
            If it cannot be kept; nothing of it was.
        """
        if self._opened.trials:
            yield
            return
        with self._in_one(keep=True):
            yield

    @contextmanager
    def _in_one(self, *, keep: bool) -> Iterator[None]:
        """Make one transaction of what is read and written inside."""
        try:
            with self._engine.connect() as connection, connection.begin() as transaction:
                self._opened.moments.append(connection)
                self._opened.trials.append(connection)
                try:
                    yield
                finally:
                    self._opened.trials.pop()
                    self._opened.moments.pop()
                if not keep:
                    transaction.rollback()
        except SQLAlchemyError as error:
            raise describe(error, self.name) from error

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        try:
            if self._opened.moments:
                yield self._opened.moments[-1]
                return
            with self._reader.connect() as connection:
                yield connection
        except SQLAlchemyError as error:
            raise describe(error, self.name) from error

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        try:
            if self._opened.trials:
                yield self._opened.trials[-1]
                return
            with self._engine.begin() as connection:
                yield connection
        except SQLAlchemyError as error:
            raise describe(error, self.name) from error

    def _rows(
        self, query: Select[Any], column: Any = None, among: Sequence[str] | None = None
    ) -> list[dict[str, Any]]:
        """Read the rows of a question as plain mappings; there may be very many.

        Parameters
        ----------
        column : Column, optional
            That must be `among` these, however many; None asks for all.
        """
        with self._reading() as connection:
            return [
                dict(zip(names, row, strict=True))
                for names, rows in _parts(connection, query, column, among)
                for row in rows
            ]

    def _tuples(
        self, query: Select[Any], column: Any = None, among: Sequence[str] | None = None
    ) -> list[Sequence[Any]]:
        """Read the rows of a question, as `_rows`, each as its values alone."""
        with self._reading() as connection:
            parts = _parts(connection, query, column, among)
            return [row for _, rows in parts for row in rows]

    @property
    def counts_changes(self) -> bool:
        """Whether the store itself is read; changes of a copy of it have no number."""
        return self._opened.copy is None

    def unreadable(self) -> list[str]:
        """Say of each row that was met and could not be read what it is and why, one a line.

        Lists go on without such a row, so whoever shows one asks here and says so.
        """
        return [f"{where}: {why}" for where, why in self._opened.unread.items()]

    def left_out(self, where: str, why: str) -> None:
        """Note that something was left out because it could not be read."""
        self._opened.unread.setdefault(where, " ".join(ascii_only(why).split())[:300])

    @contextmanager
    def noting(self) -> Iterator[dict[str, str]]:
        """Give what is noted inside, filled at the end; it stays noted."""
        before = dict(self._opened.unread)
        self._opened.unread.clear()
        inside: dict[str, str] = {}
        try:
            yield inside
        finally:
            inside |= self._opened.unread
            self._opened.unread.clear()
            self._opened.unread.update(inside | before)

    def _built(
        self,
        rows: Iterable[Any],
        build: Callable[[Any], T],
        what: str,
        key: str | int,
    ) -> list[T]:
        """Build a record of each row; one that cannot be built is noted and left out."""
        built = []
        for row in rows:
            try:
                built.append(build(row))
            except UNREADABLE as error:
                name = ascii_only(str(row[key]))[:60]
                why = (str(error).splitlines() or [type(error).__name__])[0]
                self.left_out(f"{what} {name}", f"it cannot be read, and was left out: {why}")
        return built


def _parts(
    connection: Connection, query: Select[Any], column: Any, among: Sequence[str] | None
) -> Iterator[tuple[tuple[str, ...], Sequence[Sequence[Any]]]]:
    """Give names and rows of a question, in parts where it names very many identifiers."""
    parts = (
        [query]
        if among is None
        else [
            query.where(column.in_(among[start : start + AT_ONCE]))
            for start in range(0, len(among), AT_ONCE)
        ]
    )
    for part in parts:
        result = connection.execute(part)
        yield tuple(result.keys()), result.all()


def ascii_only(text: str) -> str:
    """Return a text that any terminal can show, whatever was stored."""
    return text.encode("ascii", "backslashreplace").decode()
