"""One block from its first signal to its record: source → task → recording → store.

A source feeds a `Run`. There are three kinds (a live window, a simulated person, a replayed
record) and nothing behind the run can tell them apart.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Protocol

import numpy as np

from battery.errors import RecordError
from battery.recording import (
    FRAME_DTYPE,
    KIND_CODES,
    SAMPLE_DTYPE,
    Block,
    BlockHeader,
    Ending,
    FrameArray,
    SampleArray,
    TimingAudit,
    contacts,
    events_to_array,
)
from tasks.contract import AnyTask, Contact, ContactKind, Event, Mark, Tick, settings_from_dict
from tasks.registry import TASKS, task_of

HAND_OVER_NS = 500_000_000  # samples reach the store at least this often, while they come
SLOW_FRAME_NS = 34_000_000
FIRST_ROWS = 65_536


class BlockSink(Protocol):
    """Where a block goes while it runs; the store gives one for every block."""

    def put(self, samples: SampleArray, frames: FrameArray, events: Sequence[Event]) -> None:
        """Take what is new. Must return at once; the arrays are the sink's to keep."""

    def close(self, block: Block) -> None:
        """Take the finished block; return when it is safe."""


class _Rows:
    """A structured array that grows by doubling and is written one tuple a row."""

    def __init__(self, dtype: np.dtype[np.void]) -> None:
        self._array = np.zeros(FIRST_ROWS, dtype=dtype)
        self.used = 0
        self.sent = 0

    def add(self, row: tuple[Any, ...]) -> None:
        if self.used == len(self._array):
            self._array = np.concatenate([self._array, np.zeros_like(self._array)])
        self._array[self.used] = row
        self.used += 1

    def fresh(self) -> Any:
        part = self._array[self.sent : self.used].copy()
        self.sent = self.used
        return part

    def whole(self) -> Any:
        return self._array[: self.used].copy()


class Run:
    """A block in progress.

    Parameters
    ----------
    header : BlockHeader
        Names the task and holds its settings.
    sink : BlockSink, optional
        Receives what was read about twice a second while the block runs.
    task : AnyTask, optional
        Plays by these rules instead of those of the header's task and version.

    Raises
    ------
    RecordError
        If this program has no rules of the header's version.

    Attributes
    ----------
    finished : bool
        Whether the task has reached its end; signals after it change nothing.
    ended_ns : int
        The last moment the task was told about.
    """

    def __init__(
        self,
        header: BlockHeader,
        sink: BlockSink | None = None,
        *,
        task: AnyTask | None = None,
    ) -> None:
        self.header = header
        self.task = task or _rules_of(header)
        self.settings = settings_from_dict(self.task.settings_type, header.settings)
        self.ended_ns = 0
        self.finished = False
        self._state = self.task.start(self.settings)
        self._samples = _Rows(SAMPLE_DTYPE)
        self._frames = _Rows(FRAME_DTYPE)
        self._events: list[Event] = []
        self._events_sent = 0
        self._sink = sink
        self._next_hand_over_ns = HAND_OVER_NS
        self._last_ns = 0

    def contact(
        self,
        t_ns: int,
        kind: ContactKind,
        x_mm: float,
        y_mm: float,
        pointer: int = 0,
        pressure: float = math.nan,
        stamp_gap_ns: int = 0,
    ) -> tuple[Event, ...]:
        """Record one pointer report and tell the task; return what the task decided."""
        self._not_backwards(t_ns)
        self._samples.add((t_ns, KIND_CODES[kind], pointer, x_mm, y_mm, pressure, stamp_gap_ns))
        return self._advance(Contact(t_ns, kind, x_mm, y_mm, pointer))

    def tick(self, t_ns: int) -> tuple[Event, ...]:
        """Tell the task that time has passed; return what fell due."""
        self._not_backwards(t_ns)
        return self._advance(Tick(t_ns))

    def marks(self, t_ns: int) -> tuple[Mark, ...]:
        """List what is to be seen at `t_ns`."""
        return self.task.view(self.settings, self._state, t_ns)

    def frame(self, drawn_ns: int, flip_ns: int) -> None:
        """Record that the picture of `drawn_ns` was on the screen at `flip_ns`."""
        self._frames.add((drawn_ns, flip_ns))

    def block(self, ending: Ending, reason: str, audit: TimingAudit | None = None) -> Block:
        """Return the record as it stands."""
        samples, frames = self._samples.whole(), self._frames.whole()
        return Block(
            header=self.header,
            samples=samples,
            frames=frames,
            events=events_to_array(self._events),
            ending=ending,
            ended_ns=self.ended_ns,
            audit=audit_of(samples, frames, audit or TimingAudit()),
            reason=reason,
        )

    def _not_backwards(self, t_ns: int) -> None:
        if t_ns < self._last_ns:
            msg = f"a signal at {t_ns} ns came after one at {self._last_ns} ns"
            raise RecordError(msg)
        self._last_ns = t_ns

    def _advance(self, signal: Contact | Tick) -> tuple[Event, ...]:
        if self.finished:
            return ()
        self.ended_ns = signal.t_ns
        self._state, events = self.task.advance(self.settings, self._state, signal)
        if events:
            self._events.extend(events)
            self.finished = self.task.finished(self._state)
        if signal.t_ns >= self._next_hand_over_ns:
            self._hand_over(signal.t_ns)
        return events

    def _hand_over(self, t_ns: int) -> None:
        self._next_hand_over_ns = t_ns + HAND_OVER_NS
        if self._sink is not None:
            events = self._events[self._events_sent :]
            self._events_sent = len(self._events)
            self._sink.put(self._samples.fresh(), self._frames.fresh(), events)


