"""Where the chip of the pursuit was, as it was shown."""

from __future__ import annotations

import numpy as np

from battery.recording import Block
from battery.scoring.signal.path import Floats
from tasks.contract import NS_PER_S
from tasks.pursuit import PursuitSettings

DUE_PATH = "the block has no frames: set against the path as it was due, not as it was shown"


def chip_x_mm(settings: PursuitSettings, since_start_s: Floats) -> Floats:
    """Place of the chip along its path for many moments at once.

    The same as `tasks.pursuit.chip_mm`, which draws it moment by moment.

    Parameters
    ----------
    settings : PursuitSettings
    since_start_s : ndarray, shape (n,)
        Seconds since the chip was first pressed.

    Returns
    -------
    ndarray, shape (n,)
        mm; 0 before and after the movement.
    """
    x_mm = np.zeros(len(since_start_s))
    begun_s = 0.0
    for part in settings.parts:
        left_s = since_start_s - begun_s
        inside = (left_s >= 0) & (left_s < part.whole_s)
        left_s = left_s[inside]
        t_s = left_s - part.lead_s
        swing_mm = np.zeros(len(left_s))
        for a_mm, f_hz, phase in part.components:
            swing_mm += a_mm * np.sin(2 * np.pi * f_hz * t_s + phase)
        grown = _smooth(left_s / part.lead_s) if part.lead_s > 0 else np.ones(len(left_s))
        rest_s = part.whole_s - left_s
        faded = _smooth(rest_s / part.tail_s) if part.tail_s > 0 else np.ones(len(left_s))
        x_mm[inside] = settings.direction * swing_mm * np.minimum(grown, faded)
        begun_s += part.whole_s
    return x_mm


def _smooth(share: Floats) -> Floats:
    u = np.clip(share, 0.0, 1.0)
    return np.asarray(u * u * (3 - 2 * u))


def shown_x_mm(block: Block, settings: PursuitSettings, started_ns: int, t_s: Floats) -> Floats:
    """Place of the chip on the screen.

    At the return of a flip it was where the picture drew it; in between it is taken to move
    evenly, as the eye sees it. Without frames it is where it was due.

    Parameters
    ----------
    started_ns : int
        When the chip was first pressed.
    t_s : ndarray, shape (n,)
        On the clock of the block.
    """
    started_s = started_ns / NS_PER_S
    if len(block.frames) < 2:
        return chip_x_mm(settings, t_s - started_s)
    drawn_s, flip_s = (block.frames[name] / NS_PER_S for name in ("drawn_ns", "flip_ns"))
    near = slice(*np.searchsorted(flip_s, [t_s[0] - 1, t_s[-1] + 1]))
    if near.stop - near.start < 2:
        return chip_x_mm(settings, t_s - started_s)
    drawn_mm = chip_x_mm(settings, drawn_s[near] - started_s)
    return np.asarray(np.interp(t_s, flip_s[near], drawn_mm))
