"""What a program has read of people, kept so that the next start need not read it again.

It follows from the records and may be thrown away at any time. It is never handed over or
exported, and goes with the first person who is erased: a visit may have been somebody else's
when it was read.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from hashlib import sha256
from typing import Any, Literal, NamedTuple

from sqlalchemy import and_, delete, func, insert, or_, select

from battery.store import schema
from battery.store.base import Connected

Kind = Literal["records", "shares", "fits"]
AT_ONCE = 500  # people in one question


class KeptRow(NamedTuple):
    """What was read of a person.

    Parameters
    ----------
    sign : str
        Of everything it was read from, the program included.
    packed : bytes
    """

    person: str
    kind: Kind
    sign: str
    packed: bytes


class Kept(Connected):
    """What was read of people, by person and kind; the latest one of each."""

    def get(self, kind: Kind, signs: Mapping[str, str]) -> dict[str, bytes]:
        """Return what is kept of people under these very signs, whole and unaltered.

        Parameters
        ----------
        signs : mapping of code to str
        """
        table = schema.kept_readings
        query = select(table.c.person, table.c.sign, table.c.packed, table.c.sha256)
        codes = list(signs)
        found: dict[str, bytes] = {}
        with self._reading() as connection:
            for some in [codes[i : i + AT_ONCE] for i in range(0, len(codes), AT_ONCE)]:
                asked = query.where(table.c.kind == kind, table.c.person.in_(some))
                for person, sign, packed, told in connection.execute(asked):
                    whole = isinstance(packed, bytes) and sign == signs[person]
                    if whole and told == _hash(KeptRow(person, kind, sign, packed)):
                        found[person] = packed
        return found

    def put(self, rows: Sequence[KeptRow], *, n_erased: int) -> None:
        """Keep what was read of people, in place of what there is.

        Parameters
        ----------
        n_erased : int
            How many people were erased when it was read; nothing is kept if it is another
            number now, as it may hold something of them.
        """
        table = schema.kept_readings
        with self._writing() as connection:
            if _n_erased(connection) != n_erased:
                return
            there = set(connection.execute(select(schema.people.c.code)).scalars())
            kept = [row for row in rows if row.person in there]
            if not kept:
                return
            same = [and_(table.c.person == r.person, table.c.kind == r.kind) for r in kept]
            connection.execute(delete(table).where(or_(*same)))
            connection.execute(insert(table), list(_values(kept)))

    def n_erased(self) -> int:
        """Return how many people were erased."""
        with self._reading() as connection:
            return _n_erased(connection)


def _n_erased(connection: Any) -> int:
    query = select(func.count()).select_from(schema.tombstones)
    return int(connection.execute(query).scalar_one())


def _values(rows: Iterable[KeptRow]) -> Iterable[dict[str, Any]]:
    for row in rows:
        yield {**row._asdict(), "sha256": _hash(row)}


def _hash(row: KeptRow) -> str:
    """Return a hash that binds what is kept to its person, kind and sign."""
    told = ascii(f"{row.person} {row.kind} {row.sign}").encode()
    return sha256(told + b"\n" + row.packed).hexdigest()
