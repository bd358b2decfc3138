"""Writes a running block from a thread of its own, so that the input loop never waits.

What is put is committed within a second. When the block ends, its chunks become one payload
in a single transaction: the block is either still running in the store or whole.
"""

from __future__ import annotations

import json
import queue
import threading
from collections.abc import Sequence
from dataclasses import asdict

from sqlalchemy import Engine, delete, insert, update
from sqlalchemy.exc import SQLAlchemyError

from battery.errors import StoreError
from battery.recording import EVENT_DTYPE, Block, FrameArray, SampleArray
from battery.store import schema
from battery.store.codec import events_to_json, to_parquet
from tasks.contract import Event

_Chunk = tuple[SampleArray, FrameArray, Sequence[Event]]


class BlockWriter:
    """The sink of one running block.

    Errors of the thread (a full disk) come up at the next `put` or at `close`, as one line that
    says what is safe.
    """

    def __init__(self, engine: Engine, block_id: str) -> None:
        self._engine = engine
        self._block_id = block_id
        self._chunks: queue.SimpleQueue[_Chunk | None] = queue.SimpleQueue()
        self._failure: Exception | None = None
        self._thread = threading.Thread(
            target=self._work, name=f"writer {block_id[:8]}", daemon=True
        )
        self._thread.start()

    def put(self, samples: SampleArray, frames: FrameArray, events: Sequence[Event]) -> None:
        """Take what is new and return at once."""
        self._raise_failure()
        self._chunks.put((samples, frames, events))

    def close(self, block: Block) -> None:
        """Store the whole block in place of its chunks and return when it is safe."""
        self._chunks.put(None)
        self._thread.join()
        try:
            save_whole(self._engine, block)
        except SQLAlchemyError as error:
            raise lost_block(error) from error

    def _work(self) -> None:
        number = 0
        while (chunk := self._chunks.get()) is not None:
            if self._failure is not None:
                continue
            samples, frames, events = chunk
            try:
                with self._engine.begin() as connection:
                    connection.execute(
                        insert(schema.chunks).values(
                            block_id=self._block_id,
                            number=number,
                            samples=samples.tobytes(),
                            frames=frames.tobytes(),
                            events=events_to_json(events),
                        )
                    )
            except SQLAlchemyError as error:
                self._failure = error
            number += 1

    def _raise_failure(self) -> None:
        if self._failure is not None:
            raise lost_block(self._failure) from self._failure


def save_whole(engine: Engine, block: Block) -> None:
    """Write a block's payload, its ending and its hash, and drop its chunks, all or nothing."""
    block_id = block.header.block_id
    with engine.begin() as connection:
        connection.execute(
            insert(schema.payloads).values(
                block_id=block_id,
                samples=to_parquet(block.samples),
                frames=to_parquet(block.frames),
                events=to_parquet(block.events.astype(EVENT_DTYPE)),
            )
        )
        connection.execute(
            update(schema.blocks)
            .where(schema.blocks.c.block_id == block_id)
            .values(
                ending=block.ending,
                reason=block.reason,
                ended_ns=block.ended_ns,
                n_samples=len(block.samples),
                input_type=block.input_type,
                sha256=block.sha256,
                audit_json=json.dumps(asdict(block.audit)),
            )
        )
        connection.execute(delete(schema.chunks).where(schema.chunks.c.block_id == block_id))


def lost_block(error: Exception) -> StoreError:
    """Say in one line why a block could not be written and what is safe."""
    cause = str(getattr(error, "orig", None) or error).splitlines()[0]
    if "full" in cause:
        cause = "the disk is full; free some space and do this block again"
    return StoreError(
        f"this block could not be stored whole: {cause}. Earlier blocks are safe."
    )
