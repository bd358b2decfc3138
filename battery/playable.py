"""Whether a block from elsewhere can have been played: its settings, stamps, places and events.

The same holds for one that came in a bundle and for one that is read out of an export, before
anything is computed of it.
"""

from __future__ import annotations

from functools import cache
from typing import Any, cast

import numpy as np
from pydantic import TypeAdapter

from battery import forms
from battery.recording import (
    KIND_CODES,
    MAX_BLOCK_NS,
    MAX_PLACE_MM,
    Block,
    BlockHeader,
    canonical_json,
    short_hash_of,
)
from tasks.contract import settings_from_dict, unknown_settings
from tasks.registry import TASKS, extent_mm, task_of

MAX_TRIALS = 100_000
MAX_SAMPLES = 5_000_000


def hold_settings(header: BlockHeader, where: str, *, text: str | None = None) -> None:
    """Hold a block's settings to what its task takes, and to their hash.

    Parameters
    ----------
    header : BlockHeader
    where : str
        What a refusal names first.
    text : str, optional
        Its settings as they are spelt where they were stored; by default canonical JSON.

    Raises
    ------
    ValueError
        If the task could not have been played with them.
    """
    task = task_of(header.task, header.task_version) or TASKS[header.task]
    text = canonical_json(header.settings) if text is None else text
    if short_hash_of(text) != header.layout_hash:
        msg = f"{where}.layout_hash is {header.layout_hash!r}: its settings have another"
        raise ValueError(msg)
    later = unknown_settings(task, header.settings)
    known = header.settings
    if later:
        known = {name: value for name, value in known.items() if name not in later}
    try:
        settings = settings_from_dict(task.settings_type, known)
        _adapter(cast("Any", task.settings_type)).validate_python(known)
        task.view(settings, task.start(settings), 0)
        sides_mm = extent_mm(settings)
    except (TypeError, ValueError, LookupError, ArithmeticError, AttributeError) as error:
        why = (str(error).splitlines() or [""])[0]
        msg = f"{where}.settings do not fit the task {header.task!r}: {why}"
        raise ValueError(msg) from error
    if not all(0 <= side <= MAX_PLACE_MM for side in sides_mm):
        msg = f"{where}.settings reach {max(sides_mm):g} mm"
        raise ValueError(msg)


@cache
def _adapter(settings_type: Any) -> TypeAdapter[Any]:
    return TypeAdapter(settings_type)


def hold_block(block: Block, where: str, *, text: str | None = None) -> None:
    """Hold what was recorded in a block to what can be recorded.

    Parameters
    ----------
    block : Block
    where : str
        What a refusal names first.
    text : str, optional
        Its settings as they are spelt where they were stored; by default canonical JSON.

    Raises
    ------
    ValueError
        If stamps go back or too far, or places, kinds, trials or labels cannot be.
    """
    hold_settings(block.header, f"{where}.header", text=text)
    _hold_numbers(block, where)
    hold_events(block, where)


def _hold_numbers(block: Block, where: str) -> None:
    for part, name in (
        ("samples", "t_ns"), ("frames", "flip_ns"), ("frames", "drawn_ns"), ("events", "t_ns"),
    ):  # fmt: skip
        _hold_stamps(getattr(block, part)[name], f"{where}.{part}.{name}")
    for part in ("samples", "events"):
        array = getattr(block, part)
        for column in set(array.dtype.names or ()) & {"x_mm", "y_mm", "r_mm"}:
            if (np.abs(array[column]) > MAX_PLACE_MM).any():
                msg = f"{where}.{part}.{column} lies more than {MAX_PLACE_MM:g} mm away"
                raise ValueError(msg)
            if column == "r_mm" and (array[column] < 0).any():
                msg = f"{where}.{part}.r_mm is below 0"
                raise ValueError(msg)
    _hold_samples(block, where)


def _hold_stamps(t_ns: Any, where: str) -> None:
    if len(t_ns) > MAX_SAMPLES:
        msg = f"{where} has {len(t_ns)} rows, more than {MAX_SAMPLES}"
        raise ValueError(msg)
    t_ns = np.ascontiguousarray(t_ns)  # rows are packed, and slow to compare where they lie
    if len(t_ns) and (t_ns[0] < 0 or (t_ns[1:] < t_ns[:-1]).any()):
        msg = f"{where} is not in order of time"
        raise ValueError(msg)
    if len(t_ns) and t_ns[-1] > MAX_BLOCK_NS:
        msg = f"{where} goes on for more than an hour"
        raise ValueError(msg)


def _hold_samples(block: Block, where: str) -> None:
    samples = block.samples
    if not len(samples):
        return
    if int(samples["kind"].max()) >= len(KIND_CODES):
        msg = f"{where}.samples.kind is of no known kind"
        raise ValueError(msg)
    if int(samples["pointer"].min()) < 0:
        msg = f"{where}.samples.pointer is below 0"
        raise ValueError(msg)
    if np.isinf(samples["pressure"]).any():
        msg = f"{where}.samples.pressure is no finite number"
        raise ValueError(msg)
    gaps_ns = np.ascontiguousarray(samples["stamp_gap_ns"])
    if int(gaps_ns.min()) < 0 or int(gaps_ns.max()) > MAX_BLOCK_NS:
        msg = f"{where}.samples.stamp_gap_ns is below 0 or above an hour"
        raise ValueError(msg)


def hold_events(block: Block, where: str) -> None:
    """Hold kinds, labels and trials of a block's events to its task, and the last to its end.

    Raises
    ------
    ValueError
        If there can be no such event.
    """
    events = block.events
    if not len(events):
        return
    header = block.header
    task = task_of(header.task, header.task_version)  # rules that are not here have others
    strange = set() if task is None else set(events["kind"].tolist()) - task.event_kinds
    if strange:
        msg = f"{where}.events.kind is {min(strange)!r}: {header.task} has no such event"
        raise ValueError(msg)
    for label in set(events["label"].tolist()):
        forms.words(label)
    if int(events["trial"].min()) < -1 or int(events["trial"].max()) > MAX_TRIALS:
        msg = f"{where}.events.trial is not within -1 to {MAX_TRIALS}"
        raise ValueError(msg)
    if int(events["t_ns"][-1]) > block.ended_ns:
        msg = f"{where}.ended_ns is {block.ended_ns}: an event came after it"
        raise ValueError(msg)