class Source(Protocol):
    """What feeds a run: a live window, a simulated person, a record."""

    def play(self, run: Run) -> tuple[Ending, str]:
        """Feed the run until it is finished or broken off; say how it ended and why."""


class ReplaySource:
    """Feeds a run with the contacts of a record.

    One tick at the end stands for all the ticks there were: outcomes follow from stamps.
    """

    def __init__(self, block: Block) -> None:
        self._block = block

    def play(self, run: Run) -> tuple[Ending, str]:
        """Feed the recorded contacts, then the record's last moment."""
        gaps_ns = self._block.samples["stamp_gap_ns"].tolist()
        for c, gap_ns in zip(contacts(self._block.samples), gaps_ns, strict=True):
            run.contact(c.t_ns, c.kind, c.x_mm, c.y_mm, c.pointer, stamp_gap_ns=gap_ns)
        # At 0 a block without contacts may have been told nothing, or may have begun.
        begun = len(self._block.events) > 0 and len(self._block.samples) == 0
        if self._block.ended_ns > run.ended_ns or begun:
            run.tick(self._block.ended_ns)
        return self._block.ending, self._block.reason


def run_block(
    header: BlockHeader,
    source: Source,
    sink: BlockSink | None = None,
    audit: TimingAudit | None = None,
) -> Block:
    """Play one block from `source` and keep it in `sink`.

    The block is handed to the sink on every way out, so that nothing read is lost when the
    source fails; the failure then goes on to the caller.
    """
    run = Run(header, sink)
    try:
        ending, reason = source.play(run)
    except BaseException as failure:
        if sink is not None:
            sink.close(
                run.block("interrupted", f"program error: {type(failure).__name__}", audit)
            )
        raise
    block = run.block(ending, reason, audit)
    if sink is not None:
        sink.close(block)
    return block


def _rules_of(header: BlockHeader) -> AnyTask:
    task = task_of(header.task, header.task_version)
    if task is None:
        now = TASKS.get(header.task)
        has = f"it has version {now.version}" if now else "it does not have this task"
        msg = (
            f"a block of {header.task} {header.task_version} has rules that this program does "
            f"not have; {has}. The record is kept as it is"
        )
        raise RecordError(msg)
    return task


def replay(block: Block, task: AnyTask | None = None) -> list[Event]:
    """Play a record through its task again and return what the task decides.

    For an unaltered record this equals the recorded events, byte for byte, by the rules of the
    version that it was recorded by; `task` plays it by others.

    Raises
    ------
    RecordError
        If this program has no rules of that version.
    """
    run = Run(block.header, task=task)
    ReplaySource(block).play(run)
    return list(run._events)


def audit_of(samples: SampleArray, frames: FrameArray, start: TimingAudit) -> TimingAudit:
    """Complete the timing audit with what the block itself shows.

    `report_rate_hz` is the inverse of the median interval between reports of motion that
    follow one another within 50 ms; None where there are fewer than 20 such intervals.
    """
    motion = samples[samples["kind"] != KIND_CODES["up"]]
    steps_ns = np.diff(motion["t_ns"]) if len(motion) else np.array([], dtype=np.int64)
    steps_ns = steps_ns[(steps_ns > 0) & (steps_ns < 50_000_000)]
    periods_ns = np.diff(frames["flip_ns"])
    span_ns = int(periods_ns.sum())
    gaps_ns = samples["stamp_gap_ns"]
    return TimingAudit(
        flip_p99_ms=start.flip_p99_ms,
        stamp_gap_p99_ms=float(np.percentile(gaps_ns, 99) / 1e6) if len(gaps_ns) else None,
        report_rate_hz=float(1e9 / np.median(steps_ns)) if len(steps_ns) >= 20 else None,
        frame_rate_hz=len(periods_ns) * 1e9 / span_ns if span_ns else None,
        slow_frames=int((periods_ns > SLOW_FRAME_NS).sum()) if len(frames) else None,
    )
