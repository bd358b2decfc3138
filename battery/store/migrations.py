"""Steps that bring a store to the present form, each named and never edited again.

A step and its line in the table of migrations share one transaction, so a store is always in
the form that its table says.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from sqlalchemy import Connection, Engine, inspect, select

from battery.errors import StoreError
from battery.store import schema


def first_tables(connection: Connection) -> None:
    """Create every table of the first form."""
    schema.metadata.create_all(connection)


STEPS: tuple[Callable[[Connection], None], ...] = (first_tables,)


def version_of(connection: Connection) -> int:
    """Return the number of the last step a store has seen; 0 for an empty one."""
    if not inspect(connection).has_table("migrations"):
        return 0
    numbers = connection.execute(select(schema.migrations.c.number)).scalars()
    return max(numbers, default=0)


def check_not_newer(connection: Connection, name: str) -> int:
    """Return the store's version; refuse one that a later program wrote.

    Raises
    ------
    StoreError
        If the store is newer than this program.
    """
    version = version_of(connection)
    if version > len(STEPS):
        msg = (
            f"{name} has store version {version}; this program reads up to {len(STEPS)}. "
            "Update the program; the store was not changed."
        )
        raise StoreError(msg)
    return version


def migrate(engine: Engine, name: str) -> None:
    """Apply the steps that are missing, one transaction each."""
    with engine.connect() as connection:
        version = check_not_newer(connection, name)
    for number, step in enumerate(STEPS[version:], start=version + 1):
        with engine.begin() as connection:
            if version_of(connection) >= number:  # another program was quicker
                continue
            step(connection)
            connection.execute(
                schema.migrations.insert().values(
                    number=number,
                    name=step.__name__,
                    applied_utc=datetime.now(UTC).isoformat(timespec="seconds"),
                )
            )
