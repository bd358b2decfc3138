"""What the sidecars of a BIDS dataset say; columns come from the one dictionary."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from battery.answers import ASKED_TWICE, QUESTIONS
from battery.export.dictionary.all_tables import EVENTS, SCORES
from battery.export.dictionary.columns import Column
from battery.export.dictionary.trials import TRIALS

BIDS_VERSION = "1.10.0"
# Channels in the order of the columns of a motion file: name, component, type, point, unit.
CHANNELS = (
    ("latency", "n/a", "LATENCY", "n/a", "s", "time of the report from the first one"),
    ("pointer_x", "x", "POS", "pointer", "m", "place on the glass, to the right"),
    ("pointer_y", "y", "POS", "pointer", "m", "place on the glass, away from the person"),
    ("contact", "n/a", "MISC", "pointer", "n/a", "1 in contact or pressed, 0 not"),
    ("pointer", "n/a", "MISC", "n/a", "n/a", "0 mouse or pen, 1 and up fingers in order"),
    ("t_ns", "n/a", "MISC", "n/a", "ns", "exact time of the report from the block's start"),
    ("stamp_gap_ns", "n/a", "MISC", "n/a", "ns", "bound on the error of the time"),
    ("kind", "n/a", "MISC", "n/a", "n/a", "0 motion without contact, 1 its start, 2 motion in "
     "contact, 3 its end"),
    ("pressure", "n/a", "MISC", "n/a", "n/a", "as the driver gives it; no unit"),
)  # fmt: skip
STIM_HZ = 100.0
MOVES = frozenset({"pursuit"})  # tasks in which something moves by itself
CHANNEL_COLUMNS = (
    "name", "component", "type", "tracked_point", "units", "reference_frame", "description",
)  # fmt: skip
TASKS = {
    "tapping": (
        "Hold the home pad; the next target appears on the other side; on the cue lift, touch "
        "it and return. Accuracy before speed.",
        "Keep your finger on the lower ring. Look at the new one. When it fills with colour, "
        "touch the middle of it.",
    ),
    "pursuit": (
        "Press the chip and keep the finger on it while it moves along a line: first a single "
        "sine, then a sum of sines.",
        "Put your finger on the disc and keep it there. The disc moves. Follow it with your "
        "eyes and your finger.",
    ),
    "slide": (
        "Touch the fixed target, then drag the chip along a straight track to the side and "
        "back at one's own pace; sides alternate.",
        "Touch the upper disc. Then put your finger on the lower one. Slide it to the side as "
        "far as is comfortable, then back.",
    ),
    "trail": (
        "Drag the chip from node to node, in order of numbers, or of numbers and letters in "
        "turn.",
        "Put your finger on the filled circle. Slide to the next one. The order is 1, 2, 3. "
        "With letters it is 1, A, 2, B.",
    ),
}
README = """\
Records of a test of hand-eye coordination on a screen: every pointer report (motion), what the
task decided (events) and one row a trial (beh). Written by coordination-battery from its store.

De-identified: random codes, days shifted to before 1925 for each person (the weekday is kept),
hours rounded down to the start of three; no free text, no serial numbers, no names.

Motion files have no header row; their columns stand in the channels file at the top. Reports
come when the pointer moves, unevenly; the column `latency` holds their times, and
SamplingFrequency is only their usual rate. Latencies, onsets of events and StartTime of stim
files count from the first report of the motion file. Positions are on the glass, in metres,
from the middle of the screen, x to the right and y away from the person (the glass flat in
front). A touch screen reports no path while the finger is in the air.

