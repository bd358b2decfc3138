"""What was recorded: blocks, running, whole or cut off."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, cast

import numpy as np
from sqlalchemy import insert, select

from battery.errors import BatteryError, RecordError, StoreError
from battery.recording import (
    EVENT_DTYPE,
    FRAME_DTYPE,
    SAMPLE_DTYPE,
    Block,
    BlockHeader,
    Phase,
    events_to_array,
    header_to_dict,
)
from battery.store import rebuild, schema
from battery.store.base import UNREADABLE, Connected
from battery.store.codec import events_from_json, from_parquet
from battery.store.locking import RecordingLock
from battery.store.opening import Opened
from battery.store.rows.recorded import BlockBrief, BlockRecord
from battery.store.sealing import BLOBS, seal_of
from battery.store.writer import BlockWriter, save_whole

_PAYLOAD = [schema.payloads.c[name] for name in (*BLOBS, "seal")]
AT_ONCE = 100  # visits in one question
KILLED = "the program was ended while the block ran"


class Records(Connected):
    """Blocks. Whoever records holds the lock; whoever reads needs none."""

    def __init__(self, opened: Opened) -> None:
        super().__init__(opened)
        self._lock = RecordingLock(opened)
        self._writers: list[BlockWriter] = []

    @contextmanager
    def lock(self) -> Iterator[None]:
        """Make sure that this is the only program that records into this store.

        Raises
        ------
        StoreError
            If another program is recording.
        """
        self._lock.take()
        try:
            yield
        finally:
            self._lock.release()

    def stop(self) -> None:
        """Stop what still writes and let go of the lock."""
        for writer in self._writers:
            writer.stop()
        self._writers.clear()
        self._lock.release_all()

    def begin(self, header: BlockHeader) -> BlockWriter:
        """Store a new block, running, and return the sink for what it reads.

        Takes the recording lock, until the store is closed, if this program does not hold it.

        Raises
        ------
        StoreError
            If another program is recording, or the block cannot be entered.
        """
        if not self._lock.held:
            self._lock.take()
        with self._writing() as connection:
            connection.execute(
                insert(schema.blocks).values(
                    block_id=header.block_id,
                    visit_id=header.visit_id,
                    number=header.index,
                    task=header.task,
                    hand=header.hand,
                    phase=header.phase,
                    layout_hash=header.layout_hash,
                    header_json=json.dumps(header_to_dict(header)),
                )
            )
        writer = BlockWriter(self._engine, header.block_id)
        self._writers = [w for w in self._writers if w.running] + [writer]
        return writer

    def of_visit(self, visit_id: str) -> list[BlockRecord]:
        """List the blocks of a visit in order, without their samples."""
        query = (
            select(schema.blocks)
            .where(schema.blocks.c.visit_id == visit_id)
            .order_by(schema.blocks.c.number)
        )
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, rebuild.block_record, "block", "block_id")

    def in_brief(
        self,
        person: str | None = None,
        *,
        visit_ids: Sequence[str] | None = None,
        phase: Phase | None = None,
    ) -> list[BlockBrief]:
        """List the blocks of one person or of all, in order of visit, in one reading.

        Parameters
        ----------
        person : str, optional
            Only what was recorded under this code.
        visit_ids : sequence of str, optional
            Only of these visits, each in order of its blocks; no person is named then.
        phase : {"practice", "test"}, optional
            Only of this one.
        """
        columns = [schema.blocks.c[name] for name in rebuild.BRIEF_COLUMNS]
        blocks, visits = schema.blocks, schema.visits
        query = select(*columns)
        if visit_ids is None:
            query = query.join(visits, visits.c.visit_id == blocks.c.visit_id)
            query = query.order_by(visits.c.person, visits.c.sequence, blocks.c.number)
        else:  # as the index has them, so that nothing is sorted
            query = query.order_by(blocks.c.visit_id, blocks.c.number)
        if person is not None:
            query = query.where(schema.visits.c.person == person)
        if phase is not None:
            query = query.where(schema.blocks.c.phase == phase)
        rows = self._tuples(query, blocks.c.visit_id, visit_ids)
        return self._built(rows, rebuild.block_brief, "block", 0)

    def places(self, block_ids: Sequence[str]) -> dict[str, tuple[str, str]]:
        """Return visit and task of some blocks."""
        blocks = schema.blocks
        query = select(blocks.c.block_id, blocks.c.visit_id, blocks.c.task)
        rows = self._tuples(query, blocks.c.block_id, block_ids)
        return {block_id: (visit_id, task) for block_id, visit_id, task in rows}

    def load(self, block_id: str, *, checked: bool = True) -> Block:
        """Return a whole block with its samples.

        Parameters
        ----------
        checked : bool
            False gives also a block that is not what was stored, for whoever looks for what is
            wrong with it; nothing may be computed of that.

        Raises
        ------
        RecordError
            If it is not there, is still running, cannot be read, or is not what was stored.
        """
        row = self._whole_row(block_id)
        if checked and (why := _broken_seal(row)):
            raise RecordError(_damaged(block_id, why))
        try:
            block = self._block(row)
        except RecordError:
            raise
        except UNREADABLE as error:
            msg = f"block {block_id} cannot be read: {error}; other blocks are not affected"
            raise RecordError(msg) from error
        # A seal that holds covers the hash too; only what has none is hashed again.
        if checked and row["seal"] is None and block.sha256 != row["sha256"]:
            raise RecordError(_damaged(block_id, "its record does not have the hash it had"))
        return block

    def damage(self, block_id: str) -> str:
        """Say why a finished block is not what was stored; empty if it is.

        Where the block has a seal, nothing of it is decoded.
        """
        try:
            return self._why_damaged(self._whole_row(block_id))
        except BatteryError as error:
            return str(error)

    def damages(self, visit_ids: Sequence[str]) -> dict[str, str]:
        """Say of each finished test block of visits that is not what was stored why.

        The whole is asked at once, so that a page of a year costs little more than one block.
        """
        found: dict[str, str] = {}
        for start in range(0, len(visit_ids), AT_ONCE):
            part = visit_ids[start : start + AT_ONCE]
            try:
                found |= self._damages(part)
            except StoreError:  # a page of the file is gone: block by block, then
                for visit_id in part:
                    for record in self.of_visit(visit_id):
                        block_id = record.header.block_id
                        if record.ending is not None and (why := self.damage(block_id)):
                            found[block_id] = why
        return found

    def _damages(self, visit_ids: Sequence[str]) -> dict[str, str]:
        blocks, payloads = schema.blocks, schema.payloads
        query = (
            select(blocks, *_PAYLOAD)
            .join(payloads, payloads.c.block_id == blocks.c.block_id, isouter=True)
            .where(
                blocks.c.visit_id.in_(visit_ids),
                blocks.c.phase == "test",
                blocks.c.ending.is_not(None),
            )
        )
        with self._reading() as connection:
            rows = connection.execution_options(yield_per=16).execute(query).mappings()
            told = {str(row["block_id"]): self._why_damaged(row) for row in rows}
        return {block_id: why for block_id, why in told.items() if why}

    def _why_damaged(self, row: Mapping[Any, Any]) -> str:
        if row["samples"] is None:
            return "nothing is stored of its samples"
        if row["seal"] is not None:
            return _broken_seal(row)
        try:
            holds = self._block(row).sha256 == row["sha256"]
        except UNREADABLE as error:
            return str(error)
        return "" if holds else "its record does not have the hash it had"

    def _whole_row(self, block_id: str) -> Mapping[str, Any]:
        query = (
            select(schema.blocks, *_PAYLOAD)
            .join(schema.payloads, schema.payloads.c.block_id == schema.blocks.c.block_id)
            .where(schema.blocks.c.block_id == block_id)
        )
        with self._reading() as connection:
            row = connection.execute(query).mappings().first()
        if row is None:
            msg = f"no finished block {block_id!r} in this store"
            raise RecordError(msg)
        return cast("Mapping[str, Any]", row)

    def _block(self, row: Mapping[Any, Any]) -> Block:
        record = rebuild.block_record(row)
        return Block(
            header=record.header,
            samples=from_parquet(row["samples"], SAMPLE_DTYPE),
            frames=from_parquet(row["frames"], FRAME_DTYPE),
            events=from_parquet(row["events"], EVENT_DTYPE),
            ending=record.ending or "interrupted",
            ended_ns=int(row["ended_ns"]),
            audit=record.audit,
            reason=record.reason,
        )

    def recover(self) -> list[str]:
        """Close what a killed program left running.

        Only the holder of the recording lock may do so, since another program's block may be
        running; without it the lock is taken for as long as this takes.

        Returns
        -------
        list of str
            The blocks that are now marked interrupted. Their samples are what was committed.

        Raises
        ------
        StoreError
            If another program is recording.
        """
        query = select(schema.blocks.c.block_id, schema.blocks.c.header_json).where(
            schema.blocks.c.ending.is_(None)
        )
        with self.lock():
            with self._reading() as connection:
                rows = connection.execute(query).all()
            for row in rows:
                block = self._assemble(rebuild.block_header(row.header_json))
                with self._writing() as connection:
                    save_whole(connection, block)
        return [row.block_id for row in rows]

    def _assemble(self, header: BlockHeader) -> Block:
        query = (
            select(schema.chunks)
            .where(schema.chunks.c.block_id == header.block_id)
            .order_by(schema.chunks.c.number)
        )
        with self._reading() as connection:
            rows = connection.execute(query).all()
        samples = np.frombuffer(b"".join(r.samples for r in rows), dtype=SAMPLE_DTYPE).copy()
        frames = np.frombuffer(b"".join(r.frames for r in rows), dtype=FRAME_DTYPE).copy()
        events = events_to_array([e for r in rows for e in events_from_json(r.events)])
        # A frame shows the task as it was when it had been told about that moment.
        known_ns = (samples["t_ns"], events["t_ns"], frames["drawn_ns"])
        last_ns = [int(t_ns[-1]) for t_ns in known_ns if len(t_ns)]
        return Block(
            header=header,
            samples=samples,
            frames=frames,
            events=events,
            ending="interrupted",
            ended_ns=max(last_ns, default=0),
            reason=KILLED,
        )


def _broken_seal(row: Mapping[Any, Any]) -> str:
    if row["seal"] is None:
        return ""
    try:
        holds = seal_of(row) == row["seal"]
    except UNREADABLE:
        holds = False
    return "" if holds else "what is stored of it is not what was sealed"


def _damaged(block_id: str, why: str) -> str:
    return (
        f"block {block_id} is damaged: {why}. It is left out, other blocks are not affected; "
        "'battery verify' looks through all, a backup may hold it whole"
    )
