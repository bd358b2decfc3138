"""The data dictionary: every table and column of the export, defined here and nowhere else.

Raw values keep the clock of the record: integer nanoseconds from the start of the block. What
is computed is in seconds and millimetres. Origin: the centre of the screen, x to the right, y
up, away from the person.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import get_args

from battery.answers import LEAST, MOMENTS, MOST, QUESTIONS
from battery.export.columns import Column, Key, Table
from battery.scoring.flags import FLAGS
from battery.store import Exercise, MarkerKind, PracticeHand, PracticeKind
from tasks.contract import CONTACT_KINDS
from tasks.registry import TASKS

UUID = r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}"
HEX_16 = r"[0-9a-f]{1,64}"
SIDES = ("left", "right")
HOURS = tuple(f"{hour:02d}-{hour + 3:02d}" for hour in range(0, 24, 3))
EVENT_KINDS = tuple(sorted(set().union(*(task.event_kinds for task in TASKS.values()))))
AMENDED = ("person", "hand", "helped", "excluded", "note")
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

_BLOCK = Column("block_id", "string", "The block.", pattern=UUID)
_OF_BLOCK = Key("block_id", "blocks", "block_id")
_DAY = (
    "Days, in local dates, from the person's day 0: the first visit of the baseline, or the "
    "first visit while there is no baseline."
)


def _time(name: str, meaning: str) -> Column:
    return Column(name, "integer", meaning, "ns", minimum=0)


def _number(name: str, meaning: str, unit: str, missing: str = "", **limits: float) -> Column:
    return Column(name, "number", meaning, unit, missing, **limits)  # type: ignore[arg-type]


PEOPLE = Table(
    "people",
    "People",
    "Everybody who has been enrolled and has not withdrawn, under a code drawn at random.",
    (
        Column("person", "string", "Code of the person, drawn at random.", pattern="[0-9A-Z]+"),
        Column("dominant_hand", "string", "Hand written with.", words=SIDES),
        Column(
            "affected_side",
            "string",
            "More affected side.",
            words=("left", "right", "both", "unknown"),
        ),
        Column("first_hand", "string", "Hand tested first in every visit.", words=SIDES),
        Column("enrolled_day", "integer", f"Day of enrolment. {_DAY}", "d", "no visit yet"),
        Column(
            "n_familiarisation",
            "integer",
            "First visits left out of the baseline, fixed at enrolment.",
            minimum=0,
        ),
        Column(
            "n_baseline",
            "integer",
            "Visits of the baseline after those, fixed at enrolment.",
            minimum=0,
        ),
        Column("n_visits", "integer", "Visits in this export.", minimum=0),
        Column(
            "day_zero",
            "string",
            "What day 0 is for this person.",
            words=("first_baseline", "first_visit", "none"),
        ),
    ),
    ("person",),
)
DEVICES = Table(
    "devices",
    "Devices",
    "What the visits were done on, under an alias made for this export; no serial numbers.",
    (
        Column("device", "string", "Alias of the device.", pattern=r"D[0-9]{2,}"),
        Column(
            "system",
            "string",
            "Family of its operating system.",
            words=("linux", "windows", "macos", "simulated", "other"),
        ),
        _number(
            "display_latency_ms",
            "Time from a flip to light, as measured.",
            "ms",
            "not measured",
            minimum=0,
        ),
    ),
    ("device",),
)
PLANS = Table(
    "plans",
    "Plans",
    "What was to be done in a visit. Visits are compared only under the same plan.",
    (
        Column("plan_hash", "string", "Hash of everything in the plan.", pattern=HEX_16),
        Column(
            "name",
            "string",
            "Name of a plan that comes with the program; 'own' for one made in the clinic.",
            pattern=r"[a-z][a-z0-9_-]*",
        ),
        Column("content", "object", "The plan without its name, as JSON."),
    ),
    ("plan_hash",),
)
VISITS = Table(
    "visits",
    "Visits",
    "One sitting of one person.",
    (
        Column("visit_id", "string", "The visit.", pattern=UUID),
        Column("person", "string", "Whose visit it is, amendments included."),
        Column("sequence", "integer", "Number of the visit as recorded, from 1.", minimum=1),
        Column("plan_hash", "string", "The plan."),
        Column("device", "string", "The device."),
        Column("day", "integer", _DAY, "d"),
        Column("hour_bin", "string", "Local time of its start, from-to, hours.", words=HOURS),
        Column(
            "ending",
            "string",
            "How it ended.",
            missing="it was cut off and not gone on with",
            words=("finished", "stopped", "other"),
        ),
        Column("excluded", "boolean", "Whether an amendment leaves it out."),
        Column(
            "origin",
            "string",
            "Where its signals come from.",
            words=("stage", "simulated", "import"),
        ),
        Column("width_px", "integer", "Width of the drawing area.", "{px}", minimum=1),
        Column("height_px", "integer", "Height of the drawing area.", "{px}", minimum=1),
        _number("mm_per_px_x", "Scale of the x axis.", "mm/{px}", minimum=0),
        _number("mm_per_px_y", "Scale of the y axis.", "mm/{px}", minimum=0),
        Column(
            "scale_source",
            "string",
            "How the scale was found; 'guess' is 96 pixels to the inch.",
            words=("card", "ruler", "guess", "virtual"),
        ),
        Column("software", "string", "Program and version that recorded it."),
        Column("record_version", "integer", "Version of the record's form.", minimum=1),
        Column("protocol_version", "integer", "Version of the test's protocol.", minimum=1),
    ),
    ("visit_id",),
    (
        Key("person", "people", "person"),
        Key("plan_hash", "plans", "plan_hash"),
        Key("device", "devices", "device"),
    ),
)
BLOCKS = Table(
    "blocks",
    "Blocks",
    "One task with one hand, about a minute. Every block is kept, however it ended.",
    (
        _BLOCK,
        Column("visit_id", "string", "The visit.", pattern=UUID),
        Column("number", "integer", "Place in the visit, from 0.", minimum=0),
        Column("task", "string", "The task.", words=tuple(sorted(TASKS))),
        Column("hand", "string", "Hand it was done with, amendments included.", words=SIDES),
        Column("hand_recorded", "string", "Hand that was asked for.", words=SIDES),
        Column("phase", "string", "Practice or test.", words=("practice", "test")),
        Column(
            "ending",
            "string",
            "How it ended; only a finished block is scored.",
            words=("finished", "stopped", "interrupted"),
        ),
        Column("excluded", "boolean", "Whether an amendment leaves it out."),
        Column(
            "flags",
            "string",
            f"Validity flags with a blank between: {', '.join(FLAGS)}.",
            missing="no flag was raised",
            pattern=r"[a-z_]+( [a-z_]+)*",
        ),
        _number("start_s", "Its start, from the start of the visit, by the wall clock.", "s"),
        _number("duration_s", "From its start to the last moment it knows.", "s", minimum=0),
        Column("n_samples", "integer", "Pointer reports in it.", minimum=0),
        Column(
            "input_type",
            "string",
            "What was pointed with.",
            words=("mouse", "touch", "mixed", "none"),
        ),
        Column("layout_seed", "integer", "Seed its layout was drawn from.", minimum=0),
        Column("layout_hash", "string", "Hash of its settings.", pattern=HEX_16),
        Column("settings", "object", "The task's settings as JSON: geometry, times, labels."),
        Column("sha256", "string", "Hash of the raw record in the store.", pattern=HEX_16),
        Column("versions", "object", "Versions of what shaped the record, as JSON."),
        _number("flip_p99_ms", "99th percentile of a screen update.", "ms", "not measured"),
        _number(
            "stamp_gap_p99_ms",
            "99th percentile of the bound on a sample's stamp error.",
            "ms",
            "no sample",
            minimum=0,
        ),
        _number(
            "report_rate_hz",
            "Inverse of the median interval between reports of motion.",
            "Hz",
            "too little motion",
            minimum=0,
        ),
        _number("frame_rate_hz", "Mean rate of frames.", "Hz", "no frames", minimum=0),
        Column(
            "slow_frames",
            "integer",
            "Frames more than 34 ms after the one before.",
            "",
            "no frames",
            minimum=0,
        ),
    ),
    ("block_id",),
    (Key("visit_id", "visits", "visit_id"),),
)
TRIALS = Table(
    "trials",
    "Trials",
    "One reach (tapping), pass (slide), part (pursuit) or link (trail) in each row.",
    (
        _BLOCK,
        Column("trial", "integer", "Number of the trial in its block, from 0.", minimum=0),
        Column(
            "label",
            "string",
            "Side (tapping, slide), name of the part (pursuit), label of the node (trail).",
            missing="it has none",
        ),
        Column("outcome", "string", "How it came out.", words=OUTCOMES),
        _number("start_s", "Its start, from the start of the block.", "s", NO_SUCH_CUE),
        _number("end_s", "Its end, from the start of the block.", "s", NO_SUCH_CUE),
        _number("target_x_mm", "Centre of the target.", "mm", NO_SUCH_CUE),
        _number("target_y_mm", "Centre of the target.", "mm", NO_SUCH_CUE),
        _number("end_x_mm", "First contact after lift-off.", "mm", NO_SUCH_CUE),
        _number("end_y_mm", "First contact after lift-off.", "mm", NO_SUCH_CUE),
        _number("radial_error_mm", "From there to the target's centre.", "mm", NO_SUCH_CUE),
        _number("error_along_mm", "End beyond the target along the reach.", "mm", NO_SUCH_CUE),
        _number("error_across_mm", "End to the left of the reach.", "mm", NO_SUCH_CUE),
        _number("reaction_time_s", "From the cue shown to lift-off.", "s", NO_SUCH_CUE),
        _number("movement_time_s", "From lift-off to the contact.", "s", NO_SUCH_CUE),
        *(
            _number(f"reach_{name}", f"{what} of the reach.", unit, NOT_IN_THE_AIR)
            for name, what, unit in REACH
        ),
        _number("extent_mm", "How far out the chip was taken.", "mm", NO_SUCH_CUE),
        _number("mean_speed_mm_s", "Path along the track over its time.", "mm/s", NO_SUCH_CUE),
        *(
            _number(f"{name}_{way}", f"{what} on the way {way}.", "1", LOST_ON_THE_WAY)
            for name, what in WAYS
            for way in ("out", "back")
        ),
        _number("rmse_mm", "Root mean square distance from the chip.", "mm", NO_SUCH_CUE),
        _number("contact_loss", "Share of the time without contact.", "1", NO_SUCH_CUE),
        _number("delay_s", "Delay behind the chip.", "s", NO_SUCH_CUE),
        _number("gain", "Size of the movement over the chip's.", "1", NO_SUCH_CUE),
        _number("search_time_s", "Before moving, in pauses and detours.", "s", NO_SUCH_CUE),
        _number("travel_time_s", "The rest of the link's time.", "s", NO_SUCH_CUE),
        _number("path_mm", "Length of the path drawn.", "mm", NO_SUCH_CUE),
        _number("travel_mm", "Length of its part while travelling.", "mm", NO_SUCH_CUE),
        _number("chord_mm", "Straight way from capture to capture.", "mm", NO_SUCH_CUE),
        _number("straight_mm", "Distance between the link's nodes.", "mm", NO_SUCH_CUE),
        *(Column(name, "integer", what, "", NO_SUCH_CUE, minimum=0) for name, what in COUNTS),
    ),
    ("block_id", "trial"),
    (_OF_BLOCK,),
)
SAMPLES = Table(
    "samples",
    "Samples",
    "Every pointer report as it was read, unaltered.",
    (
        _BLOCK,
        Column("sample", "integer", "Number of the report in its block, from 0.", minimum=0),
        _time("t_ns", "When it was read, from the start of the block."),
        Column(
            "kind",
            "string",
            "Motion without contact, start of contact, motion in contact, end of contact.",
            words=CONTACT_KINDS,
        ),
        Column(
            "pointer",
            "integer",
            "0 for a mouse or pen; 1, 2, ... for fingers in the order they came.",
            arrow="int16",
        ),
        _number("x_mm", "Position.", "mm", "the device gave none"),
        _number("y_mm", "Position.", "mm", "the device gave none"),
        Column(
            "pressure",
            "number",
            "As the driver gives it; no unit can be relied on.",
            "",
            "the device or its driver gives none",
            arrow="float32",
        ),
        _time("stamp_gap_ns", "Bound on the stamp: it came within this time before t_ns."),
    ),
    ("block_id", "sample"),
    (_OF_BLOCK,),
)
EVENTS = Table(
    "events",
    "Events",
    "What the task decided, at the moment it was due.",
    (
        _BLOCK,
        Column("event", "integer", "Number of the event in its block, from 0.", minimum=0),
        _time("t_ns", "When it was due, or the stamp of the contact that caused it."),
        Column("kind", "string", "What happened.", words=EVENT_KINDS),
        Column("trial", "integer", "The trial, from 0; -1 outside any.", minimum=-1),
        Column("label", "string", "Side, node or part it concerns.", missing="it has none"),
        _number("x_mm", "Place it concerns.", "mm", "it has none"),
        _number("y_mm", "Place it concerns.", "mm", "it has none"),
        _number("r_mm", "Radius it concerns.", "mm", "it has none", minimum=0),
    ),
    ("block_id", "event"),
    (_OF_BLOCK,),
)
FRAMES = Table(
    "frames",
    "Frames",
    "When the screen was drawn. Light comes later, by the display's own latency.",
    (
        _BLOCK,
        Column("frame", "integer", "Number of the frame in its block, from 0.", minimum=0),
        _time("drawn_ns", "The moment the picture shows, from the start of the block."),
        _time("flip_ns", "When the call that showed it returned."),
    ),
    ("block_id", "frame"),
    (_OF_BLOCK,),
)
MEASURES = Table(
    "measures",
    "Measures",
    "What each score is.",
    (
        Column(
            "measure", "string", "The measure: task and name.", pattern=r"[a-z]+\.[a-z0-9_]+"
        ),
        Column("task", "string", "The task."),
        Column("title", "string", "As on the page."),
        Column("meaning", "string", "What is computed from what."),
        Column("unit", "string", "Unit, UCUM.", missing="not defined in this version"),
        Column(
            "direction",
            "string",
            "Which way is better.",
            words=("lower", "higher", "toward_one", "toward_zero", "none"),
        ),
        Column("is_primary", "boolean", "Whether it is the one named in advance."),
        Column("log_scale", "boolean", "Whether visits are compared on the log scale."),
        Column("source", "string", "Where the definition comes from.", missing="none stated"),
        Column("needs", "string", "What a record must hold for it.", missing="none stated"),
        Column("limits", "string", "What it cannot tell.", missing="none stated"),
        Column(
            "since",
            "integer",
            "Scoring version in which its definition changed last.",
            missing="not defined in this version",
            minimum=1,
        ),
    ),
    ("measure",),
)
SCORES = Table(
    "scores",
    "Scores",
    "Computed from the raw record; can be computed again from samples, events and frames.",
    (
        _BLOCK,
        Column("measure", "string", "The measure."),
        _number("value", "In the measure's unit.", "", "see reason"),
        Column("n", "integer", "Trials, passes, links or windows it stands on.", minimum=0),
        _number("low", "Lower end of the 95 % interval.", "", "none is computed"),
        _number("high", "Upper end of the 95 % interval.", "", "none is computed"),
        Column(
            "reason",
            "string",
            "Why the value is missing, or what to keep in mind.",
            missing="nothing to say",
        ),
        Column("scoring_version", "integer", "Version of the scoring.", minimum=1),
    ),
    ("block_id", "measure"),
    (_OF_BLOCK, Key("measure", "measures", "measure")),
)
MARKERS = Table(
    "markers",
    "Markers",
    "Dated events around a person that a change may go with. Notes are left out.",
    (
        Column("marker_id", "string", "The marker.", pattern=UUID),
        Column("person", "string", "The person."),
        Column("day", "integer", _DAY, "d", "no visit yet"),
        Column("kind", "string", "What happened.", words=get_args(MarkerKind)),
    ),
    ("marker_id",),
    (Key("person", "people", "person"),),
)
PRACTICE = Table(
    "practice",
    "Practice",
    "Practice between visits, as the person reports it and as a timer on the tablet saw it. "
    "Both may tell of the same practice; do not add them.",
    (
        Column("practice_id", "string", "The entry.", pattern=UUID),
        Column("person", "string", "The person."),
        Column("day", "integer", _DAY, "d", "no visit yet"),
        Column(
            "kind",
            "string",
            "Said by the person, or timed by the tablet, which sees no exercise.",
            words=get_args(PracticeKind),
        ),
        Column(
            "exercise",
            "string",
            "What it was: all that was agreed, one exercise, or a rest day on purpose.",
            words=get_args(Exercise),
        ),
        Column("hand", "string", "Which hand.", "", "not said", words=get_args(PracticeHand)),
        _number("minutes", "How long.", "min", "not said, or a rest day", minimum=0),
        Column(
            "symptoms",
            "integer",
            "How it felt afterwards: 0 none, 1 a little, 2 clear, 3 strong.",
            "",
            "not asked or not said",
            minimum=0,
            maximum=3,
        ),
    ),
    ("practice_id",),
    (Key("person", "people", "person"),),
)
AMENDMENTS = Table(
    "amendments",
    "Amendments",
    "What was said later about a visit or block. Authors, reasons and notes are left out.",
    (
        Column("amendment_id", "string", "The amendment.", pattern=UUID),
        Column("visit_id", "string", "The visit it is about.", missing="about a block"),
        Column("block_id", "string", "The block it is about.", missing="about a visit"),
        Column("day", "integer", f"When it was said. {_DAY}", "d", "no visit yet"),
        Column("field", "string", "What it changes.", words=AMENDED),
        Column("old", "string", "What held before.", missing="a note, left out"),
        Column("new", "string", "What holds from then on.", missing="a note, left out"),
    ),
    ("amendment_id",),
    (Key("visit_id", "visits", "visit_id"), _OF_BLOCK),
)
ANSWERS = Table(
    "answers",
    "Answers",
    "What people were asked around the blocks. Of two answers to a question the later counts.",
    (
        Column("answer_id", "string", "The answer.", pattern=UUID),
        Column("visit_id", "string", "The visit.", pattern=UUID),
        Column("number", "integer", "Place among the visit's answers, from 0.", minimum=0),
        Column("block_id", "string", "The block it is about.", missing="about the visit"),
        _number("at_s", "When, from the start of the visit, by the wall clock.", "s"),
        Column(
            "moment",
            "string",
            "Before the blocks, after one of them, when the person stopped, after the visit.",
            words=MOMENTS,
        ),
        Column(
            "question",
            "string",
            " ".join(f"{q.name}: {q.meaning}" for q in QUESTIONS.values()),
            words=tuple(QUESTIONS),
        ),
        Column("value", "string", "The answer as it was given."),
        Column(
            "level",
            "integer",
            "The answer on the scale of 0 (not at all) to 10 (as bad as can be).",
            missing="the question has words",
            minimum=LEAST,
            maximum=MOST,
        ),
    ),
    ("answer_id",),
    (Key("visit_id", "visits", "visit_id"), _OF_BLOCK),
)
_OF_DEVICE = Key("device", "devices", "device")
SCREEN_CHECKS = Table(
    "screen_checks",
    "Screen checks",
    "Each time a screen was measured.",
    (
        Column("device", "string", "The device."),
        Column("number", "integer", "Number of the check on the device, from 1.", minimum=1),
        Column("width_px", "integer", "Width of the screen.", "{px}", minimum=1),
        Column("height_px", "integer", "Height of the screen.", "{px}", minimum=1),
        _number("mm_per_px_x", "Scale of the x axis.", "mm/{px}", minimum=0),
        _number("mm_per_px_y", "Scale of the y axis.", "mm/{px}", minimum=0),
        Column("source", "string", "What it was measured with.", words=("card", "ruler")),
    ),
    ("device", "number"),
    (_OF_DEVICE,),
)
_TOO_LITTLE = "too little motion"
TIMING_CHECKS = Table(
    "timing_checks",
    "Timing checks",
    "Each time pointer and picture of a device were checked.",
    (
        Column("device", "string", "The device."),
        Column("number", "integer", "Number of the check on the device, from 1.", minimum=1),
        Column(
            "input_type",
            "string",
            "What was pointed with.",
            words=("mouse", "touch", "mixed", "none"),
        ),
        Column("n_reports", "integer", "Reports of motion.", minimum=0),
        _number(
            "report_rate_hz", "Inverse of their median interval.", "Hz", _TOO_LITTLE, minimum=0
        ),
        _number("longest_gap_ms", "Longest interval.", "ms", _TOO_LITTLE, minimum=0),
        _number("wide_gaps", "Share of intervals above 50 ms.", "1", _TOO_LITTLE, minimum=0),
        _number("frame_rate_hz", "Mean rate of frames.", "Hz", "no frames", minimum=0),
        _number(
            "slow_frames",
            "Share of frames more than 34 ms after the one before.",
            "1",
            "no frames",
            minimum=0,
        ),
        _number("flip_p99_ms", "99th percentile of a screen update.", "ms", "not measured"),
        Column(
            "flags",
            "string",
            "Validity flags it raises for blocks done later on the device.",
            missing="no flag was raised",
            pattern=r"[a-z_]+( [a-z_]+)*",
        ),
    ),
    ("device", "number"),
    (_OF_DEVICE,),
)

TABLES: Mapping[str, Table] = {
    table.name: table
    for table in (
        PEOPLE,
        DEVICES,
        PLANS,
        VISITS,
        BLOCKS,
        TRIALS,
        SAMPLES,
        EVENTS,
        FRAMES,
        MEASURES,
        SCORES,
        MARKERS,
        PRACTICE,
        AMENDMENTS,
        ANSWERS,
        SCREEN_CHECKS,
        TIMING_CHECKS,
    )
}
