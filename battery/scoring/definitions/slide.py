"""Measures of the slide."""

from __future__ import annotations

from battery.scoring.definitions.jitter import jitter
from battery.scoring.definitions.quality import quality
from battery.scoring.measure import COMMON, OWN, Measure

_BESIDE = "Beside it stands the middle half of the ways: how unlike they are."
_PASSES = "2 finished passes"
_WAYS = "2 ways out or back"

_JITTER = jitter(
    "slide",
    "track",
    primary=True,
    beside=", of all contact in which the finger does not lie still for over 1 s",
    along_width="none",
    along="Root mean square displacement along the track in 3.5-14 Hz while the finger is "
    "slower than 50 mm/s along it.",
)
_OTHERS = (
    Measure(
        "slide.extent_mm",
        "Extent",
        "Median of how far out the chip was taken.",
        "mm",
        "higher",
        OWN,
        limits="Ends at the end of the track; not a range of motion.",
        needs=_PASSES,
    ),
    Measure(
        "slide.extent_percent",
        "Extent, of the track",
        "The same as a share of the track's length.",
        "%",
        "higher",
        OWN,
        log_scale=False,
        limits="100 % is the end of the track, not of the reach.",
        needs=_PASSES,
        detail=True,
        since=2,
    ),
    *(
        Measure(
            f"slide.extent_{side}_mm",
            f"Extent, to the {side}",
            f"Median of how far the chip was taken to the {side}.",
            "mm",
            "higher",
            OWN,
            limits="Ends at the end of the track; not a range of motion.",
            needs=f"2 finished passes to the {side}",
            detail=True,
            since=2,
        )
        for side in ("left", "right")
    ),
    Measure(
        "slide.mean_speed_mm_s",
        "Speed",
        "Median over ways out and back of the path along the track over its time.",
        "mm/s",
        "none",
        OWN,
        needs=_PASSES,
        since=2,
    ),
    Measure(
        "slide.sparc",
        "Smoothness (SPARC)",
        f"Median spectral arc length of the speed of each way out and back. {_BESIDE}",
        "1",
        "higher",
        "Balasubramanian et al. 2015, J NeuroEng Rehabil 12:112",
        log_scale=False,
        limits="Tremor lowers it as well as halting.",
        needs=_WAYS,
        since=2,
        width="spread",
    ),
    Measure(
        "slide.ldlj",
        "Smoothness (log dimensionless jerk)",
        "Median of minus the logarithm of the integrated squared jerk of each way, low-passed "
        "at 10 Hz, times its time cubed over its peak speed squared. "
        f"{_BESIDE}",
        "1",
        "higher",
        "Hogan & Sternad 2009, J Mot Behav 41:529-534",
        log_scale=False,
        limits="Depends on the low-pass; tremor and rounding lower it.",
        needs=_WAYS,
        detail=True,
        since=2,
        width="spread",
    ),
    Measure(
        "slide.submovements",
        "Sub-movements",
        "Mean number of peaks of the speed of each way, low-passed at 8 Hz: over 5 % of the "
        "highest and 10 mm/s, 75 ms apart. "
        f"{_BESIDE}",
        "1",
        "lower",
        COMMON,
        log_scale=False,
        limits="Tremor adds peaks.",
        needs=_WAYS,
        since=2,
        width="spread",
    ),
    Measure(
        "slide.path_ratio",
        "Detour",
        f"Median length of each way over its chord, low-passed at 10 Hz. {_BESIDE}",
        "1",
        "lower",
        COMMON,
        limits="Grows with tremor as well as with detours.",
        needs=_WAYS,
        detail=True,
        since=2,
        width="spread",
    ),
    Measure(
        "slide.stops",
        "Stops",
        "Mean number of times the finger stood still on a way: below 5 mm/s along the track "
        "for over 0.15 s, low-passed at 3 Hz. "
        f"{_BESIDE}",
        "1",
        "lower",
        OWN,
        log_scale=False,
        needs=_WAYS,
        since=2,
        width="spread",
    ),
    Measure(
        "slide.reversals",
        "Reversals",
        "Mean number of times the finger turned back by over 2 mm on a way, low-passed at "
        "3 Hz. "
        f"{_BESIDE}",
        "1",
        "lower",
        OWN,
        log_scale=False,
        needs=_WAYS,
        since=2,
        width="spread",
    ),
    Measure(
        "slide.lifts_per_min",
        "Lifts",
        "Times contact was lost while the chip was dragged, a minute of dragging.",
        "/min",
        "lower",
        "interval: Brown, Cai & DasGupta 2003, Stat Sin 13:19-49",
        log_scale=False,
        since=2,
    ),
    Measure(
        "slide.n_passes",
        "Passes",
        "Finished passes in the block.",
        "1",
        "none",
        OWN,
        log_scale=False,
        detail=True,
        since=2,
    ),
)
_QUALITY = quality("slide", trial="ways out and back", value="time")

SLIDE: tuple[Measure, ...] = (*_JITTER, *_OTHERS, *_QUALITY)
