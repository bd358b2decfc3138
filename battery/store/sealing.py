"""A seal over a stored block: one hash of its row and its blobs as they lie in the store.

The hash of the record says what was recorded, whatever it is packed in. The seal says that not
one stored bit has changed, before anything of it is decoded. A block that was stored by a
program without seals has none; its record's hash still holds it.
"""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256
from typing import Any

from sqlalchemy import Connection, select

from battery.store import schema

SEALED_COLUMNS = (
    "block_id", "visit_id", "number", "task", "hand", "phase", "layout_hash", "header_json",
    "ending", "reason", "ended_ns", "n_samples", "input_type", "audit_json", "sha256",
)  # fmt: skip
BLOBS = ("samples", "frames", "events")


def seal_of(row: Mapping[Any, Any]) -> str:
    """Return the seal of a block's row with its blobs, as hex digits.

    Parameters
    ----------
    row : mapping
        Of `SEALED_COLUMNS` and `BLOBS`.
    """
    told = [
        (name, repr(row[name]).encode("ascii", "backslashreplace")) for name in SEALED_COLUMNS
    ]
    digest = sha256(b"".join(_named(name, data) + data for name, data in told))
    for name in BLOBS:
        data = bytes(row[name])
        digest.update(_named(name, data))
        digest.update(data)
    return digest.hexdigest()


def _named(name: str, data: bytes) -> bytes:
    return f"{name} {len(data)}\n".encode()


def seal(connection: Connection, block_id: str, blobs: Mapping[str, bytes]) -> str:
    """Return the seal of a block whose row is written and whose blobs are about to be."""
    columns = [schema.blocks.c[name] for name in SEALED_COLUMNS]
    query = select(*columns).where(schema.blocks.c.block_id == block_id)
    return seal_of({**connection.execute(query).mappings().one(), **blobs})
