"""A finished block as it lies in the store: many are read at once, and unpacked anywhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from battery.errors import RecordError
from battery.recording import EVENT_DTYPE, FRAME_DTYPE, SAMPLE_DTYPE, Block
from battery.store import rebuild
from battery.store.base import UNREADABLE
from battery.store.codec import from_parquet
from battery.store.rows.recorded import BlockRecord
from battery.store.sealing import seal_of


@dataclass(frozen=True, slots=True)
class PackedBlock:
    """The row of a block with its blobs; to unpack it no database is asked.

    Parameters
    ----------
    block_id : str
    row : mapping
        Of `blocks`, with samples, frames, events and seal.
    """

    block_id: str
    row: Mapping[Any, Any]

    def unpacked(self, *, checked: bool = True, known: BlockRecord | None = None) -> Block:
        """Return the block.

        Parameters
        ----------
        checked : bool
            False gives also a block that is not what was stored, for whoever looks for what is
            wrong with it; nothing may be computed of that.
        known : BlockRecord, optional
            What was read of it before, so that a header whose seal holds is not read twice.

        Raises
        ------
        RecordError
            If it cannot be read, or is not what was stored.
        """
        row = self.row
        if checked and (why := self.broken_seal):
            raise RecordError(_damaged(self.block_id, why))
        is_sealed = checked and row["seal"] is not None
        try:
            same = is_sealed and known is not None and known.sha256 == row["sha256"]
            block = block_of(row, known if same else None, is_sealed=is_sealed)
        except RecordError:
            raise
        except UNREADABLE as error:
            msg = (
                f"block {self.block_id} cannot be read: {error}; other blocks are not affected"
            )
            raise RecordError(msg) from error
        # A seal that holds covers the hash too; only what has none is hashed again.
        if checked and not is_sealed and block.sha256 != row["sha256"]:
            raise RecordError(
                _damaged(self.block_id, "its record does not have the hash it had")
            )
        return block

    @property
    def broken_seal(self) -> str:
        """Why it is not what was sealed; empty if it is, or has no seal."""
        if self.row["seal"] is None:
            return ""
        try:
            holds = seal_of(self.row) == self.row["seal"]
        except UNREADABLE:
            holds = False
        return "" if holds else "what is stored of it is not what was sealed"

    @property
    def damage(self) -> str:
        """Why it is not what was stored; empty if it is.

        Where the block has a seal, nothing of it is decoded.
        """
        row = self.row
        if row["samples"] is None:
            return "nothing is stored of its samples"
        if row["seal"] is not None:
            return self.broken_seal
        try:
            holds = block_of(row).sha256 == row["sha256"]
        except UNREADABLE as error:
            return str(error)
        return "" if holds else "its record does not have the hash it had"


def block_of(
    row: Mapping[Any, Any], known: BlockRecord | None = None, *, is_sealed: bool = False
) -> Block:
    """Unpack a row with its blobs, unchecked; `is_sealed` says that its seal holds."""
    record = known or rebuild.block_record(row)
    return Block(
        header=record.header,
        samples=from_parquet(row["samples"], SAMPLE_DTYPE, is_sealed=is_sealed),
        frames=from_parquet(row["frames"], FRAME_DTYPE, is_sealed=is_sealed),
        events=from_parquet(row["events"], EVENT_DTYPE, is_sealed=is_sealed),
        ending=record.ending or "interrupted",
        ended_ns=int(row["ended_ns"]),
        audit=record.audit,
        reason=record.reason,
    )


def _damaged(block_id: str, why: str) -> str:
    return (
        f"block {block_id} is damaged: {why}. It is left out, other blocks are not affected; "
        "'battery verify' looks through all, a backup may hold it whole"
    )
