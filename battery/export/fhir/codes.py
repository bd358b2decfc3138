"""The project's own code systems, whole and with plain definitions; nothing is borrowed.

A code of another system says that something else was measured, however near it sounds.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import get_args

from battery.alarms import Kind
from battery.answers import QUESTIONS
from battery.export.fhir.names import (
    FORM,
    MEASURES_SYSTEM,
    WORDS_SYSTEM,
    Resource,
    concept,
    identity,
)
from battery.scoring import MEASURES
from battery.scoring.score import SCORING_VERSION
from norms import sentences
from tasks.registry import TASKS

COMPOSITE = "all.composite"
COMPOSITE_MEANING = (
    f"{sentences.COMPOSITE_MEANING} As on the page, 100 % is the middle of the person's "
    "baseline, or the first visit before there is a baseline; so it changes when the baseline "
    "is complete or begun anew."
)
ALARMS: Mapping[str, str] = {
    "emergency_sign": "A new sign of an emergency was answered yes.",
    "unwell_end": "A visit ended early after a stop for symptoms.",
    "strong_rise": "A symptom rose by 3 or more on 0 to 10 during a visit.",
    "high_level": "A symptom or effort reached the level that the clinic has set.",
    "not_settled": "What rose in the visit before had not settled within an hour.",
    "practice": "Strong symptoms after home exercise.",
    "fall": "A fall was entered.",
    "consent": "Consent is withdrawn.",
    "contraindication": "Something speaks against starting, or is not known.",
}
HANDS: Mapping[str, str] = {
    "hand.left": "Left hand",
    "hand.right": "Right hand",
}
PARTS: Mapping[str, tuple[str, str]] = {
    "part.n": (
        "Number it stands on",
        "Trials, passes, links or windows that a value was computed from; of all tasks "
        "together, the tasks.",
    ),
    "part.interval": (
        "95 % interval",
        "From where to where the value lies with 95 % confidence, by the scatter within its "
        "block; it does not hold the scatter from visit to visit.",
    ),
    "part.spread": (
        "Middle half",
        "From the lower to the upper quartile of the ways, reaches or links of the block: how "
        "unlike they were, not how sure the value is.",
    ),
}


def measures_system() -> Resource:
    """Make the code system of the measures, from their only definitions."""
    concepts = [
        {
            "code": measure.name,
            "display": measure.title,
            "definition": " ".join(part for part in (measure.meaning, measure.limits) if part),
            "property": [
                {"code": "unit", "valueString": measure.unit},
                {"code": "direction", "valueString": measure.direction},
                *([{"code": "primary", "valueBoolean": True}] if measure.primary else []),
                {"code": "since", "valueInteger": measure.since},
            ],
        }
        for measure in MEASURES.values()
    ]
    concepts.append(
        {
            "code": COMPOSITE,
            "display": sentences.COMPOSITE,
            "definition": COMPOSITE_MEANING,
            "property": [
                {"code": "unit", "valueString": "%"},
                {"code": "direction", "valueString": "lower"},
                {"code": "primary", "valueBoolean": True},
            ],
        }
    )
    return _system(
        MEASURES_SYSTEM,
        str(SCORING_VERSION),
        name="CoordinationMeasures",
        title="Measures of a coordination test",
        meaning="What is computed of the tasks. The version is that of the scoring.",
        concepts=concepts,
        properties=[
            ("unit", "string", "Unit, UCUM; 1 for a ratio or a count."),
            ("direction", "string", "Which way is better."),
            (
                "primary",
                "boolean",
                "The one measure of its task with a verdict; else left out.",
            ),
            ("since", "integer", "Scoring version in which its definition changed last."),
        ],
    )


def words_system() -> Resource:
    """Make the code system of everything else: hands, parts, tasks, alarms, answers."""
    told: dict[str, tuple[str, str]] = {
        "page": (
            "Page of the coordination test",
            "What the visits so far allow to be said against the person's own baseline. Made "
            "by a program; not a diagnosis.",
        ),
        "without_consent": (
            "Without consent to research use",
            "Sent without the person's consent to research use, for the reason given.",
        ),
    }
    told |= {code: (name, f"Done with the {name.lower()}.") for code, name in HANDS.items()}
    told |= PARTS
    told |= {
        f"task.{task}": (f"Task {task}", f"The task whose measures begin with '{task}.'.")
        for task in TASKS
    }
    told["task.all"] = (sentences.COMPOSITE, "The main measures of the tasks of a visit.")
    for kind in get_args(Kind):
        told[f"alarm.{kind}"] = (kind.replace("_", " ").capitalize(), ALARMS[kind])
    for question in QUESTIONS.values():
        for word in question.words:
            told[f"answer.{question.name}.{word}"] = (
                word.replace("_", " "),
                f"{question.meaning.rstrip('.')}: {word.replace('_', ' ')}.",
            )
    return _system(
        WORDS_SYSTEM,
        FORM,
        name="CoordinationWords",
        title="Words around a coordination test",
        meaning="Hands, parts of a value, tasks, alarms and answers.",
        concepts=[
            {"code": code, "display": display, "definition": definition}
            for code, (display, definition) in told.items()
        ],
        properties=[],
    )


def _system(
    address: str,
    version: str,
    *,
    name: str,
    title: str,
    meaning: str,
    concepts: list[Resource],
    properties: list[tuple[str, str, str]],
) -> Resource:
    made: Resource = {
        "resourceType": "CodeSystem",
        "id": identity("code system", address, version),
        "url": address,
        "version": version,
        "name": name,
        "title": title,
        "status": "active",
        "description": meaning,
        "caseSensitive": True,
        "content": "complete",
        "count": len(concepts),
        "concept": concepts,
    }
    if properties:
        made["property"] = [
            {"code": code, "description": told, "type": kind} for code, kind, told in properties
        ]
    return made


def measure_concept(name: str, version: str) -> Resource:
    """Code a measure as it was scored.

    Parameters
    ----------
    version : str
        Scoring version of the value; empty where nothing was scored.
    """
    title = sentences.COMPOSITE if name == COMPOSITE else MEASURES[name].title
    return concept(
        MEASURES_SYSTEM, name, title, version=version or str(SCORING_VERSION), text=title
    )


def word_concept(code: str, display: str, text: str = "") -> Resource:
    """Code a word of the project; `text` says more than its name."""
    return concept(WORDS_SYSTEM, code, display, version=FORM, text=text or display)
