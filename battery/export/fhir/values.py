"""Observations: one a main measure of a block, and one a hand and visit for all tasks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from battery.export.choosing.deidentify import plan_name
from battery.export.fhir.bindings import ABSENT_REASONS, CATEGORIES, UNITS
from battery.export.fhir.chart import Value
from battery.export.fhir.codes import (
    COMPOSITE,
    HANDS,
    PARTS,
    measure_concept,
    word_concept,
)
from battery.export.fhir.names import (
    ABSENT,
    CATEGORY,
    UCUM,
    Resource,
    identity,
    local_text,
    refer,
)
from battery.recording import BlockHeader
from battery.scoring import MEASURES
from battery.scoring.flags import FLAGS
from battery.store import VisitRecord

N_DIGITS = 9  # beyond them machines differ
BROKEN_OFF = {"stopped", "interrupted"}


def observation(
    value: Value,
    visit: VisitRecord,
    block: BlockHeader | None,
    *,
    patient: Resource,
    device: Resource,
    excluded: bool,
    parts: Sequence[Resource] = (),
) -> Resource:
    """Make the observation of a value.

    Preliminary, for no clinician has taken it over: "amended" and "corrected" would say that
    it had been final. What somebody left out is entered in error.

    Parameters
    ----------
    block : BlockHeader or None
        None for all tasks together.
    excluded : bool
        Whether its visit or block was left out by somebody.
    parts : sequence of dict
        Observations that all tasks together stand on.
    """
    begun = block.started_utc if block else visit.header.started_utc
    told: Resource = {
        "resourceType": "Observation",
        "id": identity_of(value),
        "status": "entered-in-error" if excluded else "preliminary",
        "category": [
            {
                "coding": [
                    {"system": CATEGORY, "code": "survey", "display": CATEGORIES["survey"]}
                ]
            }
        ],
        "code": measure_concept(value.measure, value.scoring),
        "subject": refer(patient),
        "effectiveDateTime": local_text(begun, visit.header.utc_offset_min),
        "performer": [refer(patient)],
    }
    if math.isnan(value.value):
        told["dataAbsentReason"] = _absent(value)
    else:
        told["valueQuantity"] = quantity(value.value, unit_of(value.measure))
    if notes := _notes(value):
        told["note"] = [{"text": text} for text in notes]
    hand = f"hand.{value.hand}"
    told["bodySite"] = word_concept(hand, HANDS[hand])
    told["method"] = _method(value, visit, block)
    told["device"] = refer(device)
    if parts:
        told["derivedFrom"] = [refer(part) for part in parts]
    told["component"] = [*_interval(value), _n(value)]
    return told


def identity_of(value: Value) -> str:
    """Return the identifier of a value: it stays when the hand or the person is put right."""
    if value.block_id:
        return identity("value", value.block_id, value.measure)
    return identity("value", value.visit_id, value.measure, value.hand)


def unit_of(measure: str) -> str:
    """Return the UCUM unit of a measure."""
    return "%" if measure == COMPOSITE else MEASURES[measure].unit


def quantity(value: float, unit: str) -> Resource:
    """Make a quantity; a plain number has the unit 1 of UCUM and none for people."""
    told: Resource = {"value": float(f"{value:.{N_DIGITS}g}")}
    if UNITS[unit]:
        told["unit"] = UNITS[unit]
    return told | {"system": UCUM, "code": unit}


def absent(code: str, text: str) -> Resource:
    """Say why something is missing: the standard's word, and the reason as it was found."""
    coding = {"system": ABSENT, "code": code, "display": ABSENT_REASONS[code]}
    return {"coding": [coding], "text": text}


def _absent(value: Value) -> Resource:
    reason = value.aside or value.reason or "not scored"
    code = "not-performed" if BROKEN_OFF & set(value.flags) else "unknown"
    return absent(code, reason)


def _notes(value: Value) -> list[str]:
    """Say why it is not compared, what to keep in mind, and what its block raised."""
    said = []
    if not math.isnan(value.value):  # else both are why it is absent
        said += [f"Not compared with other visits: {value.aside}."] if value.aside else []
        said += [f"{value.reason[:1].upper()}{value.reason[1:]}."] if value.reason else []
    flags: Mapping[str, str] = {name: FLAGS[name].says for name in value.flags}
    told = [says for says in flags.values() if says not in value.aside]
    return said + [f"Flag: {says}." for says in told]


def _method(value: Value, visit: VisitRecord, block: BlockHeader | None) -> Resource:
    header = visit.header
    task = block.task if block else "all"
    rules = f"task {task}, rules version {block.task_version}" if block else "all tasks"
    scored = f"scoring version {value.scoring}" if value.scoring else "not scored"
    text = (
        f"Coordination test on a screen, self-administered; {rules}; {scored}; plan "
        f"{plan_name(header.plan_name)} {header.plan_hash}; protocol version "
        f"{header.protocol_version}; program {header.software}"
    )
    return word_concept(f"task.{task}", _task_words(task), text)


def _task_words(task: str) -> str:
    return f"Task {task}" if task != "all" else "All tasks together"


def _interval(value: Value) -> list[Resource]:
    """Give the interval or spread of a value; that of all tasks is on the page alone."""
    width = MEASURES[value.measure].width if value.measure in MEASURES else "interval"
    if not value.block_id or math.isnan(value.value) or width == "none":
        return []
    code = word_concept(f"part.{width}", PARTS[f"part.{width}"][0])
    if math.isnan(value.low) or math.isnan(value.high):
        return [
            {"code": code, "dataAbsentReason": absent("unknown", value.reason or "no interval")}
        ]
    unit = unit_of(value.measure)
    ends = {"low": quantity(value.low, unit), "high": quantity(value.high, unit)}
    return [{"code": code, "valueRange": ends}]


def _n(value: Value) -> Resource:
    code = word_concept("part.n", PARTS["part.n"][0])
    return {"code": code, "valueInteger": value.n}
