"""Charts as FHIR R4: valid by a model of the standard and the own check, true, repeatable."""

import copy

import pytest
from fhir.resources import R4B

from battery.export.fhir import findings
from battery.export.fhir.bindings import ABSENT_REASONS, NEVER, REQUIRED, UNITS
from battery.export.fhir.schema import RESOURCES, TYPES
from battery.scoring import MEASURES
from tests import charts
from tests.charts import model_refuses, of

# Where a model of the standard holds the words of a required binding.

MODELS = {
    "Bundle.type": ("bundle", "Bundle", "type"),
    "Request.method": ("bundle", "BundleEntryRequest", "method"),
    "Observation.status": ("observation", "Observation", "status"),
    "DiagnosticReport.status": ("diagnosticreport", "DiagnosticReport", "status"),
    "QuestionnaireResponse.status": (
        "questionnaireresponse",
        "QuestionnaireResponse",
        "status",
    ),
    "Flag.status": ("flag", "Flag", "status"),
    "Device.status": ("device", "Device", "status"),
    "DeviceName.type": ("device", "DeviceDeviceName", "type"),
    "CodeSystem.status": ("codesystem", "CodeSystem", "status"),
    "CodeSystem.content": ("codesystem", "CodeSystem", "content"),
    "Questionnaire.status": ("questionnaire", "Questionnaire", "status"),
    "Property.type": ("codesystem", "CodeSystemProperty", "type"),
    "QuestionItem.type": ("questionnaire", "QuestionnaireItem", "type"),
}
# https://hl7.org/fhir/R4/ with valueset-observation-status.html, -diagnostic-report-status.html
# and -item-type.html, typed in ('question' is abstract there and stands in no item).
PUBLISHED = {
    "Observation.status": """
        registered preliminary final amended corrected cancelled entered-in-error unknown
    """,
    "DiagnosticReport.status": """
        registered partial preliminary final amended corrected appended cancelled
        entered-in-error unknown
    """,
    "QuestionItem.type": """
        group display boolean decimal integer date dateTime time string text url choice
        open-choice attachment reference quantity
    """,
}


@pytest.fixture(scope="module")
def whole():
    return charts.bundle()


@pytest.fixture
def bundle(whole):
    """A copy that a test may spoil."""
    return copy.deepcopy(whole)


def of_value(bundle, measure, hand, visit):
    """The observation of a measure at the visit of that number."""
    day = charts.MADE.when(visit).date().isoformat()
    return next(
        o
        for o in of(bundle, "Observation")
        if o["code"]["coding"][0]["code"] == measure
        and o["bodySite"]["coding"][0]["code"] == f"hand.{hand}"
        and o["effectiveDateTime"].startswith(day)
    )


def test_a_chart_is_valid_by_the_model_of_the_standard_and_by_the_own_check(whole):
    """fhir.resources models R4B 4.3.0; what is written is the same in R4 4.0.1."""
    assert not model_refuses(whole)
    assert findings(whole) == []
    kinds = {entry["resource"]["resourceType"] for entry in whole["entry"]}
    assert kinds == set(RESOURCES)


@pytest.mark.parametrize("kind", sorted(TYPES))
def test_the_own_table_of_fields_is_no_wider_than_the_standard(kind):
    """Every field it allows is one of the model's, a list where that one is a list."""
    module, name = {
        "Entry": ("bundle", "BundleEntry"),
        "Request": ("bundle", "BundleEntryRequest"),
        "DeviceName": ("device", "DeviceDeviceName"),
        "Component": ("observation", "ObservationComponent"),
        "QuestionItem": ("questionnaire", "QuestionnaireItem"),
        "Option": ("questionnaire", "QuestionnaireItemAnswerOption"),
        "AnswerItem": ("questionnaireresponse", "QuestionnaireResponseItem"),
        "Answer": ("questionnaireresponse", "QuestionnaireResponseItemAnswer"),
        "Property": ("codesystem", "CodeSystemProperty"),
        "Concept": ("codesystem", "CodeSystemConcept"),
        "ConceptProperty": ("codesystem", "CodeSystemConceptProperty"),
        "Agent": ("provenance", "ProvenanceAgent"),
    }.get(kind, (kind.lower(), kind))
    model = getattr(__import__(f"{R4B.__name__}.{module}", fromlist=[name]), name)
    known = {field.alias or own: field for own, field in model.model_fields.items()}
    for field, told in TYPES[kind].items():
        if field == "resourceType":
            continue
        assert field in known, f"{kind}.{field} is not in R4"
        in_model = "List[" in str(known[field].annotation) or "list[" in str(
            known[field].annotation
        )
        assert in_model == (told[-1] in "*+"), f"{kind}.{field}"


