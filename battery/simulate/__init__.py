"""Simulated participants with known ground truth, playing the real tasks in virtual time.

A person sees what was drawn, a flip later; acts after a delay; and moves a finger whose path
has a known tremor, scatter and aim. The device scans the finger at its own rate and on its own
grid. The truth is what scoring has to recover. Nothing here describes a real person.
"""

from __future__ import annotations

from battery.simulate.motion import minimum_jerk
from battery.simulate.person import Person
from battery.simulate.pointer import (
    MOUSE_125,
    MOUSE_1000,
    POINTERS,
    TOUCH_60,
    TOUCH_120,
    Pointer,
)
from battery.simulate.truth import Truth, at_visit, better

__all__ = [
    "MOUSE_125",
    "MOUSE_1000",
    "POINTERS",
    "TOUCH_60",
    "TOUCH_120",
    "Person",
    "Pointer",
    "Truth",
    "at_visit",
    "better",
    "minimum_jerk",
]
