"""Taking a person out of the store for good. What stays is a tombstone: the code, and when."""

from __future__ import annotations

import json
import re
import sqlite3
from contextlib import closing
from dataclasses import dataclass

from sqlalchemy import Connection, delete, func, insert, or_, select, update
from sqlalchemy.exc import SQLAlchemyError

from battery.errors import StoreError, UsageError
from battery.store import schema
from battery.store.amended import Amended
from battery.store.annotations import Annotations
from battery.store.base import Connected
from battery.store.opening import FILE_NAME, Opened
from battery.store.reach import delete_reached
from battery.store.settings import WITHOUT_CONSENT, read_setting


@dataclass(frozen=True, slots=True)
class Tombstone:
    """Somebody who was erased. The code is never drawn again and nothing of it is received."""

    code: str
    author: str
    erased_utc: str


class Erasure(Connected):
    """Erasure, and the codes that were erased.

    Parameters
    ----------
    opened : Opened
    annotations : Annotations
        What says whose a visit is now.
    """

    def __init__(self, opened: Opened, annotations: Annotations) -> None:
        super().__init__(opened)
        self._annotations = annotations

    def erase(self, code: str, *, author: str, at_utc: str) -> int:
        """Take out a person with all visits that are theirs now, and all that hangs on them.

        A visit that was recorded under this code but belongs to somebody else by an amendment
        stays, under that other code. The database's own remains (free pages, the write-ahead
        log) are cleared too; copies made by `back_up` are not reached.

        Returns
        -------
        int
            Rows that were taken out.

        Raises
        ------
        UsageError
            If there is no such person, or the author is empty.
        StoreError
            If another program keeps the store busy. Whether the person is out is then said.
        """
        if not author.strip():
            msg = "an erasure needs an author; nothing was erased"
            raise UsageError(msg)
        amended = Amended(self._annotations.amendments())
        with self._writing() as connection:
            if connection.dialect.name == "sqlite":
                connection.exec_driver_sql("PRAGMA secure_delete=ON")
            erased = {row.code for row in connection.execute(select(schema.tombstones.c.code))}
            if self._unknown(connection, code) and code not in erased:
                msg = f"no person {code!r} in this store; nothing was erased"
                raise UsageError(msg)
            pairs = connection.execute(select(schema.visits.c.visit_id, schema.visits.c.person))
            recorded = {visit_id: person for visit_id, person in pairs}
            own = set()
            for visit_id, person in recorded.items():
                holder = amended.person(visit_id, person)
                if holder == code:
                    own.add(visit_id)
                elif person == code:
                    _move(connection, visit_id, holder)
            n_rows = self._forget(connection, code, own)
            if code not in erased:
                row = {"code": code, "author": author, "erased_utc": at_utc}
                connection.execute(insert(schema.tombstones).values(**row))
        self._clear_remains(code)
        return n_rows

    def tombstones(self) -> list[Tombstone]:
        """List who was erased, in order of time."""
        table = schema.tombstones
        query = select(table).order_by(table.c.erased_utc, table.c.code)
        with self._reading() as connection:
            return [Tombstone(**row) for row in connection.execute(query).mappings()]

    def _unknown(self, connection: Connection, code: str) -> bool:
        known = select(schema.people.c.code).where(schema.people.c.code == code)
        waiting = select(schema.quarantine.c.item_id).where(schema.quarantine.c.person == code)
        return not (connection.execute(known).first() or connection.execute(waiting).first())

    def _forget(self, connection: Connection, code: str, own: set[str]) -> int:
        said = schema.amendments
        names_them = (said.c.field == "person") & or_(said.c.old == code, said.c.new == code)
        n_rows = int(connection.execute(delete(said).where(names_them)).rowcount)
        # All of it: a visit may have been somebody else's when it was read.
        connection.execute(delete(schema.kept_readings))
        counts = delete_reached(
            connection, {schema.people.c.code: {code}, schema.visits.c.visit_id: own}
        )
        n_rows += sum(counts.values())
        waiting = schema.quarantine
        of_them = or_(waiting.c.person == code, waiting.c.visit_id.in_(sorted(own)))
        n_rows += int(connection.execute(delete(waiting).where(of_them)).rowcount)
        n_rows += _forget_settings(connection, code)
        for table in (schema.received, schema.bundles):
            nothing = {"person": None, "visit_id": None, "content_sha256": None}
            connection.execute(update(table).where(table.c.person == code).values(**nothing))
        return n_rows

    def _clear_remains(self, code: str) -> None:
        """Rewrite the database, so that no free page or log holds what was taken out."""
        try:
            if self.folder is None:
                outside = self._engine.execution_options(isolation_level="AUTOCOMMIT")
                with outside.connect() as connection:
                    connection.exec_driver_sql("VACUUM (FULL)")
                return
            checkpoint = "PRAGMA wal_checkpoint(TRUNCATE)"
            # A connection of its own, since the store's begin a transaction with every use.
            with closing(sqlite3.connect(self.folder / FILE_NAME, isolation_level=None)) as own:
                for step in (checkpoint, "VACUUM", checkpoint):
                    answer = own.execute(step).fetchone()
                    if answer and answer[0]:
                        raise _remains(code)
        except (SQLAlchemyError, sqlite3.Error) as error:
            raise _remains(code) from error


def _remains(code: str) -> StoreError:
    return StoreError(
        f"{code} is out of the store, but another program keeps its file busy, so parts may "
        f"still lie in free pages; end the other program, then run 'battery erase {code}' again"
    )


def _move(connection: Connection, visit_id: str, holder: str) -> None:
    """Write a visit under whom it belongs to, since its first code must not stay."""
    table = schema.visits
    held = connection.execute(
        select(table.c.header_json).where(table.c.visit_id == visit_id)
    ).scalar_one()
    last = connection.execute(
        select(func.max(table.c.sequence)).where(table.c.person == holder)
    ).scalar()
    header = {**json.loads(held), "person": holder}
    connection.execute(
        update(table)
        .where(table.c.visit_id == visit_id)
        .values(person=holder, sequence=(last or 0) + 1, header_json=json.dumps(header))
    )
    # It is no longer what was received, to the letter.
    connection.execute(
        update(schema.received)
        .where(schema.received.c.visit_id == visit_id)
        .values(content_sha256=None)
    )


def _forget_settings(connection: Connection, code: str) -> int:
    """Drop settings that are kept under the person's code."""
    table = schema.settings
    names = connection.execute(select(table.c.name)).scalars()
    theirs = [name for name in names if code in re.split(r"\W+", name)]
    _forget_reasons(connection, code)
    if not theirs:
        return 0
    return int(connection.execute(delete(table).where(table.c.name.in_(theirs))).rowcount)


def _forget_reasons(connection: Connection, code: str) -> None:
    """Take a person, and what was said of why, out of the list of exports without consent."""
    table = schema.settings
    same = table.c.name == WITHOUT_CONSENT
    text = connection.execute(select(table.c.json).where(same)).scalar()
    if text is None:
        return
    try:
        entries, _problems = read_setting(WITHOUT_CONSENT, text)
    except (ValueError, RecursionError):  # nothing of it can be told of anybody
        return
    kept = []
    for at_utc, author, why, codes in entries:
        others = [other for other in codes.split() if other != code]
        if len(others) == len(codes.split()):
            kept.append([at_utc, author, why, codes])
        elif others:
            kept.append([at_utc, author, "", " ".join(others)])
    if kept != entries:
        connection.execute(update(table).where(same).values(json=json.dumps(kept)))
