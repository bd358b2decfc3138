"""One person's chart as a transaction: every resource is put under an identifier of its own.

Identifiers are made of what a resource is about (UUID version 5), so that sending the same
chart twice changes nothing, and sending a later one brings what is there up to date. The
record system must allow that a client chooses identifiers. A bundle deletes nothing: what was
sent of somebody who withdraws, and the flag of an event that is taken back, are for the clinic
to take out of its record system.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable, Sequence

from battery.alarms import Alarm
from battery.export.choosing.deidentify import system_family
from battery.export.fhir.chart import Chart, Value
from battery.export.fhir.codes import (
    ALARMS,
    COMPOSITE,
    measures_system,
    word_concept,
    words_system,
)
from battery.export.fhir.names import (
    DEVICES_SYSTEM,
    FORM,
    PEOPLE_SYSTEM,
    WORDS_SYSTEM,
    Resource,
    identity,
    local_text,
    moment_text,
    refer,
    urn,
)
from battery.export.fhir.questions import questionnaire, response
from battery.export.fhir.values import observation
from battery.recording import HANDS, Device, Hand
from battery.scoring import PRIMARY
from battery.store import Acknowledgement, Amended, Amendment, Person, VisitRecord

PAGE = "Page of the coordination test"
HAND_PUT_RIGHT = "the hand of a block was put right since; this value is no longer given"


def bundle_of(chart: Chart) -> Resource:
    """Make the bundle of a chart; plain dicts, in an order that is always the same."""
    patient = patient_of(chart.person)
    devices = {
        visit.header.device.alias: device_of(visit.header.device) for visit in chart.visits
    }
    observations = _observations(chart, patient, devices)
    answered = {
        visit.header.visit_id: response(visit, answers, chart.blocks, patient)
        for visit in chart.visits
        if (answers := chart.answers.get(visit.header.visit_id))
    }
    flags = [flag_of(alarm, patient) for alarm in chart.alarms]
    resources = [
        measures_system(),
        words_system(),
        questionnaire(),
        patient,
        *devices.values(),
        *(made for _, made in observations),
        *answered.values(),
        *flags,
        *_report(chart, patient, observations),
        *_provenances(chart, observations, answered),
        *(
            _seen(alarm.acknowledged, flag)
            for alarm, flag in zip(chart.alarms, flags, strict=True)
            if alarm.acknowledged
        ),
    ]
    bundle: Resource = {
        "resourceType": "Bundle",
        "id": identity("bundle", patient["id"]),
        "type": "transaction",
        "entry": [_entry(resource) for resource in resources],
    }
    if chart.without_consent:
        told = {"system": WORDS_SYSTEM, "version": FORM, "code": "without_consent"}
        bundle["meta"] = {"tag": [told | {"display": chart.without_consent}]}
    return bundle


def _entry(resource: Resource) -> Resource:
    url = f"{resource['resourceType']}/{resource['id']}"
    return {
        "fullUrl": urn(resource["id"]),
        "resource": resource,
        "request": {"method": "PUT", "url": url},
    }


def patient_of(person: Person) -> Resource:
    """Make the person: the study code, and nothing else.

    Codes are short, and two clinics may draw the same; the moment of enrolment keeps them
    apart.
    """
    return {
        "resourceType": "Patient",
        "id": identity("person", person.code, person.enrolled_utc),
        "identifier": [{"system": PEOPLE_SYSTEM, "value": person.code}],
    }


def device_of(device: Device) -> Resource:
    """Make a tablet: its alias and the kind of its system, never a serial or host name."""
    return {
        "resourceType": "Device",
        "id": identity("device", device.alias),
        "identifier": [{"system": DEVICES_SYSTEM, "value": device.alias}],
        "status": "active",
        "deviceName": [{"name": device.alias, "type": "user-friendly-name"}],
        "type": {"text": f"Screen with a pointer, system {system_family(device.system)}"},
    }


def _observations(
    chart: Chart, patient: Resource, devices: dict[str, Resource]
) -> list[tuple[Value, Resource]]:
    """Make the observations visit by visit, those of single tasks first."""
    amended = Amended(chart.amendments)
    made: list[tuple[Value, Resource]] = []
    for visit in chart.visits:
        visit_id = visit.header.visit_id
        mine = [
            v
            for v in chart.said.values
            if v.visit_id == visit_id and (not v.block_id or v.block_id in chart.blocks)
        ]  # a block that cannot be read is named, and nothing is said of it
        gone = _gone(chart, visit_id, mine, amended)
        mine += gone
        mine.sort(key=lambda v: (not v.block_id, v.measure, v.hand, v.block_id))
        for value in mine:
            parts = [] if value.block_id else _parts(value, made)
            made.append(
                (
                    value,
                    observation(
                        value,
                        visit,
                        chart.blocks[value.block_id] if value.block_id else None,
                        patient=patient,
                        device=devices[visit.header.device.alias],
                        excluded=value in gone
                        or amended.excluded(visit_id)
                        or bool(value.block_id and amended.excluded(value.block_id)),
                        parts=parts,
                    ),
                )
            )
    return made


def _gone(
    chart: Chart, visit_id: str, values: Sequence[Value], amended: Amended
) -> list[Value]:
    """Return what an earlier chart may have held and a hand put right has taken away.

    Left out, it would stay in the record system as it was.
    """
    blocks = {
        block_id: header
        for block_id, header in chart.blocks.items()
        if header.visit_id == visit_id and header.phase == "test" and header.task in PRIMARY
    }
    put_right = [a for a in chart.amendments if a.field == "hand" and a.target_id in blocks]
    if not put_right:
        return []
    covered = {value.block_id for value in values}
    gone = [
        _nothing(PRIMARY[header.task].name, amended.hand(block_id, header.hand), visit_id,
                 block_id)
        for block_id, header in blocks.items()
        if block_id not in covered
    ]  # fmt: skip
    said = {header.hand for header in blocks.values()} | {a.old for a in put_right}
    together = {value.hand for value in values if not value.block_id}
    return gone + [
        _nothing(COMPOSITE, hand, visit_id, "")
        for hand in HANDS
        if hand in said and hand not in together
    ]


def _nothing(measure: str, hand: str, visit_id: str, block_id: str) -> Value:
    side: Hand = "left" if hand == "left" else "right"
    nan = math.nan
    return Value(measure, side, visit_id, block_id, nan, 0, nan, nan, reason=HAND_PUT_RIGHT)


def _parts(whole: Value, made: Iterable[tuple[Value, Resource]]) -> list[Resource]:
    """Return what all tasks together of a visit and hand stand on."""
    return [
        resource
        for value, resource in made
        if (value.visit_id, value.hand) == (whole.visit_id, whole.hand)
        and not value.aside
        and "valueQuantity" in resource
    ]


def flag_of(alarm: Alarm, patient: Resource) -> Resource:
    """Make the flag of an alarm: active until somebody acknowledged it by name."""
    period = {"start": moment_text(alarm.when)}
    if alarm.acknowledged:
        offset = alarm.when.utcoffset()
        minutes = int(offset.total_seconds() // 60) if offset is not None else 0
        period["end"] = local_text(alarm.acknowledged.at_utc, minutes)
    display = alarm.kind.replace("_", " ").capitalize()
    return {
        "resourceType": "Flag",
        "id": identity("alarm", patient["id"], alarm.key),
        "status": "active" if alarm.open else "inactive",
        "code": word_concept(f"alarm.{alarm.kind}", display, alarm.words or ALARMS[alarm.kind]),
        "subject": refer(patient),
        "period": period,
    }


def _seen(seen: Acknowledgement, flag: Resource) -> Resource:
    """Say who acknowledged an alarm, and what was done."""
    told: Resource = {
        "resourceType": "Provenance",
        "id": identity("acknowledged", seen.acknowledgement_id),
        "target": [refer(flag)],
        "recorded": local_text(seen.at_utc, 0),
    }
    if seen.note:
        told["reason"] = [{"text": seen.note}]
    return told | {
        "activity": {"text": "Alarm acknowledged"},
        "agent": [{"who": {"display": seen.author}}],
    }


def _report(
    chart: Chart, patient: Resource, observations: Sequence[tuple[Value, Resource]]
) -> list[Resource]:
    """Make the report, preliminary until a clinician takes it over; none before a visit."""
    if not chart.visits:
        return []
    first, last = (_started(visit) for visit in (chart.visits[0], chart.visits[-1]))
    told: Resource = {
        "resourceType": "DiagnosticReport",
        "id": identity("page", patient["id"]),
        "status": "preliminary",
        "code": word_concept("page", PAGE),
        "subject": refer(patient),
        "effectivePeriod": {"start": first, "end": last},
    }
    results = [refer(o) for _, o in observations if o["status"] != "entered-in-error"]
    if results:
        told["result"] = results
    if chart.said.sentences:
        told["conclusion"] = "\n".join(chart.said.sentences)
    page = chart.said.page
    if page is not None:
        told["presentedForm"] = [
            {
                "contentType": page.content_type,
                "language": "en",
                "data": base64.b64encode(page.data).decode(),
                "title": PAGE,
                "creation": page.made,
            }
        ]
    return [told]


def _started(visit: VisitRecord) -> str:
    return local_text(visit.header.started_utc, visit.header.utc_offset_min)


def _provenances(
    chart: Chart,
    observations: Sequence[tuple[Value, Resource]],
    answered: dict[str, Resource],
) -> list[Resource]:
    """Say of every amendment of what is sent who made it, when, why, and what it changed."""
    made = []
    for amendment in chart.amendments:
        about = amendment.target_id
        targets = [o for v, o in observations if about in (v.block_id, v.visit_id)]
        targets += [answered[about]] if about in answered else []
        if targets:
            made.append(
                {
                    "resourceType": "Provenance",
                    "id": identity("amendment", amendment.amendment_id),
                    "target": [refer(target) for target in targets],
                    "recorded": local_text(amendment.at_utc, 0),
                    "reason": [{"text": amendment.reason}],
                    "activity": {"text": _changed(amendment)},
                    "agent": [{"who": {"display": amendment.author}}],
                }
            )
    return made


def _changed(amendment: Amendment) -> str:
    """Say what an amendment changed; under whose code a visit was recorded is not said."""
    if amendment.field == "person":
        return "person: recorded under another code, now under this one"
    if amendment.field == "note":
        return f"note: {amendment.new}"
    was = f" (was {amendment.old})" if amendment.old else ""
    return f"{amendment.field}: {amendment.new}{was}"
