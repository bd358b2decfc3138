"""Measures of pursuit."""

from __future__ import annotations

from battery.scoring.definitions.jitter import jitter
from battery.scoring.definitions.quality import quality
from battery.scoring.measure import COMMON, OWN, Measure

_LINEAR = "linear systems identification; common practice, no source"
_PREDICTED = "People foresee a single sine, so that its delay may be 0 or below."
_CONTACT = "4 s of contact while the chip moved"
_PREDICTABLE = "the predictable part"
_UNPREDICTABLE = "the unpredictable part"
_FOLLOWED = "a gain of at least 0.2, and following with ten times the power of its unsteadiness"
N_FREQUENCIES = 5

_TRACKING = (
    Measure(
        "pursuit.tracking_rmse_mm",
        "Tracking error",
        "Root mean square distance of the finger from the chip as shown, over all the scored "
        "time; at no moment more than that of a finger that rests in the middle, and off the "
        "glass as much.",
        "mm",
        "lower",
        "root mean square; common practice, no source",
        primary=True,
        limits="Mixes lag, jitter and lost contact. Whoever does not follow at all has the "
        "error of a finger that rests, and no larger one.",
        needs="reports for half of the time in contact",
        since=3,
        min_compared=1.0,
    ),
    Measure(
        "pursuit.delay_s",
        "Tracking delay",
        "Slope of the phase of finger against chip over frequency, least squares at the "
        "frequencies of the movement; of the unpredictable part where there is one.",
        "s",
        "lower",
        _LINEAR,
        log_scale=False,
        limits=_PREDICTED,
        needs=f"{_CONTACT}; {_FOLLOWED}; known to 0.2 s",
        since=3,
    ),
    Measure(
        "pursuit.gain",
        "Tracking gain",
        "Size of the finger's movement over the chip's at the same frequencies, weighted by "
        "the chip's power.",
        "1",
        "toward_one",
        _LINEAR,
        log_scale=False,
        needs=_CONTACT,
    ),
    Measure(
        "pursuit.velocity_gain",
        "Velocity gain",
        "Slope of the finger's velocity over the chip's after shifting by the delay.",
        "1",
        "toward_one",
        COMMON,
        log_scale=False,
        limits="Tremor does not change it; slow corrections do.",
        needs=f"{_CONTACT}; {_FOLLOWED}",
        since=3,
    ),
    Measure(
        "pursuit.delay_by_correlation_s",
        "Delay by correlation",
        "Lag from -0.3 to 1 s at which finger and chip correlate best: a check of the delay.",
        "s",
        "lower",
        COMMON,
        log_scale=False,
        limits=_PREDICTED,
        needs=f"{_CONTACT}; {_FOLLOWED}",
        detail=True,
        since=3,
    ),
    Measure(
        "pursuit.time_on_target",
        "Time on the chip",
        "Share of all the scored time with the finger on the glass and inside the chip.",
        "1",
        "higher",
        COMMON,
        log_scale=False,
        limits="Depends on the chip's size; blunt near all or none.",
        needs="reports for half of the time in contact",
        since=3,
        width="none",
    ),
    Measure(
        "pursuit.remnant_mm",
        "What the chip does not explain",
        "Root mean square of the finger's movement along the path beyond the frequencies of "
        "the chip and a slow drift.",
        "mm",
        "lower",
        _LINEAR,
        needs=_CONTACT,
        since=2,
        width="none",
    ),
    Measure(
        "pursuit.remnant_slow_mm",
        "Slow corrections",
        "The part of that below 3 Hz.",
        "mm",
        "lower",
        _LINEAR,
        needs="4 s of contact in pieces of at least 2 s without gaps",
        detail=True,
        since=2,
        width="none",
    ),
    Measure(
        "pursuit.catch_up_per_s",
        "Catch-up movements",
        "Peaks of the speed of the finger relative to the chip, low-passed at 8 Hz, that rise "
        "20 mm/s above their surroundings, a second of contact.",
        "/s",
        "lower",
        OWN,
        log_scale=False,
        limits="Tremor adds peaks.",
        needs=_CONTACT,
        since=2,
        width="none",
    ),
    Measure(
        "pursuit.coherence",
        "Coherence",
        "Magnitude-squared coherence of finger and chip in 8 s segments, mean over the chip's "
        "frequencies from 0.1 Hz on, weighted by its power.",
        "1",
        "higher",
        "Halliday et al. 1995, Prog Biophys Mol Biol 64:237-278",
        log_scale=False,
        limits="Below 0.31, the 95 % limit for 9 segments, it is what chance gives.",
        needs=f"9 segments of {_UNPREDICTABLE}; at most 5 % of it without contact",
        detail=True,
        since=2,
        width="none",
    ),
    Measure(
        "pursuit.contact_loss",
        "Time off the glass",
        "Share of the scored time without contact.",
        "1",
        "lower",
        OWN,
        log_scale=False,
    ),
    Measure(
        "pursuit.lifts_per_min",
        "Lifts",
        "Times contact was lost while the chip moved, a minute.",
        "/min",
        "lower",
        "interval: Brown, Cai & DasGupta 2003, Stat Sin 13:19-49",
        log_scale=False,
        detail=True,
        since=2,
    ),
)
_PARTS = (
    *(
        Measure(
            f"pursuit.rmse_{name}_mm",
            f"Tracking error, {name} part",
            f"Tracking error in the {name} part alone.",
            "mm",
            "lower",
            "root mean square; common practice, no source",
            limits="Mixes lag, jitter and lost contact.",
            needs=f"the {name} part, with reports for half of the time in contact",
            detail=True,
            since=3,
        )
        for name in ("predictable", "unpredictable")
    ),
    Measure(
        "pursuit.rmse_difference_mm",
        "Cost of not foreseeing, error",
        "Tracking error of the unpredictable less that of the predictable part.",
        "mm",
        "none",
        COMMON,
        log_scale=False,
        limits="The two parts differ in speed as well.",
        needs=f"{_PREDICTABLE} and {_UNPREDICTABLE}",
        since=3,
    ),
    Measure(
        "pursuit.delay_predictable_s",
        "Delay, predictable part",
        "Delay in the predictable part alone, from the phase of its one frequency.",
        "s",
        "lower",
        _LINEAR,
        log_scale=False,
        limits=f"{_PREDICTED} Ambiguous by whole periods of the sine.",
        needs=_PREDICTABLE,
        detail=True,
        since=2,
    ),
    Measure(
        "pursuit.delay_difference_s",
        "Cost of not foreseeing, delay",
        "Delay of the unpredictable less that of the predictable part.",
        "s",
        "none",
        COMMON,
        log_scale=False,
        needs=f"{_PREDICTABLE} and {_UNPREDICTABLE}",
        since=2,
        width="none",
    ),
    Measure(
        "pursuit.gain_predictable",
        "Gain, predictable part",
        "Size of the finger's movement over the chip's at the sine's frequency.",
        "1",
        "toward_one",
        _LINEAR,
        log_scale=False,
        needs=_PREDICTABLE,
        detail=True,
        since=2,
    ),
    Measure(
        "pursuit.phase_predictable_deg",
        "Phase, predictable part",
        "Phase of the finger against the chip; negative when late.",
        "deg",
        "toward_zero",
        _LINEAR,
        log_scale=False,
        needs=f"{_PREDICTABLE}; a gain of at least 0.2",
        detail=True,
        since=2,
    ),
    *(
        Measure(
            f"pursuit.gain_{k}",
            f"Gain at frequency {k}",
            f"Gain at the {k}. of the five frequencies of the unpredictable part, from the "
            "lowest.",
            "1",
            "toward_one",
            _LINEAR,
            log_scale=False,
            needs=_UNPREDICTABLE,
            detail=True,
            since=2,
        )
        for k in range(1, N_FREQUENCIES + 1)
    ),
    *(
        Measure(
            f"pursuit.phase_{k}_deg",
            f"Phase at frequency {k}",
            f"Phase of the finger against the chip at the {k}. of the five frequencies, from "
            "the lowest, unwrapped; negative when late.",
            "deg",
            "toward_zero",
            _LINEAR,
            log_scale=False,
            needs=f"{_UNPREDICTABLE}; a gain of at least 0.2",
            detail=True,
            since=2,
        )
        for k in range(1, N_FREQUENCIES + 1)
    ),
)
_JITTER = jitter(
    "pursuit",
    "path",
    primary=False,
    along="Root mean square displacement along the path in 3.5-14 Hz of what the chip does not "
    "explain.",
)
_QUALITY = quality(
    "pursuit", trial="windows of 2 s of the unpredictable part", value="tracking error"
)

PURSUIT: tuple[Measure, ...] = (*_TRACKING, *_JITTER, *_PARTS, *_QUALITY)
