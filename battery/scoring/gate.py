"""Whether a practice shows that the task was understood.

Four of the last five tries have to be right. Right is not exact: a touch far from the middle
is right as long as it is nearer to its target than halfway from the centre of the screen, so
that nobody is kept from the test by what the test is to measure.

The rule (four of five, within three practices) is a judgement and has no source.
"""

from __future__ import annotations

import math

import numpy as np

from battery.errors import ScoringError
from battery.recording import Block
from battery.scoring.pursuit import parts as pursuit
from battery.scoring.slide import passes as slide
from battery.scoring.tapping import reading as tapping
from battery.scoring.trail import links as trail

LAST = 5
WRONG_ALLOWED = 1
PART_S = 1.0  # a second of following is one try


def practice_passed(block: Block) -> bool:
    """Whether at most one of the last five tries was wrong and one at least was right."""
    try:
        tries = right_tries(block)[-LAST:]
    except ScoringError:  # broken off before there was anything to read
        return False
    return any(tries) and tries.count(False) <= WRONG_ALLOWED


def right_tries(block: Block) -> list[bool]:
    """Say of each reach, pass, second of following or link whether it was right."""
    return {"tapping": _reaches, "slide": _passes, "pursuit": _seconds, "trail": _links}[
        block.header.task
    ](block)


def _reaches(block: Block) -> list[bool]:
    """Answered after the cue, and nearer to the target than half its way from the centre."""
    return [
        tap.outcome in ("hit", "miss")
        and not tap.reaction_time_s <= 0  # nan where there is no home pad to leave
        and (
            tap.outcome == "hit"
            or tap.radial_error_mm < math.hypot(tap.target_x_mm, tap.target_y_mm) / 2
        )
        for tap in tapping.taps(block)
        if tap.outcome != "unfinished"
    ]


def _passes(block: Block) -> list[bool]:
    """There and back."""
    return [True for _ in slide.passes(block)]


def _seconds(block: Block) -> list[bool]:
    """Say of each second whether the finger was down for at least half of it."""
    right = []
    for part in pursuit.parts(block):
        n_seconds = max(round((part.end_s - part.start_s) / PART_S), 1)
        right += [
            bool(on.mean() >= 0.5) for on in np.array_split(part.on, n_seconds) if len(on)
        ]
    return right


def _links(block: Block) -> list[bool]:
    """Say of each link whether no wrong node came before the next one."""
    return [link.n_errors == 0 for form in trail.forms(block) for link in form.links]
