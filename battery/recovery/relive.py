"""A block done otherwise: the contacts of one that was played, changed, through the task again.

The task decides anew what happened, so that the record is one that the program could have
written.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from battery.recording import Block, Ending, SampleArray, contacts
from battery.runner import Run, run_block
from tasks.contract import NS_PER_S

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
    told = run_block(block.header, _Told(samples, MAX_NS))
    end_ns = int(told.events["t_ns"].max(initial=0))
    again = run_block(
        block.header, _Told(samples, max(end_ns, int(samples["t_ns"].max(initial=0))))
    )
    return replace(again, frames=np.array(block.frames), audit=block.audit)
