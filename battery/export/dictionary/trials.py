"""The columns of a trial: what each task says of it, and of each reach and way in it."""

from __future__ import annotations

from battery.export.dictionary.columns import BLOCK, OF_BLOCK, Column, Table, number

OUTCOMES = ("done", "hit", "miss", "no_answer", "unfinished")
NO_SUCH_CUE = "the trial of this task has none, or it was not reached"
NOT_IN_THE_AIR = "a finger is not seen in the air, or the reach was too short or had a gap"
LOST_ON_THE_WAY = "no such way in this task, or contact was lost on it"
REACH = (
    ("path_ratio", "Length over chord", "1"),
    ("submovements", "Peaks of speed", "1"),
    ("sparc", "Spectral arc length", "1"),
    ("axis_variability_mm", "Scatter about the straight line", "mm"),
    ("axis_error_mm", "Mean distance from the straight line", "mm"),
    ("axis_offset_mm", "Mean signed distance from the straight line", "mm"),
    ("axis_crossings", "Crossings of the straight line", "1"),
    ("direction_changes", "Turns across the straight line", "1"),
)
WAYS = (
    ("sparc", "Spectral arc length"),
    ("ldlj", "Log dimensionless jerk"),
    ("submovements", "Peaks of speed"),
    ("path_ratio", "Length over chord"),
    ("stops", "Stops"),
    ("reversals", "Reversals"),
)
COUNTS = (
    ("n_errors", "Wrong nodes captured."),
    ("n_set_errors", "Wrong nodes captured of the kind that was not due."),
    ("n_slips", "Wrong nodes left before they were captured."),
    ("n_lifts", "Times contact was lost."),
)

TRIALS = Table(
    "trials",
    "Trials",
    "One reach (tapping), pass (slide), part (pursuit) or link (trail) in each row.",
    (
        BLOCK,
        Column("trial", "integer", "Number of the trial in its block, from 0.", minimum=0),
        Column(
            "label",
            "string",
            "Side (tapping, slide), name of the part (pursuit), label of the node (trail).",
            missing="it has none",
        ),
        Column("outcome", "string", "How it came out.", words=OUTCOMES),
        number("start_s", "Its start, from the start of the block.", "s", NO_SUCH_CUE),
        number("end_s", "Its end, from the start of the block.", "s", NO_SUCH_CUE),
        number("target_x_mm", "Centre of the target.", "mm", NO_SUCH_CUE),
        number("target_y_mm", "Centre of the target.", "mm", NO_SUCH_CUE),
        number("end_x_mm", "First contact after lift-off.", "mm", NO_SUCH_CUE),
        number("end_y_mm", "First contact after lift-off.", "mm", NO_SUCH_CUE),
        number("radial_error_mm", "From there to the target's centre.", "mm", NO_SUCH_CUE),
        number("error_along_mm", "End beyond the target along the reach.", "mm", NO_SUCH_CUE),
        number("error_across_mm", "End to the left of the reach.", "mm", NO_SUCH_CUE),
        number("reaction_time_s", "From the cue shown to lift-off.", "s", NO_SUCH_CUE),
        number("movement_time_s", "From lift-off to the contact.", "s", NO_SUCH_CUE),
        *(
            number(f"reach_{name}", f"{what} of the reach.", unit, NOT_IN_THE_AIR)
            for name, what, unit in REACH
        ),
        number("extent_mm", "How far out the chip was taken.", "mm", NO_SUCH_CUE),
        number("mean_speed_mm_s", "Path along the track over its time.", "mm/s", NO_SUCH_CUE),
        *(
            number(f"{name}_{way}", f"{what} on the way {way}.", "1", LOST_ON_THE_WAY)
            for name, what in WAYS
            for way in ("out", "back")
        ),
        number("rmse_mm", "Root mean square distance from the chip.", "mm", NO_SUCH_CUE),
        number("contact_loss", "Share of the time without contact.", "1", NO_SUCH_CUE),
        number("delay_s", "Delay behind the chip.", "s", NO_SUCH_CUE),
        number("gain", "Size of the movement over the chip's.", "1", NO_SUCH_CUE),
        number("search_time_s", "Before moving, in pauses and detours.", "s", NO_SUCH_CUE),
        number("travel_time_s", "The rest of the link's time.", "s", NO_SUCH_CUE),
        number("path_mm", "Length of the path drawn.", "mm", NO_SUCH_CUE),
        number("travel_mm", "Length of its part while travelling.", "mm", NO_SUCH_CUE),
        number("chord_mm", "Straight way from capture to capture.", "mm", NO_SUCH_CUE),
        number("straight_mm", "Distance between the link's nodes.", "mm", NO_SUCH_CUE),
        *(Column(name, "integer", what, "", NO_SUCH_CUE, minimum=0) for name, what in COUNTS),
    ),
    ("block_id", "trial"),
    (OF_BLOCK,),
    in_parts=True,
)
