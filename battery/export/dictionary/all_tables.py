"""The data dictionary: every table and column of the export.

Raw values keep the clock of the record: integer nanoseconds from the start of the block. What
is computed is in seconds and millimetres. Origin: the centre of the screen, x to the right, y
up, away from the person.
"""

from __future__ import annotations

from collections.abc import Mapping

from battery.export.dictionary.around_people import AROUND
from battery.export.dictionary.beside import (
    AMENDMENTS,
    ANSWERS,
    LOOP_CHECKS,
    MARKERS,
    PRACTICE,
    SCREEN_CHECKS,
    TIMING_CHECKS,
)
from battery.export.dictionary.columns import (
    BLOCK,
    BLOCK_OF_MANY,
    DAY,
    DELTA,
    OF_BLOCK,
    UUID,
    Column,
    Key,
    Table,
    number,
    time_ns,
)
from battery.export.dictionary.trials import TRIALS
from battery.scoring.flags import FLAGS
from tasks.contract import CONTACT_KINDS
from tasks.registry import TASKS

HEX_16 = r"[0-9a-f]{1,64}"
SIDES = ("left", "right")
HOURS = tuple(f"{hour:02d}-{hour + 3:02d}" for hour in range(0, 24, 3))
EVENT_KINDS = tuple(sorted(set().union(*(task.event_kinds for task in TASKS.values()))))


def _number_of(name: str, meaning: str) -> Column:
    return Column(name, "integer", meaning, minimum=0, encoding=DELTA)


