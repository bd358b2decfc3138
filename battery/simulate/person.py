"""A simulated participant as a source of signals."""

from __future__ import annotations

from battery.recording import Ending
from battery.runner import Run
from battery.simulate.doing import DOINGS
from battery.simulate.hand import BlockOver, Hand
from battery.simulate.pointer import TOUCH_120, Pointer
from battery.simulate.truth import Truth


class Person:
    """A source that plays a block as one simulated participant would.

    Parameters
    ----------
    truth : Truth
    pointer : Pointer
    seed : int
        Everything random about a block. The same seed gives the same signals, byte for byte.
    """

    def __init__(self, truth: Truth, pointer: Pointer = TOUCH_120, seed: int = 0) -> None:
        self._truth = truth
        self._pointer = pointer
        self._seed = seed

    def play(self, run: Run) -> tuple[Ending, str]:
        """Feed the run until its task is finished; always ends as finished."""
        try:
            hand = Hand(run, self._truth, self._pointer, self._seed)
            DOINGS[run.task.name](hand)
            while True:  # a person who is done waits
                hand.stay(1.0)
        except BlockOver:
            return "finished", ""