@pytest.mark.parametrize("name", sorted(REQUIRED))
def test_words_of_required_bindings_are_those_of_the_standard(name):
    """fhir.resources keeps the words it was generated with, though it holds nobody to them."""
    module, kind, field = MODELS[name]
    model = getattr(__import__(f"{R4B.__name__}.{module}", fromlist=[kind]), kind)
    words = set(model.model_fields[field].json_schema_extra["enum_values"])
    if name in ("Bundle.type", "Request.method"):
        assert REQUIRED[name] < words  # narrower on purpose
    elif "+" in words:  # the model knows the first words only; the rest is typed in
        assert words - {"+"} < REQUIRED[name]
        assert REQUIRED[name] == set(PUBLISHED[name].split())
    else:
        assert REQUIRED[name] == words
    assert NEVER.get(name, frozenset()) <= REQUIRED[name]


def test_absent_reasons_are_those_of_the_published_list():
    """https://hl7.org/fhir/R4/valueset-data-absent-reason.html, typed in."""
    published = """
        unknown asked-unknown temp-unknown not-asked asked-declined masked not-applicable
        unsupported as-text error not-a-number negative-infinity positive-infinity
        not-performed not-permitted
    """
    assert set(ABSENT_REASONS) == set(published.split())


@pytest.fixture(scope="module")
def ucum():
    """A parser of UCUM's own grammar and tables, from elsewhere."""
    from ucumvert import get_ucum_parser

    return get_ucum_parser()


def test_units_are_ucum_by_a_parser_from_elsewhere_and_all_measures_have_one(ucum):
    for unit in UNITS:
        ucum.parse(unit)
    assert {measure.unit for measure in MEASURES.values()} | {"%"} <= set(UNITS)


@pytest.mark.parametrize("unit", ["score", "banana", "mmm", "sec", "milliseconds"])
def test_what_is_no_unit_is_refused_by_both(ucum, bundle, unit):
    with pytest.raises(Exception, match=r".*"):
        ucum.parse(unit)
    value = of_value(bundle, "tapping.radial_error_mm", "right", 2)
    value["valueQuantity"]["code"] = unit
    assert any("no unit of a measure" in said for said in findings(bundle))


