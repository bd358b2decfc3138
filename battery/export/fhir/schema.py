"""The part of FHIR R4 that is written here: fields of each type, where references lead.

Types and cardinalities are those of release 4.0.1, https://hl7.org/fhir/R4/resourcelist.html;
a field of R4 that is not written is not in it, so that one by mistake is found.
"""

from __future__ import annotations

from collections.abc import Mapping

# "T" may be there, "T!" must, "T*" is a list, "T+" a list of at least one.
Fields = Mapping[str, str]

RESOURCES: Mapping[str, Fields] = {
    "Patient": {"identifier": "Identifier+"},
    "Device": {
        "identifier": "Identifier*",
        "status": "code",
        "deviceName": "DeviceName*",
        "type": "CodeableConcept",
    },
    "Observation": {
        "status": "code!",
        "category": "CodeableConcept+",
        "code": "CodeableConcept!",
        "subject": "Reference!",
        "effectiveDateTime": "dateTime!",
        "performer": "Reference*",
        "valueQuantity": "Quantity",
        "valueString": "string",
        "valueInteger": "integer",
        "dataAbsentReason": "CodeableConcept",
        "note": "Annotation*",
        "bodySite": "CodeableConcept",
        "method": "CodeableConcept",
        "device": "Reference",
        "derivedFrom": "Reference*",
        "component": "Component*",
    },
    "DiagnosticReport": {
        "status": "code!",
        "code": "CodeableConcept!",
        "subject": "Reference!",
        "effectivePeriod": "Period!",
        "result": "Reference*",
        "conclusion": "string",
        "presentedForm": "Attachment*",
    },
    "Questionnaire": {
        "url": "uri!",
        "version": "string!",
        "name": "string!",
        "title": "string",
        "status": "code!",
        "description": "string",
        "item": "QuestionItem+",
    },
    "QuestionnaireResponse": {
        "questionnaire": "uri!",
        "status": "code!",
        "subject": "Reference!",
        "authored": "dateTime!",
        "author": "Reference",
        "source": "Reference",
        "item": "AnswerItem*",
    },
    "CodeSystem": {
        "url": "uri!",
        "version": "string!",
        "name": "string!",
        "title": "string",
        "status": "code!",
        "description": "string",
        "caseSensitive": "boolean",
        "content": "code!",
        "count": "integer",
        "property": "Property*",
        "concept": "Concept+",
    },
    "Flag": {
        "status": "code!",
        "code": "CodeableConcept!",
        "subject": "Reference!",
        "period": "Period!",
    },
    "Provenance": {
        "target": "Reference+",
        "recorded": "dateTime!",
        "reason": "CodeableConcept*",
        "activity": "CodeableConcept",
        "agent": "Agent+",
    },
}

TYPES: Mapping[str, Fields] = {
    "Bundle": {
        "resourceType": "code!",
        "id": "id!",
        "meta": "Meta",
        "type": "code!",
        "entry": "Entry+",
    },
    "Meta": {"tag": "Coding*"},
    "Entry": {"fullUrl": "uri!", "resource": "Resource!", "request": "Request!"},
    "Request": {"method": "code!", "url": "string!"},
    "Identifier": {"system": "uri!", "value": "string!"},
    "DeviceName": {"name": "string!", "type": "code!"},
    "CodeableConcept": {"coding": "Coding*", "text": "string"},
    "Coding": {"system": "uri!", "version": "string", "code": "code!", "display": "string"},
    "Reference": {"reference": "uri", "type": "uri", "display": "string"},
    "Quantity": {"value": "decimal!", "unit": "string", "system": "uri!", "code": "code!"},
    "Range": {"low": "Quantity!", "high": "Quantity!"},
    "Period": {"start": "dateTime!", "end": "dateTime"},
    "Annotation": {"text": "string!"},
    "Attachment": {
        "contentType": "code!",
        "language": "code",
        "data": "base64Binary!",
        "title": "string",
        "creation": "dateTime",
    },
    "Component": {
        "code": "CodeableConcept!",
        "valueQuantity": "Quantity",
        "valueRange": "Range",
        "valueInteger": "integer",
        "dataAbsentReason": "CodeableConcept",
    },
    "QuestionItem": {
        "linkId": "string!",
        "text": "string",
        "type": "code!",
        "repeats": "boolean",
        "answerOption": "Option*",
        "item": "QuestionItem*",
    },
    "Option": {"valueCoding": "Coding!"},
    "AnswerItem": {
        "linkId": "string!",
        "text": "string",
        "answer": "Answer*",
        "item": "AnswerItem*",
    },
    "Answer": {
        "valueInteger": "integer",
        "valueBoolean": "boolean",
        "valueString": "string",
        "valueCoding": "Coding",
    },
    "Property": {"code": "code!", "description": "string", "type": "code!"},
    "Concept": {
        "code": "code!",
        "display": "string!",
        "definition": "string!",
        "property": "ConceptProperty*",
    },
    "ConceptProperty": {
        "code": "code!",
        "valueString": "string",
        "valueBoolean": "boolean",
        "valueInteger": "integer",
    },
    "Agent": {"who": "Reference!"},
} | {
    name: {"resourceType": "code!", "id": "id!"} | dict(fields)
    for name, fields in RESOURCES.items()
}

# Of these, one value and no other; of the first group a reason may stand in its place.
ONE_VALUE = frozenset({"Observation", "Component", "Answer", "ConceptProperty"})
OR_ABSENT = frozenset({"Observation", "Component"})

# Where a reference may lead.
TARGETS: Mapping[str, frozenset[str]] = {
    "Observation.subject": frozenset({"Patient"}),
    "Observation.performer": frozenset({"Patient"}),
    "Observation.device": frozenset({"Device"}),
    "Observation.derivedFrom": frozenset({"Observation"}),
    "DiagnosticReport.subject": frozenset({"Patient"}),
    "DiagnosticReport.result": frozenset({"Observation"}),
    "QuestionnaireResponse.subject": frozenset({"Patient"}),
    "QuestionnaireResponse.author": frozenset({"Patient"}),
    "QuestionnaireResponse.source": frozenset({"Patient"}),
    "Flag.subject": frozenset({"Patient"}),
    "Provenance.target": frozenset({"Observation", "QuestionnaireResponse", "Flag"}),
}
