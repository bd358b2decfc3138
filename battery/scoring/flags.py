"""Validity flags, each with the effect it has: the one list of them.

Nothing is deleted: a flag says why a block is not compared, or is compared with care. What a
record tells is raised here, from its audit and its scores; what the visits before tell, and
what people said, in `battery.flagging`. That a first movement goes in a direction at chance
cannot be told: one target is shown at a time.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import cache
from typing import Literal, NamedTuple

import numpy as np

from battery.recording import TimingAudit
from battery.scoring.score import BELOW_FLOOR, LEFT_ALONE, SCORING_VERSION
from battery.scoring.scorers import scorer_of

Effect = Literal["not_scored", "not_trended", "new_series", "care", "shown"]


class Flag(NamedTuple):
    """A flag: its effect, and what it says on the page."""

    name: str
    effect: Effect
    says: str


class Value(NamedTuple):
    """What flags need of a score."""

    value: float
    n: int
    reason: str = ""
    scoring_version: int = SCORING_VERSION


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
        Flag("rather_few_trials", "care", "few trials were kept"),
        Flag("scale_unverified", "not_trended", "the screen was never measured"),
        Flag(
            "trail_not_finished", "care", "not all trails were finished within the time limit"
        ),
        Flag(
            "contact_lost", "care", "the finger was off the glass for over 5 % of the following"
        ),
        Flag("low_rate", "care", "the device reports the finger too rarely"),
        Flag("queued_reports", "care", "over 5 % of the reports of the finger were read late"),
        Flag("coarse_pixels", "care", "the shaking is not much larger than the device's grid"),
        Flag("position_jumps", "care", "the reported place of the finger jumped"),
        Flag("slow_frames", "care", "the picture was late too often"),
        Flag("wide_stamps", "care", "the times of contacts are uncertain"),
        Flag("multi_touch", "care", "a second contact in over 10 % of trials"),
        Flag("guessing", "care", "over 5 % of reactions began before they could be one"),
        Flag("late_fatigue", "shown", "the last third was worse by over one trial scatter"),
        Flag("floor_ceiling", "shown", "nearly everything hit, or reached, or missed"),
        Flag("below_floor", "shown", "the device cannot tell the value from none"),
        Flag("layout_repeat", "care", "this layout was done before"),
        Flag("device_changed", "new_series", "another device, scale or pointer than before"),
        Flag("version_changed", "new_series", "done or scored by another version"),
        Flag("learning", "shown", "one of the first six visits: the test is being learnt"),
    )
}
MULTI_TOUCH_SHARE = 0.10
GUESSING_SHARE = 0.05
LATE_CHANGE_SD = 1.0
MAX_HITS, MIN_HITS = 0.90, 0.10
TOUCH_NOISE_MM = 2.0  # an end point nearer to the centre is the finger's own size
END_OF_TRACK_PERCENT = 99.0
OFF_GLASS_SHARE = 0.05
QUEUED_SHARE = 0.05
MIN_PIXELS = 2.0
JUMPS_PER_MIN = 2.0
LOW_RATE_HZ = 60 * 0.97
SLOW_SHARE = 0.01
WIDE_GAPS_SHARE = 0.01
WIDE_STAMP_MS = 8.0
BLOCK_S = 60.0
AGAINST = ("not_scored", "not_trended")
FINISHED = "trail.finished_share"


def flags_of(
    *,
    ending: str | None,
    input_type: str,
    scale_source: str,
    audit: TimingAudit,
    task: str,
    n_primary: int | None,
    scores: Mapping[str, Value] | None = None,
) -> list[str]:
    """List the flags a record raises.

    Parameters
    ----------
    n_primary : int or None
        How many trials, windows or links the primary score stands on; None when unscored.
    scores : mapping of measure to Value, optional
        The block's scores; those of `flag_measures` are enough.
    """
    raised: list[str] = []
    held = scores or {}
    scorer = scorer_of(task)
    primary = held.get(scorer.primary.name)
    if ending == "stopped":
        raised.append("stopped")
    elif ending != "finished" or (primary and primary.reason.startswith(LEFT_ALONE)):
        raised.append("interrupted")
    if input_type == "mixed":
        raised.append("input_type_mixed")
    if not raised and n_primary is not None:
        # Links that were not made are in the time per link already.
        if _value(held, FINISHED) < 1:
            raised.append("trail_not_finished")
        elif n_primary < scorer.min_trials:
            raised.append("few_trials")
        elif n_primary < scorer.min_trials_usual:
            raised.append("rather_few_trials")
    if scale_source == "guess":
        raised.append("scale_unverified")
    too_rare = audit.report_rate_hz is not None and audit.report_rate_hz < LOW_RATE_HZ
    if too_rare or _value(held, f"{task}.gap_share") > WIDE_GAPS_SHARE:
        raised.append("low_rate")
    frames = (audit.frame_rate_hz or np.nan) * BLOCK_S
    if audit.slow_frames is not None and audit.slow_frames > SLOW_SHARE * frames:
        raised.append("slow_frames")
    if audit.stamp_gap_p99_ms is not None and audit.stamp_gap_p99_ms > WIDE_STAMP_MS:
        raised.append("wide_stamps")
    return raised + _of_scores(task, held)


def flag_measures(task: str) -> list[str]:
    """Name the measures of a task that flags stand on."""
    scorer = scorer_of(task)
    return [scorer.primary.name, *scorer.flag_measures]


def decisive_measures(task: str) -> list[str]:
    """Name the measures of a task on which it hangs whether a block counts."""
    scorer = scorer_of(task)
    return [scorer.primary.name, *(n for n in scorer.flag_measures if n == FINISHED)]


def _value(held: Mapping[str, Value], name: str) -> float:
    return held[name].value if name in held else math.nan


def _of_scores(task: str, held: Mapping[str, Value]) -> list[str]:
    """List the flags that stand on scores; a missing value raises none."""
    shares = _shares_of(task)
    raised = {
        shares[name][0]
        for name, value in held.items()
        if name in shares and shares[name][1](value.value)
    }
    if _value(held, "tapping.hit_rate") > MAX_HITS and (
        _value(held, "tapping.radial_error_mm") < TOUCH_NOISE_MM
    ):
        raised.add("floor_ceiling")
    primary = held.get(scorer_of(task).primary.name)
    if primary is not None and primary.reason.startswith(BELOW_FLOOR):
        raised.add("below_floor")
    if any(value.scoring_version != SCORING_VERSION for value in held.values()):
        raised.add("version_changed")
    return [name for name in _IN_ORDER if name in raised] if raised else []


_IN_ORDER = (
    "multi_touch", "guessing", "contact_lost", "queued_reports", "coarse_pixels",
    "position_jumps", "late_fatigue", "floor_ceiling", "below_floor", "version_changed",
)  # fmt: skip


@cache
def _shares_of(task: str) -> dict[str, tuple[str, Callable[[float], bool]]]:
    """Return by measure which flag its value alone raises, and when; of nan none does."""
    return {
        f"{task}.extra_contact_share": ("multi_touch", lambda v: v > MULTI_TOUCH_SHARE),
        f"{task}.anticipation_rate": ("guessing", lambda v: v > GUESSING_SHARE),
        "pursuit.contact_loss": ("contact_lost", lambda v: v > OFF_GLASS_SHARE),
        f"{task}.queued_share": ("queued_reports", lambda v: v > QUEUED_SHARE),
        f"{task}.jitter_pixels": ("coarse_pixels", lambda v: v < MIN_PIXELS),
        f"{task}.jumps_per_min": ("position_jumps", lambda v: v > JUMPS_PER_MIN),
        f"{task}.late_change_sd": ("late_fatigue", lambda v: v > LATE_CHANGE_SD),
        "tapping.hit_rate": ("floor_ceiling", lambda v: v < MIN_HITS),
        "slide.extent_percent": ("floor_ceiling", lambda v: v >= END_OF_TRACK_PERCENT),
    }


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
    return not any(FLAGS[name].effect in AGAINST for name in raised)
