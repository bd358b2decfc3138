"""The connection that all parts of the store share."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection
from sqlalchemy.exc import SQLAlchemyError

from battery.store.opening import Opened, describe


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
        self._moment: Connection | None = None
        self.folder = opened.folder
        self.name = opened.name

    @contextmanager
    def at_one_moment(self) -> Iterator[None]:
        """Read everything inside as it was at the start, whatever others write meanwhile."""
        with self._reading() as connection:
            # A transaction sees the moment of its first question.
            connection.exec_driver_sql("SELECT count(*) FROM migrations")
            self._moment = connection
            try:
                yield
            finally:
                self._moment = None

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        if self._moment is not None:
            yield self._moment
            return
        try:
            with self._reader.connect() as connection:
                yield connection
        except SQLAlchemyError as error:
            raise describe(error, self.name) from error

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        try:
            with self._engine.begin() as connection:
                yield connection
        except SQLAlchemyError as error:
            raise describe(error, self.name) from error
