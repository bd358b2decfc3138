"""All that a task needs beside its rules, and a task that joins with all of it or not at all.

Each part stands where it is used, in one table by task; the tables are listed here, and nowhere
else is there a table by task that a new one would have to be entered into. The contract suite
holds every one of them to the tasks of `tasks.registry`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from battery.export.bids import bids_texts
from battery.report import combined, details, judged, pictures, traces
from battery.scoring.scorers import SCORERS
from battery.simulate import doing
from battery.stage.language import texts
from norms import composite
from tasks import registry


class Part(NamedTuple):
    """Something a task needs: where it stands, by task, and what it is."""

    table: dict[str, Any]
    where: str
    meaning: str


PARTS: Mapping[str, Part] = {
    "rules": Part(registry.TASKS, "tasks.registry.TASKS", "its state machine"),
    "options": Part(registry.OPTIONS, "tasks.registry.OPTIONS", "what a plan may set"),
    "layout": Part(registry.LAYOUTS, "tasks.registry.LAYOUTS", "settings drawn from a seed"),
    "extent": Part(registry.EXTENTS, "tasks.registry.EXTENTS", "how much room it takes"),
    "scorer": Part(SCORERS, "battery.scoring.scorers.SCORERS", "measures, scores and trials"),
    "behaviour": Part(
        doing.DOINGS, "battery.simulate.doing.DOINGS", "what a simulated person does in it"
    ),
    "name": Part(texts.NAMES, "battery.stage.language.texts.NAMES", "its name on the screen"),
    "sentences": Part(
        texts.WHAT_TO_DO, "battery.stage.language.texts.WHAT_TO_DO", "what to do, read out"
    ),
    "reminder": Part(
        texts.REMINDERS, "battery.stage.language.texts.REMINDERS", "one line in the block"
    ),
    "title": Part(combined.TITLES, "battery.report.combined.TITLES", "its name on the page"),
    "speed": Part(judged.SPEED, "battery.report.judged.SPEED", "what is set against accuracy"),
    "accuracy": Part(judged.EXACT, "battery.report.judged.EXACT", "what is set against speed"),
    "reference": Part(
        details.TOPICS, "battery.report.details.TOPICS", "topics of reference values beside it"
    ),
    "trace": Part(
        traces.REDUCED, "battery.report.traces.REDUCED", "what is drawn of a block of it"
    ),
    "picture": Part(pictures.DRAWN, "battery.report.pictures.DRAWN", "how that is drawn"),
    "caption": Part(pictures.ABOUT, "battery.report.pictures.ABOUT", "what the picture shows"),
    "bids": Part(
        bids_texts.TASKS, "battery.export.bids.bids_texts.TASKS", "description and instructions"
    ),
    "scatter": Part(
        composite.TYPICAL_SCATTER,
        "norms.composite.TYPICAL_SCATTER",
        "its weight in the composite",
    ),
}


def join(task: str, parts: Mapping[str, Any]) -> None:
    """Take a task in, with everything that it needs.

    Parameters
    ----------
    task : str
        Its name; one plain word.
    parts : mapping
        A value for each of `PARTS`, of the kind that the table of that part holds.

    Raises
    ------
    ValueError
        If a part is lacking or unknown, or there is such a task; nothing of it is taken in.
    """
    lacks = [f"{name} ({PARTS[name].where})" for name in PARTS if name not in parts]
    strange = sorted(set(parts) - set(PARTS))
    if lacks or strange:
        msg = f"task {task!r} lacks {', '.join(lacks) or 'nothing'}; unknown: {strange}"
        raise ValueError(msg)
    there = [name for name, part in PARTS.items() if task in part.table]
    names = {task, parts["rules"].name, parts["scorer"].task}
    if there or len(names) != 1:
        msg = f"task {task!r} is there already ({there}), or its parts name another: {names}"
        raise ValueError(msg)
    for name, part in PARTS.items():
        part.table[task] = parts[name]


def leave(task: str) -> None:
    """Take a task out again, with all its parts."""
    for part in PARTS.values():
        part.table.pop(task, None)
