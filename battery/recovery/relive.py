"""A block done otherwise: the contacts of one that was played, changed, through the task again.

The task decides anew what happened, so that the record is one that the program could have
written.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from battery.recording import KIND_CODES, Block, Ending, SampleArray, contacts
from battery.runner import Run, run_block
from tasks.contract import NS_PER_S
from tasks.trail import REGRAB_MM

Flags = npt.NDArray[np.bool_]

MAX_NS = 3600 * NS_PER_S  # no block lasts so long


class _Told:
    """A source of given samples, then of one tick at the end."""

    def __init__(self, samples: SampleArray, end_ns: int) -> None:
        self._samples = samples
        self._end_ns = end_ns

    def play(self, run: Run) -> tuple[Ending, str]:
        gaps_ns = self._samples["stamp_gap_ns"].tolist()
        for contact, gap_ns in zip(contacts(self._samples), gaps_ns, strict=True):
            if run.finished:
                return "finished", ""
            run.contact(
                contact.t_ns,
                contact.kind,
                contact.x_mm,
                contact.y_mm,
                contact.pointer,
                stamp_gap_ns=gap_ns,
            )
        if not run.finished:
            run.tick(self._end_ns)
        return "finished", ""


def relive(block: Block, samples: SampleArray) -> Block:
    """Play other contacts through a block's task.

    Parameters
    ----------
    block : Block
        Gives the header with the task's settings, and the frames: they say when a picture was
        shown, which does not depend on the person.
    samples : ndarray of SAMPLE_DTYPE
        In order of time. Those after the task's end are left out.

    Returns
    -------
    Block
        Finished. Where the contacts end before the task does, nothing happens any more until
        its time is up.
    """
    deciding = _deciding(block, samples)
    if deciding is None:
        told = run_block(block.header, _Told(samples, MAX_NS))
    else:
        told = _by(samples[deciding], block, samples)
    # What fell due had its own moment, whenever the task was told that it is over.
    end_ns = max(
        int(told.events["t_ns"].max(initial=0)), int(told.samples["t_ns"].max(initial=0))
    )
    return replace(
        told,
        ended_ns=min(told.ended_ns, end_ns),
        frames=np.array(block.frames),
        audit=block.audit,
    )


def _presses(samples: SampleArray) -> Flags:
    """Mark presses and lifts: the others only tell that time has passed."""
    return np.asarray(np.isin(samples["kind"], [KIND_CODES["down"], KIND_CODES["up"]]))


def _crossings(block: Block, samples: SampleArray) -> Flags:
    """Mark presses, lifts, and where a node's rim, or the ring round a first, is crossed."""
    kept = _presses(samples)
    place_mm = np.column_stack([samples["x_mm"], samples["y_mm"]])
    radius_mm = float(block.header.settings["node_r_mm"])
    for form in block.header.settings["forms"]:
        for number, node_mm in enumerate(form["nodes_mm"]):
            off_mm = np.hypot(*(place_mm - np.array(node_mm)).T)
            rims_mm = (radius_mm, radius_mm + REGRAB_MM) if number == 0 else (radius_mm,)
            for rim_mm in rims_mm:
                kept[1:] |= np.diff(off_mm <= rim_mm)
    return kept


def _deciding(block: Block, samples: SampleArray) -> Flags | None:
    """Mark what the rules of a task heed; every other report tells them of time alone.

    None where every report may count, as it may in a task that is not known here.
    """
    if block.header.task in ("tapping", "pursuit"):
        return _presses(samples)
    if block.header.task == "trail":
        return _crossings(block, samples)
    return None


def _by(deciding: SampleArray, block: Block, samples: SampleArray) -> Block:
    """Play what decides alone, and put the record together as all would have it."""
    told = run_block(block.header, _Told(deciding, MAX_NS))
    over_ns = told.events["t_ns"][told.events["kind"] == "end"]
    n = len(samples)
    if len(over_ns):
        n = min(n, int(np.searchsorted(samples["t_ns"], over_ns[-1])) + 1)
    kept = samples[:n].copy()
    after_ns = int(kept["t_ns"][-1]) if n and n < len(samples) else MAX_NS
    return replace(told, samples=kept, ended_ns=after_ns)