SPOILT = {
    "wrong status": lambda b, o: o.update(status="banana"),
    "final by a machine": lambda b, o: o.update(status="final"),
    "no status": lambda b, o: o.pop("status"),
    "wrong unit": lambda b, o: o["valueQuantity"].update(code="banana"),
    "unit of no system": lambda b, o: o["valueQuantity"].pop("system"),
    "another unit for people": lambda b, o: o["valueQuantity"].update(unit="cm"),
    "date without zone": lambda b, o: o.update(effectiveDateTime="2026-08-10T09:30:00"),
    "day that is not there": lambda b, o: o.update(
        effectiveDateTime="2026-02-30T09:30:00+01:00"
    ),
    "day without time": lambda b, o: o.update(effectiveDateTime="2026-08-10"),
    "two values": lambda b, o: o.update(valueString="9 mm"),
    "value and reason": lambda b, o: o.update(dataAbsentReason={"text": "stopped"}),
    "no value and no reason": lambda b, o: o.pop("valueQuantity"),
    "not a number": lambda b, o: o["valueQuantity"].update(value=float("nan")),
    "a text for a number": lambda b, o: o["valueQuantity"].update(value="9.1"),
    "unknown field": lambda b, o: o.update(banana=1),
    "unknown field inside": lambda b, o: o["valueQuantity"].update(banana=1),
    "dangling reference": lambda b, o: o["subject"].update(reference="urn:uuid:banana"),
    "reference elsewhere": lambda b, o: o["subject"].update(reference="Patient/1"),
    "reference to another kind": lambda b, o: o.update(subject=o["device"]),
    "wrong absent reason": lambda b, o: (
        o.pop("valueQuantity"),
        o.update(
            dataAbsentReason={
                "coding": [
                    {
                        "system": "http://terminology.hl7.org/CodeSystem/data-absent-reason",
                        "code": "felt-like-it",
                    }
                ],
                "text": "why not",
            }
        ),
    ),
    "absent reason without a code": lambda b, o: (
        o.pop("valueQuantity"),
        o.update(dataAbsentReason={"text": "why not"}),
    ),
    "wrong category": lambda b, o: o["category"][0]["coding"][0].update(code="banana"),
    "borrowed code": lambda b, o: o["code"]["coding"].append(
        {"system": "http://elsewhere.example/codes", "code": "1-8"}
    ),
    "code that is not defined": lambda b, o: o["code"]["coding"][0].update(code="banana"),
    "interval upside down": lambda b, o: o["component"][0]["valueRange"].update(
        low=o["component"][0]["valueRange"]["high"],
        high=o["component"][0]["valueRange"]["low"],
    ),
    "component without value": lambda b, o: o["component"][0].pop("valueRange"),
    "list for one": lambda b, o: o.update(method=[o["method"]]),
    "one for a list": lambda b, o: o.update(category=o["category"][0]),
    "empty list": lambda b, o: o.update(note=[]),
    "empty text": lambda b, o: o["method"].update(text=""),
    "put elsewhere": lambda b, o: b["entry"][-1]["request"].update(url="Provenance/1"),
    "another verb": lambda b, o: b["entry"][-1]["request"].update(method="POST"),
    "two under one address": lambda b, o: b["entry"].append(b["entry"][-1]),
    "another resource": lambda b, o: o.update(resourceType="Immunization"),
    "no transaction": lambda b, o: b.update(type="collection"),
    "report final": lambda b, o: of(b, "DiagnosticReport")[0].update(status="final"),
    "report wrong status": lambda b, o: of(b, "DiagnosticReport")[0].update(status="done"),
    "flag wrong status": lambda b, o: of(b, "Flag")[0].update(status="open"),
    "flag ends first": lambda b, o: of(b, "Flag")[0]["period"].update(
        start="2026-08-20T10:00:00Z", end="2026-08-19T10:00:00Z"
    ),
    "answers wrong status": lambda b, o: of(b, "QuestionnaireResponse")[0].update(status="ok"),
    "answer to no question": lambda b, o: of(b, "QuestionnaireResponse")[0]["item"][0]["item"][
        0
    ].update(linkId="before.banana"),
    "answer of another kind": lambda b, o: of(b, "QuestionnaireResponse")[0]["item"][0]["item"][
        0
    ].update(answer=[{"valueString": "3"}]),
    "two answers": lambda b, o: of(b, "QuestionnaireResponse")[0]["item"][0]["item"][0].update(
        answer=[{"valueInteger": 3}, {"valueInteger": 4}]
    ),
    "questionnaire that is not there": lambda b, o: of(b, "QuestionnaireResponse")[0].update(
        questionnaire="urn:uuid:1|1"
    ),
    "recorded without zone": lambda b, o: of(b, "Provenance")[0].update(
        recorded="2026-08-20T10:00:00"
    ),
    "amendment of nothing": lambda b, o: of(b, "Provenance")[0].update(target=[]),
    "codes counted wrong": lambda b, o: of(b, "CodeSystem")[0].update(count=1),
}


@pytest.mark.parametrize("name", SPOILT)
def test_what_a_bundle_may_not_say_is_found(bundle, name):
    value = of_value(bundle, "tapping.radial_error_mm", "right", 2)
    SPOILT[name](bundle, value)
    assert findings(bundle)


def test_the_model_alone_misses_what_the_own_check_is_for(bundle):
    """Words, units and references: it is needed, and not enough."""
    missed = [
        "wrong status",
        "wrong unit",
        "dangling reference",
        "wrong absent reason",
        "borrowed code",
        "answer to no question",
    ]
    for name in missed:
        spoilt = copy.deepcopy(bundle)
        SPOILT[name](spoilt, of_value(spoilt, "tapping.radial_error_mm", "right", 2))
        assert not model_refuses(spoilt), name
        assert findings(spoilt), name


@pytest.mark.parametrize("nothing", [None, [], {}, "Bundle", {"resourceType": "Patient"}])
def test_what_is_no_bundle_is_said_to_be_none(nothing):
    assert findings(nothing) == ["it is no Bundle"]
