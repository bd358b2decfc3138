"""What was recorded: blocks, running, whole or cut off."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import numpy as np
from sqlalchemy import func, insert, select

from battery.errors import BatteryError, RecordError, StoreError
from battery.recording import (
    FRAME_DTYPE,
    SAMPLE_DTYPE,
    Block,
    BlockHeader,
    Phase,
    events_to_array,
    header_to_dict,
)
from battery.store import rebuild, schema
from battery.store.base import Connected
from battery.store.codec import events_from_json
from battery.store.locking import RecordingLock
from battery.store.opening import Opened
from battery.store.packed import PackedBlock
from battery.store.rows.recorded import BlockBrief, BlockRecord
from battery.store.sealing import BLOBS
from battery.store.writer import BlockWriter, save_whole

_WITH_BLOBS = select(schema.blocks, *(schema.payloads.c[name] for name in (*BLOBS, "seal")))
_SAME = schema.payloads.c.block_id == schema.blocks.c.block_id
_WHOLE = _WITH_BLOBS.join(schema.payloads, _SAME)
_EVEN_EMPTY = _WITH_BLOBS.join(schema.payloads, _SAME, isouter=True)
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
        return self.of_visits([visit_id])[visit_id]

    def of_visits(self, visit_ids: Sequence[str]) -> dict[str, list[BlockRecord]]:
        """List the blocks of visits, each in order, without their samples, in one reading."""
        blocks = schema.blocks
        query = select(blocks).order_by(blocks.c.visit_id, blocks.c.number)
        rows = self._rows(query, blocks.c.visit_id, visit_ids)
        found: dict[str, list[BlockRecord]] = {visit_id: [] for visit_id in visit_ids}
        for record in self._built(rows, rebuild.block_record, "block", "block_id"):
            found[record.header.visit_id].append(record)
        return found

    def n_finished(self) -> int:
        """Count the blocks that are not running, those that cannot be read included."""
        query = select(func.count()).where(schema.blocks.c.ending.is_not(None))
        with self._reading() as connection:
            return int(connection.execute(query).scalar_one())

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
        return self.packed_one(block_id).unpacked(checked=checked)

    def packed(self, block_ids: Sequence[str]) -> dict[str, PackedBlock]:
        """Return finished blocks as they lie in the store, in one reading; some may lack.

        Raises
        ------
        StoreError
            If one of them cannot be read at all; the others can, without it.
        """
        rows = self._rows(_WHOLE, schema.blocks.c.block_id, block_ids)
        packed = (PackedBlock(str(row["block_id"]), row) for row in rows)
        return {block.block_id: block for block in packed}

    def packed_one(self, block_id: str) -> PackedBlock:
        """Return a finished block as it lies in the store.

        Raises
        ------
        RecordError
            If it is not there, or still running.
        """
        rows = self._rows(_WHOLE, schema.blocks.c.block_id, [block_id])
        if not rows:
            msg = f"no finished block {block_id!r} in this store"
            raise RecordError(msg)
        return PackedBlock(block_id, rows[0])

    def seals(self, block_ids: Sequence[str]) -> dict[str, str | None]:
        """Return the seals of finished blocks, as they lie in the store; None without one."""
        columns = select(schema.payloads.c.block_id, schema.payloads.c.seal)
        rows = self._tuples(columns, schema.payloads.c.block_id, block_ids)
        return {block_id: seal for block_id, seal in rows}

    def damage(self, block_id: str) -> str:
        """Say why a finished block is not what was stored; empty if it is.

        Where the block has a seal, nothing of it is decoded.
        """
        try:
            return self.packed_one(block_id).damage
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
        blocks = schema.blocks
        query = _EVEN_EMPTY.where(
            blocks.c.visit_id.in_(visit_ids),
            blocks.c.phase == "test",
            blocks.c.ending.is_not(None),
        )
        with self._reading() as connection:
            rows = connection.execution_options(yield_per=16).execute(query).mappings()
            packed = (PackedBlock(str(row["block_id"]), row) for row in rows)
            told = {block.block_id: block.damage for block in packed}
        return {block_id: why for block_id, why in told.items() if why}

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
