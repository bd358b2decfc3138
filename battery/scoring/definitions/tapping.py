"""Measures of tapping."""

from __future__ import annotations

from battery.scoring.definitions.quality import quality
from battery.scoring.measure import COMMON, WILSON, Direction, Measure

_ERRORS = "Hancock, Butler & Fischman 1995, J Mot Behav 27:241-250"
_THROUGHPUT = (
    "ISO/TS 9241-411:2012, Annex B; "
    "Soukoreff & MacKenzie 2004, Int J Hum Comput Stud 61:751-789"
)
_AXIS = "MacKenzie, Kauppinen & Silfverberg 2001, CHI 2001, 9-16"
_OFFSET = "Touch panels add an offset of some mm; only change on one device has meaning."
_EIGHT = "8 answered trials"
_FIFTEEN = "15 answered trials"
_AIR = "a pointer that is seen in the air: a mouse, not a finger"
_HOME = "the home pad, where a reach begins"

_PRIMARY = (
    Measure(
        "tapping.radial_error_mm",
        "End-point error",
        "Mean distance of the first contact after lift-off from the centre of the target, over "
        "all trials; one without an answer counts with the whole way from home, and so does "
        "every 20 s in which none was done.",
        "mm",
        "lower",
        _ERRORS,
        primary=True,
        limits=_OFFSET,
        needs="5 trials",
        min_compared=1.0,
        since=3,
    ),
    Measure(
        "tapping.movement_time_s",
        "Movement time",
        "Median time from lift-off to the first contact, hits and misses alike; without an "
        "answer the time allowed for it.",
        "s",
        "lower",
        COMMON,
        limits="Faster means better only if the end-point error has not grown.",
        needs="5 trials",
        since=3,
    ),
    Measure(
        "tapping.reaction_time_s",
        "Reaction time",
        "Median time from the go cue on the screen to the last lift-off before the contact; "
        "below 0.1 s and above 5 s left out.",
        "s",
        "lower",
        COMMON,
        limits="Contains the jump of the eyes and the unknown delay of the device.",
        needs=f"5 such reactions; {_HOME}",
    ),
    Measure(
        "tapping.hit_rate",
        "Targets hit",
        "Share of all trials whose first contact lay inside the target; one without an answer "
        "is not hit.",
        "1",
        "higher",
        WILSON,
        log_scale=False,
        limits="Blunt near all or none; the end-point error says more.",
        needs="5 trials",
        since=3,
    ),
)
_ACCURACY = (
    Measure(
        "tapping.variable_error_mm",
        "Scatter of end points",
        "Root mean square distance of the end points from their own mean (population form), "
        "along and across the reach.",
        "mm",
        "lower",
        _ERRORS,
        needs=_EIGHT,
        since=2,
    ),
    Measure(
        "tapping.constant_error_mm",
        "Offset of end points",
        "Distance of the mean end point from the target, along and across the reach.",
        "mm",
        "lower",
        _ERRORS,
        limits=_OFFSET,
        needs=_EIGHT,
        since=2,
    ),
    Measure(
        "tapping.constant_error_along_mm",
        "Offset along the reach",
        "Mean end point along the reach; positive beyond the target.",
        "mm",
        "toward_zero",
        _ERRORS,
        log_scale=False,
        limits=_OFFSET,
        needs=f"{_EIGHT}; {_HOME}",
        detail=True,
        since=2,
    ),
    Measure(
        "tapping.constant_error_across_mm",
        "Offset across the reach",
        "Mean end point across the reach; positive to the left of its direction.",
        "mm",
        "toward_zero",
        _ERRORS,
        log_scale=False,
        limits=_OFFSET,
        needs=f"{_EIGHT}; {_HOME}",
        detail=True,
        since=2,
    ),
    Measure(
        "tapping.bcea95_mm2",
        "Area of end points (BCEA 95 %)",
        "Area of the bivariate normal contour that holds 95 % of end points like these.",
        "mm2",
        "lower",
        "Steinman 1965, J Opt Soc Am 55:1158; Crossland et al. 2004",
        limits="Too small by (n-2)/(n-1) in the mean; taken as an ellipse, whatever its shape.",
        needs=_FIFTEEN,
        detail=True,
        since=2,
    ),
    Measure(
        "tapping.prediction_ellipse_mm2",
        "Prediction ellipse (95 %)",
        "Area of the ellipse that holds the next end point with 95 %.",
        "mm2",
        "lower",
        "Schubert & Kirchner 2014, Gait Posture 39:518-522",
        limits="Taken as an ellipse, whatever the shape of the scatter.",
        needs=_FIFTEEN,
        since=2,
    ),
    Measure(
        "tapping.overshoot_percent",
        "Overshoot",
        "Mean end point beyond the target along the reach, as a share of the reach's length; "
        "negative when short.",
        "%",
        "toward_zero",
        COMMON,
        log_scale=False,
        limits=_OFFSET,
        needs=f"{_EIGHT}; {_HOME}",
        since=2,
    ),
    Measure(
        "tapping.overshoot_rate",
        "Reaches too long",
        "Share of answered trials that ended beyond the target's rim along the reach.",
        "1",
        "lower",
        WILSON,
        log_scale=False,
        limits=_OFFSET,
        needs=f"{_EIGHT}; {_HOME}",
        detail=True,
        since=2,
    ),
    Measure(
        "tapping.undershoot_rate",
        "Reaches too short",
        "Share of answered trials that ended before the target's rim along the reach.",
        "1",
        "lower",
        WILSON,
        log_scale=False,
        limits=_OFFSET,
        needs=f"{_EIGHT}; {_HOME}",
        detail=True,
        since=2,
    ),
)
_SPEED = (
    Measure(
        "tapping.throughput_bit_s",
        "Throughput",
        "Effective index of difficulty over mean movement time; width 4.133 standard "
        "deviations of the end points along the reach.",
        "bit/s",
        "higher",
        _THROUGHPUT,
        limits="Speed and accuracy in one figure: it does not tell which has changed. Scatter "
        "across the reach does not count. The reaction is left out.",
        needs=f"{_FIFTEEN}; {_HOME}",
        since=2,
    ),
    Measure(
        "tapping.throughput_xy_bit_s",
        "Throughput, both directions",
        "The same with the standard deviation along and across the reach together.",
        "bit/s",
        "higher",
        _THROUGHPUT,
        limits="Speed and accuracy in one figure: it does not tell which has changed.",
        needs=f"{_FIFTEEN}; {_HOME}",
        detail=True,
        since=2,
    ),
    Measure(
        "tapping.interval_cv_percent",
        "Unevenness of the rhythm",
        "Standard deviation over mean of the intervals from contact to contact, less the "
        "foreperiod of each; intervals over three times their median count as three times.",
        "%",
        "lower",
        COMMON,
        limits="Contains slowing over the block.",
        needs="20 intervals",
        since=2,
        width="none",
    ),
    Measure(
        "tapping.interval_rmssd_percent",
        "Unevenness from one interval to the next",
        "Root mean square of successive differences of those intervals over their mean.",
        "%",
        "lower",
        COMMON,
        needs="20 intervals",
        detail=True,
        since=2,
        width="none",
    ),
    Measure(
        "tapping.fatigue_slope_ms",
        "Slowing over the block",
        "Median slope of movement time over the number of the trial, ms a trial.",
        "ms",
        "toward_zero",
        "Theil 1950; Sen 1968, J Am Stat Assoc 63:1379-1389",
        log_scale=False,
        limits="Practice within the block works against it.",
        needs="20 answered trials",
        since=2,
    ),
    Measure(
        "tapping.anticipation_rate",
        "Lifted too early",
        "Share of lifts from home that came before the go cue or less than 0.1 s after it.",
        "1",
        "lower",
        WILSON,
        log_scale=False,
        needs=f"8 lifts; {_HOME}",
        since=2,
    ),
    Measure(
        "tapping.no_answer_rate",
        "Trials without answer",
        "Share of trials begun and not cut off by the end that had no contact in time.",
        "1",
        "lower",
        WILSON,
        log_scale=False,
        needs="8 trials",
        since=2,
    ),
    Measure(
        "tapping.extra_contacts_per_min",
        "Extra contacts",
        "Contacts of another finger or the palm while one was on the glass, a minute.",
        "/min",
        "lower",
        "interval: Brown, Cai & DasGupta 2003, Stat Sin 13:19-49",
        log_scale=False,
        since=2,
    ),
    Measure(
        "tapping.bounces_per_min",
        "Bounces",
        "Contacts that came back sooner than 80 ms after a lift, a minute.",
        "/min",
        "lower",
        "interval: Brown, Cai & DasGupta 2003, Stat Sin 13:19-49",
        log_scale=False,
        detail=True,
        since=2,
    ),
)
_Row = tuple[str, str, str, str, str, Direction, str]
_SIDE_ROWS: tuple[_Row, ...] = (
(
    "radial_error",
    "_mm",
    "End-point error",
    "Mean distance from the centre of the target.",
    "mm",
    "lower",
    _ERRORS,
),
(
    "movement_time",
    "_s",
    "Movement time",
    "Median time from lift-off to contact.",
    "s",
    "lower",
    COMMON,
),
(
    "reaction_time",
    "_s",
    "Reaction time",
    "Median time from the go cue to lift-off.",
    "s",
    "lower",
    COMMON,
),
(
    "hit_rate",
    "",
    "Targets hit",
    "Share of trials that hit.",
    "1",
    "higher",
    WILSON,
),
)  # fmt: skip
_SIDES = tuple(
    Measure(
        f"tapping.{what}_{side}{unit_suffix}",
        f"{title}, {side} of the screen",
        f"{meaning} Targets on the {side} of the screen only.",
        unit,
        direction,
        source,
        log_scale=unit != "1",
        needs=f"5 trials on the {side}",
        detail=True,
        since=2 if what == "reaction_time" else 3,
    )
    for what, unit_suffix, title, meaning, unit, direction, source in _SIDE_ROWS
    for side in ("left", "right")
)
_PathRow = tuple[str, str, str, str, Direction, str, bool, str]
_PATH_ROWS: tuple[_PathRow, ...] = (
    ("path_ratio", "Detour of the reach", "Median length of the path over its chord, "
     "low-passed at 10 Hz.", "1", "lower", COMMON, True,
     "Grows with tremor as well as with detours."),
    ("submovements", "Sub-movements", "Mean number of peaks of the speed, low-passed at "
     "8 Hz: over 5 % of the highest and 10 mm/s, 75 ms apart.", "1", "lower", COMMON, False,
     "Tremor adds peaks."),
    ("sparc", "Smoothness of the reach (SPARC)", "Median spectral arc length of the speed.",
     "1", "higher", "Balasubramanian et al. 2015, J NeuroEng Rehabil 12:112", False,
     "Tremor lowers it as well as halting."),
    ("axis_variability_mm", "Variation about the line", "Median standard deviation of the "
     "distance from the straight line home-target.", "mm", "lower", _AXIS, True, ""),
    ("axis_error_mm", "Distance from the line", "Median mean distance from that line.",
     "mm", "lower", _AXIS, True, ""),
    ("axis_offset_mm", "Bow of the reach", "Median mean signed distance from that line; "
     "positive to the left of the reach.", "mm", "toward_zero", _AXIS, False, ""),
    ("axis_crossings", "Crossings of the line", "Mean number of crossings of that line.",
     "1", "lower", _AXIS, False, "Tremor adds crossings."),
    ("direction_changes", "Changes of direction", "Mean number of turns across the line.",
     "1", "lower", _AXIS, False, "Tremor adds turns."),
)  # fmt: skip
_BESIDE = "Beside it stands the middle half of the reaches: how unlike they are."
_PATHS = tuple(
    Measure(
        f"tapping.{name}",
        title,
        f"{meaning} {_BESIDE}",
        unit,
        direction,
        source,
        log_scale=log_scale,
        limits=limits,
        needs=f"{_AIR}; 8 reaches",
        detail=True,
        since=2,
        width="spread",
    )
    for name, title, meaning, unit, direction, source, log_scale, limits in _PATH_ROWS
)

_QUALITY = quality("tapping", trial="answered trials", value="end-point error")

TAPPING: tuple[Measure, ...] = (
    *_PRIMARY,
    *_ACCURACY,
    *_SPEED,
    *_SIDES,
    *_PATHS,
    *_QUALITY,
)