A block's file is named by session, task (its practice apart) and tracking system: the pointer
in the left (handL) or right (handR) hand, and the number of the recording, 01 unless it was
repeated. What is the same in all files of a task stands once at the top (inheritance); a
motion sidecar holds the block's own settings, seed and scale. The path of a chip that moves by
itself is in `_stim`; when the screen was drawn is in `sourcedata`, scores are in
`derivatives/scores`.
"""


def column_json(columns: Iterable[Column]) -> dict[str, Any]:
    """Describe columns of the dictionary as a sidecar does."""
    told: dict[str, Any] = {}
    for column in columns:
        entry: dict[str, Any] = {"Description": column.meaning}
        if column.unit and column.unit != "1":
            entry["Units"] = column.unit
        if column.words:
            entry["Levels"] = {word: word.replace("_", " ") for word in column.words}
        told[column.name] = entry
    return told


def trial_columns() -> tuple[Column, ...]:
    """Columns of a trial beyond the identifiers that file names hold."""
    return tuple(c for c in TRIALS.columns if c.name not in ("block_id", "outcome"))


def event_columns() -> tuple[Column, ...]:
    """Columns of an event beyond its time and kind."""
    return tuple(
        c for c in EVENTS.columns if c.name not in ("block_id", "event", "t_ns", "kind")
    )


def trial_names() -> tuple[str, ...]:
    """Columns of a file of trials, in order."""
    return ("trial_type", "response_time", "outcome", *(c.name for c in trial_columns()))


def event_names() -> tuple[str, ...]:
    """Columns of a file of events, in order."""
    return ("onset", "duration", "trial_type", *(c.name for c in event_columns()))


def score_names() -> tuple[str, ...]:
    """Columns of a file of scores, in order."""
    return tuple(c.name for c in SCORES.columns if c.name != "block_id")


def label(task: str, phase: str) -> str:
    """Return the label of a task, or of its practice."""
    return task if phase == "test" else f"{task}practice"


def task_json(task: str, label: str) -> dict[str, Any]:
    """Say what a task is; of a practice it says so by its label."""
    return {
        "TaskName": label,
        "TaskDescription": TASKS[task][0],
        "Instructions": TASKS[task][1],
    }


def motion_json(task: str, label: str, system: str) -> dict[str, Any]:
    """Say what all motion files of a task have in common."""
    types = [channel[2] for channel in CHANNELS]
    return task_json(task, label) | {
        "TrackingSystemName": system,
        "TrackedPointsCount": 1,
        "MotionChannelCount": len(CHANNELS),
        **{f"{t}ChannelCount": types.count(t) for t in ("POS", "LATENCY", "MISC")},
    }


def beh_json(task: str, label: str) -> dict[str, Any]:
    """Describe the trials of a task."""
    return (
        task_json(task, label)
        | {
            "trial_type": {"Description": "Side, part or node the trial is about."},
            "response_time": {"Description": "From the cue shown to lift-off.", "Units": "s"},
            "outcome": {"Description": "How it came out."},
        }
        | column_json(trial_columns())
    )


def events_json(task: str, label: str) -> dict[str, Any]:
    """Describe the events of a task."""
    told = {"trial_type": {"Description": "What happened in the task."}}
    return task_json(task, label) | told | column_json(event_columns())


def stim_json(task: str, label: str, start_s: float) -> dict[str, Any]:
    """Describe the path of the chip."""
    return task_json(task, label) | {
        "SamplingFrequency": STIM_HZ,
        "StartTime": start_s,
        "Columns": ["chip_x", "chip_y"],
        "chip_x": {"Description": "Centre of the chip as shown, to the right.", "Units": "m"},
        "chip_y": {"Description": "Centre of the chip, away from the person.", "Units": "m"},
    }


# Of a two-dimensional frame the third axis is not used; nothing turns, so no rule of rotation.
CHANNELS_JSON: dict[str, Any] = {
    "reference_frame": {
        "Description": "Frame of the position.",
        "Levels": {
            "screen": {
                "SpatialAxes": "RA_",
                "Description": "Origin in the middle of the screen; x to the right, y along "
                "the glass away from the person.",
            }
        },
    }
}
PARTICIPANTS_JSON: dict[str, Any] = {
    "handedness": {
        "Description": "Hand the person writes with.",
        "Levels": {"left": "left", "right": "right"},
    },
    "affected_side": {
        "Description": "More affected side.",
        "Levels": {
            "left": "left", "right": "right", "both": "both alike", "unknown": "not known",
        },
    },
    "first_hand": {
        "Description": "Hand tested first at every visit.",
        "Levels": {"left": "left", "right": "right"},
    },
}  # fmt: skip
SCANS_JSON: dict[str, Any] = {
    "ending": {
        "Description": "How the block ended.",
        "Levels": {
            "finished": "done to its end", "stopped": "stopped by the person",
            "interrupted": "broken off",
        },
    },
    "excluded": {
        "Description": "Whether somebody has left the block or visit out since.",
        "Levels": {"yes": "left out", "no": "not left out"},
    },
    "flags": {"Description": "Flags of the block, separated by spaces; n/a without any."},
    "block_id": {"Description": "Identifier of the record in the store."},
}  # fmt: skip


def session_columns() -> tuple[str, ...]:
    """Columns of a person's sessions after identifier and time."""
    asked = [f"{name}_{moment}" for name in ASKED_TWICE for moment in ("before", "after")]
    return ("plan_hash", "device", "scale_source", "medication", "weight", *asked)


def sessions_json() -> dict[str, Any]:
    """Describe the columns of a person's sessions."""
    told: dict[str, Any] = {
        "plan_hash": {"Description": "Hash of tasks, hands, order and settings."},
        "device": {"Description": "Alias of the machine; the same for one machine."},
        "scale_source": {
            "Description": "How the size of the screen was found.",
            "Levels": {
                "card": "measured with a card", "ruler": "measured with a ruler",
                "guess": "96 pixels to the inch", "virtual": "simulated",
            },
        },
    }  # fmt: skip
    for name in ("medication", "weight"):
        question = QUESTIONS[name]
        levels = {word: word.replace("_", " ") for word in question.words}
        told[name] = {"Description": question.meaning, "Levels": levels}
    for name in ASKED_TWICE:
        for moment in ("before", "after"):
            told[f"{name}_{moment}"] = {
                "Description": f"{QUESTIONS[name].meaning} Asked {moment} the visit."
            }
    return told
