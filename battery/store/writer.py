"""Writes a running block from a thread of its own, so that the input loop never waits.

What is put is committed at once, or with what else came while the disk was busy. When the
block ends, its chunks become one payload in a single transaction: the block is either still
running in the store or whole.
"""

from __future__ import annotations

import json
import queue
import threading
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from sqlalchemy import Connection, Engine, delete, insert, update
from sqlalchemy.exc import SQLAlchemyError

from battery.errors import StoreError
from battery.recording import Block, FrameArray, SampleArray, audit_to_dict
from battery.store import schema
from battery.store.codec import events_to_json, to_parquet
from battery.store.opening import cause_of, is_full
from battery.store.sealing import seal
from tasks.contract import NS_PER_S, Event


class _Chunk(NamedTuple):
    samples: SampleArray
    frames: FrameArray
    events: Sequence[Event]


class BlockWriter:
    """The sink of one running block.

    Errors of the thread (a full disk) come up at the next `put`, `flush` or `close`, as one
    line that says what is safe.

    Parameters
    ----------
    engine : Engine
    block_id : str
        A block that `Records.begin` has entered.
    """

    def __init__(self, engine: Engine, block_id: str) -> None:
        self._engine = engine
        self._block_id = block_id
        self._queue: queue.SimpleQueue[_Chunk | threading.Event | None] = queue.SimpleQueue()
        self._failure: Exception | None = None
        self._whole_follows = False
        self._safe_ns = 0
        self._thread = threading.Thread(
            target=self._work, name=f"writer of {block_id}", daemon=True
        )
        self._thread.start()

    def put(self, samples: SampleArray, frames: FrameArray, events: Sequence[Event]) -> None:
        """Take what is new and return at once; the arrays are the writer's from then on.

        Raises
        ------
        StoreError
            If something put earlier could not be written.
        """
        if not self.running:
            msg = f"block {self._block_id} has ended"
            raise ValueError(msg)
        self._raise_failure()
        self._queue.put(_Chunk(samples, frames, events))

    def flush(self) -> None:
        """Return when everything that was put is safe on disk."""
        if self.running:
            reached = threading.Event()
            self._queue.put(reached)
            reached.wait()
        self._raise_failure()

    def close(self, block: Block) -> None:
        """Store the whole block in place of its chunks and return when it is safe.

        A chunk that could not be written is no matter if the whole can be.

        Raises
        ------
        StoreError
            If the whole cannot be written. What was committed of it stays, and
            `Records.recover` makes an interrupted block of it.
        """
        self._whole_follows = True
        self.stop()
        try:
            with self._engine.begin() as connection:
                save_whole(connection, block)
        except SQLAlchemyError as error:
            raise self._lost(error) from error

    @property
    def running(self) -> bool:
        """Whether the block has neither been closed nor stopped."""
        return self._thread.is_alive()

    def stop(self) -> None:
        """End the thread; until it is closed the block stays in the store as running."""
        self._queue.put(None)
        self._thread.join()

    def _work(self) -> None:
        number = 0
        waiting: list[_Chunk] = []
        ended = False
        while not ended:
            marks, ended = self._take(waiting)
            if waiting and not self._whole_follows:
                try:
                    with self._engine.begin() as connection:
                        _insert_chunk(connection, self._block_id, number, waiting)
                except Exception as error:  # noqa: BLE001  # handed over at the next put
                    self._failure = error  # what waits is tried again with the next
                else:
                    self._failure = None
                    self._safe_ns = max(self._safe_ns, _last_ns(waiting))
                    waiting.clear()
                    number += 1
            for mark in marks:
                mark.set()

    def _take(self, waiting: list[_Chunk]) -> tuple[list[threading.Event], bool]:
        """Wait for something, then take all there is.

        Returns
        -------
        marks : list of Event
            To be set when what waits is safe.
        ended : bool
            Whether nothing more will come.
        """
        marks: list[threading.Event] = []
        item = self._queue.get()
        while True:
            if item is None:
                return marks, True
            if isinstance(item, _Chunk):
                waiting.append(item)
            else:
                marks.append(item)
            try:
                item = self._queue.get_nowait()
            except queue.Empty:
                return marks, False

    def _raise_failure(self) -> None:
        if (failure := self._failure) is not None:
            raise self._lost(failure) from failure

    def _lost(self, error: Exception) -> StoreError:
        kept = f"{self._safe_ns / NS_PER_S:.1f} s" if self._safe_ns else "Nothing"
        way_out = "Look for free space, then" if is_full(error) else "Look into this, then"
        return StoreError(
            f"this block cannot be stored whole: {cause_of(error)}. {kept} of it and all "
            f"earlier blocks are safe. {way_out} do this block again"
        )


def _insert_chunk(
    connection: Connection, block_id: str, number: int, parts: Sequence[_Chunk]
) -> None:
    connection.execute(
        insert(schema.chunks).values(
            block_id=block_id,
            number=number,
            samples=b"".join(part.samples.tobytes() for part in parts),
            frames=b"".join(part.frames.tobytes() for part in parts),
            events=events_to_json([event for part in parts for event in part.events]),
        )
    )


def _last_ns(parts: Sequence[_Chunk]) -> int:
    times = [part.samples["t_ns"] for part in parts]
    times += [part.frames["drawn_ns"] for part in parts]
    return max((int(np.max(t)) for t in times if len(t)), default=0)


def save_whole(connection: Connection, block: Block) -> None:
    """Write a block's payload, its ending, its hash and its seal, and drop its chunks.

    For one transaction, so that it is all or nothing. A block that is already whole is not
    written again: the database refuses the second payload.
    """
    block_id = block.header.block_id
    blobs = {
        "samples": to_parquet(block.samples),
        "frames": to_parquet(block.frames),
        "events": to_parquet(block.events),
    }
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
            audit_json=json.dumps(audit_to_dict(block.audit)),
        )
    )
    connection.execute(
        insert(schema.payloads).values(
            block_id=block_id, seal=seal(connection, block_id, blobs), **blobs
        )
    )
    connection.execute(delete(schema.chunks).where(schema.chunks.c.block_id == block_id))
