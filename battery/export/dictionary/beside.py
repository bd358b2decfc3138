"""The tables beside the records: what was noted, answered, said later or checked."""

from __future__ import annotations

from typing import get_args

from battery.answers import MAX_RATING, MIN_RATING, MOMENTS, QUESTIONS
from battery.export.dictionary.columns import DAY, OF_BLOCK, UUID, Column, Key, Table, number
from battery.store import Exercise, HomeExerciseHand, HomeExerciseKind, MarkerKind
from battery.store.rows.device_checks import Edge

AMENDED = ("person", "hand", "helped", "excluded", "note")
MARKERS = Table(
    "markers",
    "Markers",
    "Dated events around a person that a change may go with. Notes are left out.",
    (
        Column("marker_id", "string", "The marker.", pattern=UUID),
        Column("person", "string", "The person."),
        Column("day", "integer", DAY, "d", "no visit yet"),
        Column("kind", "string", "What happened.", words=get_args(MarkerKind)),
    ),
    ("marker_id",),
    (Key("person", "people", "person"),),
)
PRACTICE = Table(
    "practice",
    "Home exercise",
    "Home exercise between visits, as the person reports it and as a timer on the tablet saw "
    "it. Both may tell of the same exercise; do not add them.",
    (
        Column("practice_id", "string", "The entry.", pattern=UUID),
        Column("person", "string", "The person."),
        Column("day", "integer", DAY, "d", "no visit yet"),
        Column(
            "kind",
            "string",
            "Said by the person, or timed by the tablet, which sees no exercise.",
            words=get_args(HomeExerciseKind),
        ),
        Column(
            "exercise",
            "string",
            "What it was: all that was agreed, one exercise, or a rest day on purpose.",
            words=get_args(Exercise),
        ),
        Column(
            "hand", "string", "Which hand.", "", "not said", words=get_args(HomeExerciseHand)
        ),
        number("minutes", "How long.", "min", "not said, or a rest day", minimum=0),
        Column(
            "symptoms",
            "integer",
            "How it felt afterwards: 0 none, 1 a little, 2 clear, 3 strong.",
            "",
            "not asked or not said",
            minimum=0,
            maximum=3,
        ),
        Column(
            "symptoms_before",
            "integer",
            "How it felt before, likewise. With 3 it was not begun.",
            "",
            "not asked or not said",
            minimum=0,
            maximum=3,
        ),
        Column(
            "clear_beats_per_min",
            "integer",
            "Of head turns the fastest beat at which sight stayed clear, as the person says; 0 "
            "at none. It is no measure of acuity: the speed of the head is not known.",
            "/min",
            "not asked or not said",
            minimum=0,
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
        Column("day", "integer", f"When it was said. {DAY}", "d", "no visit yet"),
        Column("field", "string", "What it changes.", words=AMENDED),
        Column("old", "string", "What held before.", missing="a note, left out"),
        Column("new", "string", "What holds from then on.", missing="a note, left out"),
    ),
    ("amendment_id",),
    (Key("visit_id", "visits", "visit_id"), OF_BLOCK),
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
        number("at_s", "When, from the start of the visit, by the wall clock.", "s"),
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
            minimum=MIN_RATING,
            maximum=MAX_RATING,
        ),
    ),
    ("answer_id",),
    (Key("visit_id", "visits", "visit_id"), OF_BLOCK),
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
        number("mm_per_px_x", "Scale of the x axis.", "mm/{px}", minimum=0),
        number("mm_per_px_y", "Scale of the y axis.", "mm/{px}", minimum=0),
        Column("source", "string", "What it was measured with.", words=("card", "ruler")),
    ),
    ("device", "number"),
    (_OF_DEVICE,),
)
LOOP_CHECKS = Table(
    "loop_checks",
    "Loop checks",
    "Each time the delay of a device was filmed, from the finger to light. It is contained in "
    "every reaction time of the device and taken off none.",
    (
        Column("device", "string", "The device."),
        Column("number", "integer", "Number of the check on the device, from 1.", minimum=1),
        Column(
            "edge",
            "string",
            "What the finger did: it came onto the glass, or left it.",
            words=get_args(Edge),
        ),
        Column("n_read", "integer", "Touches or lifts that were read.", minimum=3),
        number("mean_ms", "Mean delay.", "ms", minimum=0),
        number("sd_ms", "Its standard deviation.", "ms", minimum=0),
        number("low_ms", "Lower end of the 95 % interval of the mean.", "ms", minimum=0),
        number("high_ms", "Upper end of it.", "ms", minimum=0),
        number(
            "program_ms",
            "Of the delay, what the program itself took: from the report of the pointer to "
            "the picture handed over.",
            "ms",
            "not measured",
            minimum=0,
        ),
        number("camera_hz", "Rate of the camera, by the program's frames.", "Hz", minimum=0),
        Column(
            "frames",
            "string",
            "Frames of the film between finger and light, as they were read.",
            pattern=r"[0-9]+( [0-9]+)*",
        ),
        Column("method", "string", "How it was measured.", words=("film",)),
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
        number(
            "report_rate_hz", "Inverse of their median interval.", "Hz", _TOO_LITTLE, minimum=0
        ),
        number("longest_gap_ms", "Longest interval.", "ms", _TOO_LITTLE, minimum=0),
        number("wide_gaps", "Share of intervals above 50 ms.", "1", _TOO_LITTLE, minimum=0),
        number("frame_rate_hz", "Mean rate of frames.", "Hz", "no frames", minimum=0),
        number(
            "slow_frames",
            "Share of frames more than 34 ms after the one before.",
            "1",
            "no frames",
            minimum=0,
        ),
        number("flip_p99_ms", "99th percentile of a screen update.", "ms", "not measured"),
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