PEOPLE = Table(
    "people",
    "People",
    "Who gave consent to research use, or as the selection says, under a code drawn at random.",
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
        Column("enrolled_day", "integer", f"Day of enrolment. {DAY}", "d", "no visit yet"),
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
        number(
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
SETTINGS = Table(
    "settings",
    "Settings",
    "What a plan fixes for the blocks of a task. With a block's own layout these are all the "
    "settings it was done with.",
    (
        Column("settings_id", "string", "Hash of task and content.", pattern=HEX_16),
        Column("task", "string", "The task.", words=TASKS.keys()),
        Column("content", "object", "The settings as JSON."),
    ),
    ("settings_id",),
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
        Column("day", "integer", DAY, "d"),
        Column("hour_bin", "string", "Local time of its start, from-to, hours.", words=HOURS),
        Column(
            "ending",
            "string",
            "How it ended.",
            missing="it was cut off and not continued",
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
        number("mm_per_px_x", "Scale of the x axis.", "mm/{px}", minimum=0),
        number("mm_per_px_y", "Scale of the y axis.", "mm/{px}", minimum=0),
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
        BLOCK,
        Column("visit_id", "string", "The visit.", pattern=UUID),
        Column("number", "integer", "Place in the visit, from 0.", minimum=0),
        Column("task", "string", "The task.", words=TASKS.keys()),
        Column("task_version", "integer", "Version of the task's rules.", minimum=1),
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
        number("start_s", "Its start, from the start of the visit, by the wall clock.", "s"),
        number("duration_s", "From its start to the last moment it knows.", "s", minimum=0),
        Column("n_samples", "integer", "Pointer reports in it.", minimum=0),
        Column("n_events", "integer", "Events in it.", minimum=0),
        Column("n_frames", "integer", "Frames in it.", minimum=0),
        Column(
            "input_type",
            "string",
            "What was pointed with.",
            words=("mouse", "touch", "mixed", "none"),
        ),
        Column("layout_seed", "integer", "Seed its layout was drawn from.", minimum=0),
        Column(
            "layout_hash",
            "string",
            "Hash of all its settings, those of the table settings and its own.",
            pattern=HEX_16,
        ),
        Column("settings_id", "string", "What of its settings the plan fixes.", pattern=HEX_16),
        Column(
            "layout",
            "object",
            "What of its settings was drawn for it, as JSON: geometry, times, labels.",
        ),
        Column(
            "sha256",
            "string",
            "Hash of the block as it stands here: recorded columns, samples, frames, events. "
            "It covers nothing that was left out.",
            pattern=HEX_16,
        ),
        Column("versions", "object", "Versions of what shaped the record, as JSON."),
        number("flip_p99_ms", "99th percentile of a screen update.", "ms", "not measured"),
        number(
            "stamp_gap_p99_ms",
            "99th percentile of the bound on a sample's stamp error.",
            "ms",
            "no sample",
            minimum=0,
        ),
        number(
            "report_rate_hz",
            "Inverse of the median interval between reports of motion.",
            "Hz",
            "too little motion",
            minimum=0,
        ),
        number("frame_rate_hz", "Mean rate of frames.", "Hz", "no frames", minimum=0),
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
    (Key("visit_id", "visits", "visit_id"), Key("settings_id", "settings", "settings_id")),
    in_parts=True,
)
SAMPLES = Table(
    "samples",
    "Samples",
    "Every pointer report as it was read, unaltered.",
    (
        BLOCK_OF_MANY,
        _number_of("sample", "Number of the report in its block, from 0."),
        time_ns("t_ns", "When it was read, from the start of the block."),
        Column(
            "kind",
            "string",
            "Motion without contact, start of contact, motion in contact, end of contact.",
            words=CONTACT_KINDS,
            arrow="words",
        ),
        Column(
            "pointer",
            "integer",
            "0 for a mouse or pen; 1, 2, ... for fingers in the order they came.",
            arrow="int16",
        ),
        number("x_mm", "Position.", "mm", "the device gave none"),
        number("y_mm", "Position.", "mm", "the device gave none"),
        Column(
            "pressure",
            "number",
            "As the driver gives it; no unit can be relied on.",
            "",
            "the device or its driver gives none",
            arrow="float32",
        ),
        time_ns("stamp_gap_ns", "Bound on the stamp: it came within this time before t_ns."),
    ),
    ("block_id", "sample"),
    (OF_BLOCK,),
    in_parts=True,
)
EVENTS = Table(
    "events",
    "Events",
    "What the task decided, at the moment it was due.",
    (
        BLOCK_OF_MANY,
        _number_of("event", "Number of the event in its block, from 0."),
        time_ns("t_ns", "When it was due, or the stamp of the contact that caused it."),
        Column("kind", "string", "What happened.", words=EVENT_KINDS, arrow="words"),
        Column("trial", "integer", "The trial, from 0; -1 outside any.", minimum=-1),
        Column(
            "label",
            "string",
            "Side, node or part it concerns.",
            missing="it has none",
            arrow="words",
        ),
        number("x_mm", "Place it concerns.", "mm", "it has none"),
        number("y_mm", "Place it concerns.", "mm", "it has none"),
        number("r_mm", "Radius it concerns.", "mm", "it has none", minimum=0),
    ),
    ("block_id", "event"),
    (OF_BLOCK,),
    in_parts=True,
)
FRAMES = Table(
    "frames",
    "Frames",
    "When the screen was drawn. Light comes later, by the display's own latency.",
    (
        BLOCK_OF_MANY,
        _number_of("frame", "Number of the frame in its block, from 0."),
        time_ns("drawn_ns", "The moment the picture shows, from the start of the block."),
        time_ns("flip_ns", "When the call that showed it returned."),
    ),
    ("block_id", "frame"),
    (OF_BLOCK,),
    in_parts=True,
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
        BLOCK,
        Column("measure", "string", "The measure."),
        number("value", "In the measure's unit.", "", "see reason"),
        Column("n", "integer", "Trials, passes, links or windows it stands on.", minimum=0),
        number(
            "low",
            "Lower end of the 95 % interval, or the lower quartile where the measure says so.",
            "",
            "none is computed",
        ),
        number(
            "high",
            "Upper end of the 95 % interval, or the upper quartile where the measure says so.",
            "",
            "none is computed",
        ),
        Column(
            "reason",
            "string",
            "Why the value is missing, or what to keep in mind.",
            missing="nothing to say",
        ),
        Column("scoring_version", "integer", "Version of the scoring.", minimum=1),
    ),
    ("block_id", "measure"),
    (OF_BLOCK, Key("measure", "measures", "measure")),
    in_parts=True,
)

TABLES: Mapping[str, Table] = {
    table.name: table
    for table in (
        PEOPLE,
        DEVICES,
        PLANS,
        SETTINGS,
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
        LOOP_CHECKS,
        *AROUND,
    )
}
