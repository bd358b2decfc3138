"""Words that FHIR R4 and UCUM allow in the fields that are written here.

FHIR R4 is release 4.0.1 of 2019-10-30, https://hl7.org/fhir/R4/; each table names its value set
there. UCUM is the Unified Code for Units of Measure, version 2.1, https://ucum.org/ucum.
"""

from __future__ import annotations

from collections.abc import Mapping

# UCUM code of each unit that a measure has, and how it is written for people. Each is an atom
# of UCUM's tables, with a prefix of its table 1 or in an expression of its section 2.
UNITS: Mapping[str, str] = {
    "1": "",
    "%": "%",
    "mm": "mm",
    "mm2": "mm²",
    "mm/s": "mm/s",
    "s": "s",
    "ms": "ms",
    "/s": "per second",
    "/min": "per minute",
    "Hz": "Hz",
    "deg": "°",
    "dB": "dB",
    "bit/s": "bit/s",
}

# valueset-data-absent-reason.html (extensible; held to here). Its 'as-text' and the numbers
# without a value do not occur.
ABSENT_REASONS: Mapping[str, str] = {
    "unknown": "Unknown",
    "asked-unknown": "Asked But Unknown",
    "temp-unknown": "Temporarily Unknown",
    "not-asked": "Not Asked",
    "asked-declined": "Asked But Declined",
    "masked": "Masked",
    "not-applicable": "Not Applicable",
    "unsupported": "Unsupported",
    "as-text": "As Text",
    "error": "Error",
    "not-a-number": "Not a Number (NaN)",
    "negative-infinity": "Negative Infinity (NINF)",
    "positive-infinity": "Positive Infinity (PINF)",
    "not-performed": "Not Performed",
    "not-permitted": "Not Permitted",
}

# valueset-observation-category.html (preferred; held to here).
CATEGORIES: Mapping[str, str] = {
    "social-history": "Social History",
    "vital-signs": "Vital Signs",
    "imaging": "Imaging",
    "laboratory": "Laboratory",
    "procedure": "Procedure",
    "survey": "Survey",
    "exam": "Exam",
    "therapy": "Therapy",
    "activity": "Activity",
}

_PUBLICATION = frozenset({"draft", "active", "retired", "unknown"})

# Required bindings, by type and field.
REQUIRED: Mapping[str, frozenset[str]] = {
    # valueset-bundle-type.html; a chart is sent whole or not at all
    "Bundle.type": frozenset({"transaction"}),
    # valueset-http-verb.html; by identifier, so that sending twice changes nothing
    "Request.method": frozenset({"PUT"}),
    # valueset-observation-status.html
    "Observation.status": frozenset(
        {
            "registered",
            "preliminary",
            "final",
            "amended",
            "corrected",
            "cancelled",
            "entered-in-error",
            "unknown",
        }
    ),
    # valueset-diagnostic-report-status.html
    "DiagnosticReport.status": frozenset(
        {
            "registered",
            "partial",
            "preliminary",
            "final",
            "amended",
            "corrected",
            "appended",
            "cancelled",
            "entered-in-error",
            "unknown",
        }
    ),
    # valueset-questionnaire-answers-status.html
    "QuestionnaireResponse.status": frozenset(
        {"in-progress", "completed", "amended", "entered-in-error", "stopped"}
    ),
    # valueset-flag-status.html
    "Flag.status": frozenset({"active", "inactive", "entered-in-error"}),
    # valueset-device-status.html
    "Device.status": frozenset({"active", "inactive", "entered-in-error", "unknown"}),
    # valueset-device-nametype.html
    "DeviceName.type": frozenset(
        {
            "udi-label-name",
            "user-friendly-name",
            "patient-reported-name",
            "manufacturer-name",
            "model-name",
            "other",
        }
    ),
    # valueset-publication-status.html
    "CodeSystem.status": _PUBLICATION,
    "Questionnaire.status": _PUBLICATION,
    # valueset-codesystem-content-mode.html
    "CodeSystem.content": frozenset(
        {"not-present", "example", "fragment", "complete", "supplement"}
    ),
    # valueset-concept-property-type.html
    "Property.type": frozenset(
        {"code", "Coding", "string", "integer", "boolean", "dateTime", "decimal"}
    ),
    # valueset-item-type.html
    "QuestionItem.type": frozenset(
        {
            "group",
            "display",
            "boolean",
            "decimal",
            "integer",
            "date",
            "dateTime",
            "time",
            "string",
            "text",
            "url",
            "choice",
            "open-choice",
            "attachment",
            "reference",
            "quantity",
        }
    ),
}
# A machine says nothing final: a clinician takes it over. Narrower than the binding.
NEVER: Mapping[str, frozenset[str]] = {
    "Observation.status": frozenset({"final", "amended", "corrected"}),
    "DiagnosticReport.status": frozenset({"final", "amended", "corrected", "appended"}),
}
