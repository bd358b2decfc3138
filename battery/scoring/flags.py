"""Validity flags that one record can tell, each with the effect it has.

Nothing is deleted: a flag says why a block is not compared, or is compared with care.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from battery.recording import TimingAudit

Effect = Literal["not_scored", "not_trended", "care"]


@dataclass(frozen=True, slots=True)
class Flag:
    """A flag: its effect, and what it says on the page."""

    name: str
    effect: Effect
    says: str


FLAGS: Mapping[str, Flag] = {
    flag.name: flag
    for flag in (
        Flag("interrupted", "not_scored", "the block was broken off"),
        Flag("stopped", "not_scored", "the person stopped the block"),
        Flag("input_type_mixed", "not_scored", "finger and mouse were mixed"),
        Flag("stopped_symptom", "not_scored", "a symptom rose by 3 or more in the visit"),
        Flag("hand_mismatch", "not_trended", "the person said it was the other hand"),
        Flag("hand_uncertain", "not_trended", "the person was not sure which hand it was"),
        Flag("helped", "not_trended", "somebody helped with arm or presses"),
        Flag("weight_on", "care", "a weight was on the wrist: a series of its own"),
        Flag("off_window", "care", "more than 2 hours from the usual time of day"),
        Flag("off_phase", "care", "medicine was taken at another time than usual"),
        Flag("clock_odd", "care", "the clock stood before the visit before"),
        Flag("few_trials", "not_trended", "too few trials were kept"),
        Flag("scale_unverified", "not_trended", "the screen was never measured"),
        Flag("low_rate", "care", "the device reports the finger too rarely"),
        Flag("slow_frames", "care", "the picture was late too often"),
        Flag("wide_stamps", "care", "the times of contacts are uncertain"),
    )
}
FEW_TRIALS = {"tapping": 15, "slide": 4, "pursuit": 4, "trail": 7}
LOW_RATE_HZ = 60 * 0.97
SLOW_SHARE = 0.01
WIDE_GAPS_SHARE = 0.01
WIDE_STAMP_MS = 8.0
BLOCK_S = 60.0


def flags_of(
    *,
    ending: str | None,
    input_type: str,
    scale_source: str,
    audit: TimingAudit,
    task: str,
    n_primary: int | None,
) -> list[str]:
    """List the flags a record raises.

    Parameters
    ----------
    n_primary : int or None
        How many trials, windows or links the primary score stands on; None when unscored.
    """
    raised = []
    if ending == "stopped":
        raised.append("stopped")
    elif ending != "finished":
        raised.append("interrupted")
    if input_type == "mixed":
        raised.append("input_type_mixed")
    if ending == "finished" and n_primary is not None and n_primary < FEW_TRIALS[task]:
        raised.append("few_trials")
    if scale_source == "guess":
        raised.append("scale_unverified")
    if audit.report_rate_hz is not None and audit.report_rate_hz < LOW_RATE_HZ:
        raised.append("low_rate")
    frames = (audit.frame_rate_hz or np.nan) * BLOCK_S
    if audit.slow_frames is not None and audit.slow_frames > SLOW_SHARE * frames:
        raised.append("slow_frames")
    if audit.stamp_gap_p99_ms is not None and audit.stamp_gap_p99_ms > WIDE_STAMP_MS:
        raised.append("wide_stamps")
    return raised


def check_flags(
    *, report_rate_hz: float | None, wide_gaps: float | None, slow_frames: float | None
) -> list[str]:
    """List the flags that a check of a device's pointer and picture raises.

    Parameters
    ----------
    report_rate_hz : float or None
        Rate of reports of motion; None where there was too little of it.
    wide_gaps : float or None
        Share of intervals between reports of one touch above 50 ms.
    slow_frames : float or None
        Share of frames more than 34 ms after the one before.
    """
    raised = []
    too_rare = report_rate_hz is not None and report_rate_hz < LOW_RATE_HZ
    if too_rare or (wide_gaps or 0.0) > WIDE_GAPS_SHARE:
        raised.append("low_rate")
    if (slow_frames or 0.0) > SLOW_SHARE:
        raised.append("slow_frames")
    return raised


def comparable(raised: list[str]) -> bool:
    """Whether a block with these flags may stand in a baseline or a trend."""
    return all(FLAGS[name].effect == "care" for name in raised)
