"""The store: everything that is kept, behind one small set of calls."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
from filelock import FileLock, Timeout
from sqlalchemy import Connection, Engine, delete, insert, select, update
from sqlalchemy.exc import SQLAlchemyError

from battery.errors import RecordError, StoreError, UsageError
from battery.recording import (
    EVENT_DTYPE,
    FRAME_DTYPE,
    RECORD_VERSION,
    SAMPLE_DTYPE,
    Block,
    BlockHeader,
    Device,
    Screen,
    TimingAudit,
    VisitHeader,
    events_to_array,
    header_to_dict,
)
from battery.scoring.score import Score
from battery.store import schema
from battery.store.codec import events_from_json, from_parquet
from battery.store.opening import describe, open_engine
from battery.store.rows import BlockRecord, Person, ScoreRow, VisitRecord
from battery.store.writer import BlockWriter, save_whole

LOCK_NAME = "recording.lock"
KILLED = "the program was ended while the block ran"


class Store:
    """All people, visits, blocks and scores of one place. Use it as a context.

    Opening for writing creates the store where there is none and migrates an older one.
    """

    def __init__(self, engine: Engine, folder: Path | None) -> None:
        self._engine = engine
        self.folder = folder

    @classmethod
    def open(cls, where: Path | str | None = None, *, write: bool = True) -> Self:
        """Open the store in a folder, or at a database address.

        Raises
        ------
        StoreError
            One line: what is wrong with which file, and the way out.
        """
        return cls(*open_engine(where, write=write))

    def close(self) -> None:
        """Let go of the file."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @contextmanager
    def lock_for_recording(self) -> Iterator[None]:
        """Make sure that this is the only program that records into this store.

        Raises
        ------
        StoreError
            If another program is recording.
        """
        if self.folder is None:
            yield
            return
        lock = FileLock(self.folder / LOCK_NAME)
        try:
            lock.acquire(timeout=0)
        except Timeout as error:
            msg = (
                f"another program is recording into '{self.folder}'; end that visit first. "
                "Nothing was changed."
            )
            raise StoreError(msg) from error
        try:
            yield
        finally:
            lock.release()

    @contextmanager
    def _begin(self) -> Iterator[Connection]:
        try:
            with self._engine.begin() as connection:
                yield connection
        except SQLAlchemyError as error:
            raise describe(error, f"'{self.folder}'" if self.folder else "the store") from error

    # People, devices, plans

    def add_person(self, person: Person) -> None:
        """Add somebody; the code must be new."""
        with self._begin() as connection:
            connection.execute(insert(schema.people).values(**asdict(person)))

    def person(self, code: str) -> Person:
        """Return the person with this code.

        Raises
        ------
        UsageError
            If nobody has it.
        """
        query = select(schema.people).where(schema.people.c.code == code)
        with self._begin() as connection:
            row = connection.execute(query).mappings().first()
        if row is None:
            codes = [p.code for p in self.list_people()]
            known = ", ".join(codes[:6]) + (" ..." if len(codes) > 6 else "")
            hint = (
                f"enrolled are {known}" if codes else "nobody is enrolled; run 'battery enrol'"
            )
            msg = f"no person {code!r} in this store; {hint}"
            raise UsageError(msg)
        return Person(**row)

    def list_people(self) -> list[Person]:
        """List everybody in order of enrolment."""
        query = select(schema.people).order_by(
            schema.people.c.enrolled_utc, schema.people.c.code
        )
        with self._begin() as connection:
            return [Person(**row) for row in connection.execute(query).mappings()]

    def put_device(self, device: Device) -> None:
        """Remember a device under its alias, in place of what was known of it."""
        self._put(schema.devices, "alias", device.alias, json.dumps(asdict(device)))

    def devices(self) -> list[Device]:
        """List the devices as last seen."""
        query = select(schema.devices.c.json).order_by(schema.devices.c.alias)
        with self._begin() as connection:
            return [_device(json.loads(text)) for text in connection.execute(query).scalars()]

    def put_plan(self, plan_hash: str, content: Mapping[str, Any]) -> None:
        """Remember a plan under its hash; one that is known stays as it is."""
        known = select(schema.plans.c.plan_hash).where(schema.plans.c.plan_hash == plan_hash)
        with self._begin() as connection:
            if connection.execute(known).first() is None:
                connection.execute(
                    insert(schema.plans).values(
                        plan_hash=plan_hash, json=json.dumps(content, sort_keys=True)
                    )
                )

    def plans(self) -> dict[str, dict[str, Any]]:
        """Return all plans by their hash."""
        with self._begin() as connection:
            rows = connection.execute(select(schema.plans)).all()
        return {row.plan_hash: json.loads(row.json) for row in rows}

    def _put(self, table: Any, key: str, value: str, text: str) -> None:
        with self._begin() as connection:
            changed = connection.execute(
                update(table).where(table.c[key] == value).values(json=text)
            )
            if changed.rowcount == 0:
                connection.execute(insert(table).values(**{key: value, "json": text}))

    # Visits and blocks

    def begin_visit(self, header: VisitHeader) -> None:
        """Store a new visit, open."""
        with self._begin() as connection:
            connection.execute(
                insert(schema.visits).values(
                    visit_id=header.visit_id,
                    person=header.person,
                    sequence=header.sequence,
                    plan_hash=header.plan_hash,
                    device=header.device.alias,
                    started_utc=header.started_utc,
                    json=json.dumps(asdict(header)),
                )
            )

    def end_visit(self, visit_id: str, ending: str) -> None:
        """Mark a visit as ended; it will not be gone on with."""
        with self._begin() as connection:
            connection.execute(
                update(schema.visits)
                .where(schema.visits.c.visit_id == visit_id)
                .values(ending=ending)
            )

    def visits(self, person: str | None = None) -> list[VisitRecord]:
        """List visits in order, of one person or of all."""
        query = select(schema.visits.c.json, schema.visits.c.ending).order_by(
            schema.visits.c.person, schema.visits.c.sequence
        )
        if person is not None:
            query = query.where(schema.visits.c.person == person)
        with self._begin() as connection:
            rows = connection.execute(query).all()
        return [VisitRecord(_visit_header(json.loads(r.json)), r.ending) for r in rows]

    def begin_block(self, header: BlockHeader) -> BlockWriter:
        """Store a new block, running, and return the sink for what it reads."""
        with self._begin() as connection:
            connection.execute(
                insert(schema.blocks).values(
                    block_id=header.block_id,
                    visit_id=header.visit_id,
                    number=header.index,
                    task=header.task,
                    hand=header.hand,
                    phase=header.phase,
                    layout_hash=header.layout_hash,
                    reason="",
                    header_json=json.dumps(header_to_dict(header)),
                )
            )
        return BlockWriter(self._engine, header.block_id)

    def blocks(self, visit_id: str) -> list[BlockRecord]:
        """List the blocks of a visit in order, without their samples."""
        query = (
            select(schema.blocks)
            .where(schema.blocks.c.visit_id == visit_id)
            .order_by(schema.blocks.c.number)
        )
        with self._begin() as connection:
            return [_block_record(row) for row in connection.execute(query).mappings()]

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
        with self._begin() as connection:
            row = connection.execute(query).mappings().first()
        if row is None:
            msg = f"no finished block {block_id!r} in this store"
            raise RecordError(msg)
        record = _block_record(row)
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
        with self._begin() as connection:
            return set(connection.execute(query).scalars())

    def recover(self) -> list[str]:
        """Close what a killed program left running; call it under the recording lock.

        Returns
        -------
        list of str
            The blocks that are now marked interrupted. Their samples are what was committed.
        """
        with self._begin() as connection:
            open_rows = connection.execute(
                select(schema.blocks.c.block_id, schema.blocks.c.header_json).where(
                    schema.blocks.c.ending.is_(None)
                )
            ).all()
        for row in open_rows:
            save_whole(self._engine, self._assemble(_block_header(json.loads(row.header_json))))
        return [row.block_id for row in open_rows]

    def _assemble(self, header: BlockHeader) -> Block:
        query = (
            select(schema.chunks)
            .where(schema.chunks.c.block_id == header.block_id)
            .order_by(schema.chunks.c.number)
        )
        with self._begin() as connection:
            rows = connection.execute(query).all()
        samples = np.frombuffer(b"".join(r.samples for r in rows), dtype=SAMPLE_DTYPE).copy()
        frames = np.frombuffer(b"".join(r.frames for r in rows), dtype=FRAME_DTYPE).copy()
        events = events_to_array([e for r in rows for e in events_from_json(r.events)])
        last_ns = [int(a[-1]) for a in (samples["t_ns"], events["t_ns"]) if len(a)]
        return Block(
            header,
            samples,
            frames,
            events,
            "interrupted",
            max(last_ns, default=0),
            reason=KILLED,
        )

    # Scores

    def put_scores(self, block_id: str, scores: Sequence[Score]) -> None:
        """Store a block's scores in place of those it had."""
        rows = [
            {
                "block_id": block_id,
                "measure": s.measure,
                "value": _null(s.value),
                "n": s.n,
                "low": _null(s.low),
                "high": _null(s.high),
                "reason": s.reason,
                "scoring_version": s.scoring_version,
            }
            for s in scores
        ]
        with self._begin() as connection:
            connection.execute(
                delete(schema.scores).where(schema.scores.c.block_id == block_id)
            )
            if rows:
                connection.execute(insert(schema.scores), rows)

    def scores(self, person: str | None = None) -> list[ScoreRow]:
        """List stored scores, of one person or of all, in order of visit, block and measure."""
        query = (
            select(schema.scores)
            .join(schema.blocks, schema.blocks.c.block_id == schema.scores.c.block_id)
            .join(schema.visits, schema.visits.c.visit_id == schema.blocks.c.visit_id)
            .order_by(
                schema.visits.c.person,
                schema.visits.c.sequence,
                schema.blocks.c.number,
                schema.scores.c.measure,
            )
        )
        if person is not None:
            query = query.where(schema.visits.c.person == person)
        with self._begin() as connection:
            rows = connection.execute(query).all()
        return [
            ScoreRow(
                r.block_id,
                r.measure,
                _nan(r.value),
                r.n,
                _nan(r.low),
                _nan(r.high),
                r.reason,
                r.scoring_version,
            )
            for r in rows
        ]


