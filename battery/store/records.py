"""What was recorded: visits and their blocks, running, whole or cut off."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
from sqlalchemy import Connection, func, insert, select, update

from battery.errors import RecordError
from battery.recording import (
    EVENT_DTYPE,
    FRAME_DTYPE,
    SAMPLE_DTYPE,
    Block,
    BlockHeader,
    VisitHeader,
    events_to_array,
    header_to_dict,
    visit_header_to_dict,
)
from battery.store import rebuild, schema
from battery.store.base import Connected
from battery.store.codec import events_from_json, from_parquet
from battery.store.locking import RecordingLock
from battery.store.opening import Opened
from battery.store.rows import BlockBrief, BlockRecord, VisitRecord
from battery.store.writer import BlockWriter, save_whole

KILLED = "the program was ended while the block ran"


class Records(Connected):
    """Visits and blocks. Whoever records holds the lock; whoever reads needs none."""

    def __init__(self, opened: Opened) -> None:
        super().__init__(opened)
        self._lock = RecordingLock(opened)
        self._writers: list[BlockWriter] = []

    @contextmanager
    def lock_for_recording(self) -> Iterator[None]:
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

    def _stop_recording(self) -> None:
        for writer in self._writers:
            writer.stop()
        self._writers.clear()
        self._lock.release_all()

    def begin_visit(self, header: VisitHeader) -> None:
        """Store a new visit, open."""
        with self._writing() as connection:
            place = _place(connection, header)
            connection.execute(
                insert(schema.visits).values(
                    visit_id=header.visit_id,
                    person=header.person,
                    sequence=place,
                    plan_hash=header.plan_hash,
                    device=header.device.alias,
                    started_utc=header.started_utc,
                    header_json=json.dumps(visit_header_to_dict(header)),
                )
            )

    def end_visit(self, visit_id: str, ending: str | None) -> None:
        """Mark a visit as ended, or with None as open again."""
        with self._writing() as connection:
            connection.execute(
                update(schema.visits)
                .where(schema.visits.c.visit_id == visit_id)
                .values(ending=ending)
            )

    def visits(self, person: str | None = None) -> list[VisitRecord]:
        """List visits in order, of one person or of all."""
        query = select(schema.visits.c.header_json, schema.visits.c.ending).order_by(
            schema.visits.c.person, schema.visits.c.sequence
        )
        if person is not None:
            query = query.where(schema.visits.c.person == person)
        with self._reading() as connection:
            rows = connection.execute(query).all()
        return [VisitRecord(rebuild.visit_header(r.header_json), r.ending) for r in rows]

    def visit(self, visit_id: str) -> VisitRecord:
        """Return one visit.

        Raises
        ------
        RecordError
            If it is not there.
        """
        query = select(schema.visits.c.header_json, schema.visits.c.ending).where(
            schema.visits.c.visit_id == visit_id
        )
        with self._reading() as connection:
            row = connection.execute(query).first()
        if row is None:
            msg = f"no visit {visit_id!r} in this store"
            raise RecordError(msg)
        return VisitRecord(rebuild.visit_header(row.header_json), row.ending)

    def begin_block(self, header: BlockHeader) -> BlockWriter:
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

    def blocks(self, visit_id: str) -> list[BlockRecord]:
        """List the blocks of a visit in order, without their samples."""
        query = (
            select(schema.blocks)
            .where(schema.blocks.c.visit_id == visit_id)
            .order_by(schema.blocks.c.number)
        )
        with self._reading() as connection:
            return [rebuild.block_record(r) for r in connection.execute(query).mappings()]

    def blocks_in_brief(self, person: str | None = None) -> list[BlockBrief]:
        """List the blocks of one person or of all, in order of visit, in one reading."""
        columns = [c for c in schema.blocks.c if c.name not in ("header_json", "sha256")]
        query = (
            select(*columns)
            .join(schema.visits, schema.visits.c.visit_id == schema.blocks.c.visit_id)
            .order_by(schema.visits.c.person, schema.visits.c.sequence, schema.blocks.c.number)
        )
        if person is not None:
            query = query.where(schema.visits.c.person == person)
        with self._reading() as connection:
            return [rebuild.block_brief(r) for r in connection.execute(query).mappings()]

    def load_block(self, block_id: str) -> Block:
        """Return a whole block with its samples.

        Raises
        ------
        RecordError
            If it is not there, is still running, or cannot be read.
        """
        query = (
            select(schema.blocks, schema.payloads)
            .join(schema.payloads, schema.payloads.c.block_id == schema.blocks.c.block_id)
            .where(schema.blocks.c.block_id == block_id)
        )
        with self._reading() as connection:
            row = connection.execute(query).mappings().first()
        if row is None:
            msg = f"no finished block {block_id!r} in this store"
            raise RecordError(msg)
        record = rebuild.block_record(row)
        return Block(
            header=record.header,
            samples=from_parquet(row["samples"], SAMPLE_DTYPE),
            frames=from_parquet(row["frames"], FRAME_DTYPE),
            events=from_parquet(row["events"], EVENT_DTYPE),
            ending=record.ending or "interrupted",
            ended_ns=row["ended_ns"],
            audit=record.audit,
            reason=record.reason,
        )

    def used_layouts(self, person: str) -> set[str]:
        """Return the hashes of all layouts this person has met."""
        query = (
            select(schema.blocks.c.layout_hash)
            .join(schema.visits, schema.visits.c.visit_id == schema.blocks.c.visit_id)
            .where(schema.visits.c.person == person)
        )
        with self._reading() as connection:
            return set(connection.execute(query).scalars())

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
        with self.lock_for_recording():
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


def _place(connection: Connection, header: VisitHeader) -> int:
    """Return a visit's place among the person's; its own number unless a merge gave it away.

    A number that was recorded twice is refused by the database.
    """
    table = schema.visits
    taken = connection.execute(
        select(table.c.header_json).where(
            table.c.person == header.person, table.c.sequence == header.sequence
        )
    ).scalar()
    if taken is None or json.loads(taken)["sequence"] == header.sequence:
        return header.sequence
    last = select(func.max(table.c.sequence)).where(table.c.person == header.person)
    return int(connection.execute(last).scalar_one()) + 1
