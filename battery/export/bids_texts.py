"""What the sidecars of a BIDS dataset say; columns come from the one dictionary."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from battery.answers import ASKED_TWICE, QUESTIONS
from battery.export.columns import Column
from battery.export.dictionary import EVENTS
from battery.export.dictionary_trials import TRIALS

BIDS_VERSION = "1.10.0"
# Channels in the order of the columns of a motion file: name, component, type, point, unit.
CHANNELS = (
    ("latency", "n/a", "LATENCY", "n/a", "s", "time of the report from the start of the block"),
    ("pointer_x", "x", "POS", "pointer", "m", "place on the glass, to the right"),
    ("pointer_y", "y", "POS", "pointer", "m", "place on the glass, away from the person"),
    ("contact", "n/a", "MISC", "pointer", "n/a", "1 in contact or pressed, 0 not"),
    ("pointer", "n/a", "MISC", "n/a", "n/a", "0 mouse or pen, 1 and up fingers in order"),
    ("stamp_gap", "n/a", "MISC", "n/a", "s", "bound on the error of the time"),
)
CHANNEL_COLUMNS = (
    "name", "component", "type", "tracked_point", "units", "reference_frame", "description",
)  # fmt: skip
TASKS = {
    "tapping": (
        "Hold the home pad; the next target appears on the other side; on the cue lift, touch "
        "it and return. Accuracy before speed.",
        "Hold the lower ring. Look at the new ring and wait. When it fills, lift and touch its "
        "middle.",
    ),
    "pursuit": (
        "Press the chip and keep the finger on it while it moves along a line: first a single "
        "sine, then a sum of sines.",
        "Press the disc and keep your finger on it. It moves. Follow it with eyes and finger.",
    ),
    "slide": (
        "Touch the fixed target, then drag the chip along a straight track to the side and "
        "back at one's own pace; sides alternate.",
        "Touch the upper disc. Then hold the lower one. Slide it to the side as far as is "
        "comfortable, and back.",
    ),
    "trail": (
        "Drag the chip from node to node, in order of numbers, or of numbers and letters in "
        "turn.",
        "Press the filled circle. Slide on to the next in order. 1, 2, 3 and so on. With "
        "letters: 1, A, 2, B.",
    ),
}
README = """\
Records of a test of hand-eye coordination on a screen: every pointer report (motion), what the
task decided (events) and one row a trial (beh). Written by coordination-battery from its store.

De-identified: random codes, days shifted to before 1925 for each person (the weekday is kept),
hours rounded down to the start of three; no free text, no serial numbers, no names.

Motion files have no header row; their columns stand in the channels file beside them. Reports
come when the pointer moves, unevenly; the column `latency` holds their times, and
SamplingFrequency is only their usual rate. Positions are on the glass, in metres, from the
middle of the screen, x to the right and y up (away from the person lying flat in front).
A touch screen reports no path while the finger is in the air.
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