def iterate_blocks(store: Store, records: Iterable[BlockRecord]) -> Iterator[Block]:
    """Load blocks one after another, so that memory stays flat."""
    for record in records:
        if record.ending is not None:
            yield store.load_block(record.header.block_id)


def _null(value: float) -> float | None:
    return None if math.isnan(value) else value


def _nan(value: float | None) -> float:
    return math.nan if value is None else value


def _device(values: dict[str, Any]) -> Device:
    return Device(**{**values, "screen": Screen(**values["screen"])})


def _visit_header(values: dict[str, Any]) -> VisitHeader:
    header = VisitHeader(**{**values, "device": _device(values["device"])})
    if header.record_version > RECORD_VERSION:
        msg = (
            f"visit {header.visit_id} has record version {header.record_version}; this program "
            f"reads up to {RECORD_VERSION}. Update it; the store was not changed."
        )
        raise RecordError(msg)
    return header


def _block_header(values: dict[str, Any]) -> BlockHeader:
    return BlockHeader(**values)


def _block_record(row: Mapping[Any, Any]) -> BlockRecord:
    return BlockRecord(
        header=_block_header(json.loads(row["header_json"])),
        ending=row["ending"],
        reason=row["reason"],
        n_samples=row["n_samples"] or 0,
        input_type=row["input_type"] or "none",
        sha256=row["sha256"] or "",
        audit=TimingAudit(**json.loads(row["audit_json"] or "{}")),
    )
