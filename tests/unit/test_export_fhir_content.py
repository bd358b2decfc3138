"""What a chart as FHIR R4 says: true, with its reasons, of a study code, and repeatable."""

import json
import re
from dataclasses import replace

import pytest

from battery.export.fhir import Page, findings
from battery.export.fhir.codes import COMPOSITE, measures_system, words_system
from battery.export.fhir.names import MEASURES_SYSTEM, WORDS_SYSTEM
from battery.scoring import MEASURES
from tests import charts
from tests.charts import model_refuses, of
from tests.unit.test_export_fhir import bundle, of_value, whole

__all__ = ["bundle", "whole"]  # fixtures of both files


def test_a_number_stands_as_it_was_measured_with_unit_interval_and_hand(whole):
    """By hand from the rows: value, low = 0.9 and high = 1.1 of it, 24 trials."""
    reading = next(
        r
        for r in charts.MADE.readings()
        if (r.measure, r.hand, r.visit) == ("tapping.radial_error_mm", "right", 2)
    )
    made = of_value(whole, "tapping.radial_error_mm", "right", 2)
    value = made["valueQuantity"]
    assert value["value"] == pytest.approx(reading.value, rel=1e-8)
    assert (value["code"], value["system"]) == ("mm", "http://unitsofmeasure.org")
    interval, n = made["component"]
    assert interval["valueRange"]["low"]["value"] == pytest.approx(
        0.9 * reading.value, rel=1e-8
    )
    assert interval["valueRange"]["high"]["value"] == pytest.approx(
        1.1 * reading.value, rel=1e-8
    )
    assert n["valueInteger"] == 24
    assert made["status"] == "preliminary"
    assert made["bodySite"]["text"] == "Right hand"
    assert made["effectiveDateTime"] == "2026-08-10T09:34:00.000+02:00"
    assert "scoring version 1" in made["method"]["text"]
    assert "rules version 1" in made["method"]["text"]


def test_a_missing_number_says_why_and_is_never_a_zero(whole):
    made = of_value(whole, "trail.time_per_link_s", "left", 2)
    assert not [name for name in made if name.startswith("value")]
    reason = made["dataAbsentReason"]
    assert reason["coding"][0]["code"] == "not-performed"
    assert reason["text"] == "the person stopped the block"


def test_all_tasks_together_are_the_percent_of_the_page_and_name_what_they_stand_on(whole):
    """Without a complete baseline the first visit that counts is 100."""
    made = of_value(whole, COMPOSITE, "right", 1)
    assert made["valueQuantity"]["value"] == pytest.approx(100)
    parts = {p["reference"] for p in made["derivedFrom"]}
    own = [
        of_value(whole, name, "right", 1)
        for name in ("tapping.radial_error_mm", "trail.time_per_link_s")
    ]
    assert parts == {f"urn:uuid:{o['id']}" for o in own}
    # The left hand has no second trail: what is missing is not among what it stands on.
    half = of_value(whole, COMPOSITE, "left", 2)
    assert len(half.get("derivedFrom", [])) <= 1


def test_what_is_not_compared_is_no_part_of_all_tasks_together():
    base = charts.chart()
    block = next(
        v
        for v in base.said.values
        if v.measure == "trail.time_per_link_s"
        and (v.hand, v.visit_id) == ("right", base.visits[1].header.visit_id)
    )
    aside = replace(block, aside="somebody helped with arm or presses", flags=("helped",))
    values = [aside if v is block else v for v in base.said.values]
    made = charts.bundle(said=replace(base.said, values=values))
    trail = of_value(made, "trail.time_per_link_s", "right", 2)
    assert trail["valueQuantity"]["value"] == pytest.approx(block.value, rel=1e-8)
    assert [n["text"] for n in trail["note"]] == [
        "Not compared with other visits: somebody helped with arm or presses."
    ]
    parts = {p["reference"] for p in of_value(made, COMPOSITE, "right", 2)["derivedFrom"]}
    assert f"urn:uuid:{trail['id']}" not in parts


def test_what_was_amended_says_who_when_and_why_but_no_other_persons_code(whole):
    said = [p for p in of(whole, "Provenance") if p["agent"][0]["who"]["display"] == "AB"]
    told = {p["activity"]["text"]: p for p in said}
    hand = told["hand: left (was right)"]
    assert hand["reason"] == [{"text": "pen in the left hand"}]
    assert hand["recorded"] == charts.AMENDED_AT
    assert [t["type"] for t in hand["target"]] == ["Observation"]
    assert "M4WX" not in json.dumps(whole)


def test_what_a_hand_put_right_takes_away_is_entered_in_error_not_left_as_it_was(bundle):
    """All blocks of the right hand become the left one's: the page has no right hand then."""
    base = charts.chart()
    second = base.visits[1].header.visit_id
    right = [b for b, h in base.blocks.items() if (h.visit_id, h.hand) == (second, "right")]
    told = [
        replace(base.amendments[0], target_id=block, old="right", new="left",
                amendment_id=charts.kit.identifier(f"hand {block}"))
        for block in right
    ]  # fmt: skip
    values = [v for v in base.said.values if (v.visit_id, v.hand) != (second, "right")]
    later = charts.bundle(amendments=told, said=replace(base.said, values=values))
    assert findings(later) == []
    assert not model_refuses(later)
    statuses = {o["id"]: o["status"] for o in of(later, "Observation")}
    for name in ("tapping.radial_error_mm", "trail.time_per_link_s", COMPOSITE):
        before = of_value(bundle, name, "right", 2)
        assert before["status"] == "preliminary"
        assert statuses[before["id"]] == "entered-in-error"


def test_a_visit_left_out_is_entered_in_error_and_not_in_the_report(whole):
    left_out = of_value(whole, "tapping.radial_error_mm", "right", 1)
    assert left_out["status"] == "entered-in-error"
    report = of(whole, "DiagnosticReport")[0]
    results = {r["reference"] for r in report["result"]}
    assert f"urn:uuid:{left_out['id']}" not in results
    kept = [o for o in of(whole, "Observation") if o["status"] == "preliminary"]
    assert results == {f"urn:uuid:{o['id']}" for o in kept}


def test_an_alarm_is_an_active_flag_until_somebody_has_seen_it(whole):
    flags = {f["code"]["text"]: f for f in of(whole, "Flag")}
    assert flags["ended unwell"]["status"] == "active"
    assert "end" not in flags["ended unwell"]["period"]
    seen = flags["fall: at home"]
    assert (seen["status"], seen["period"]["end"]) == (
        "inactive",
        "2026-08-20T12:00:00.000+02:00",
    )
    words = [
        p for p in of(whole, "Provenance") if p["activity"]["text"] == "Alarm acknowledged"
    ]
    assert [p["reason"] for p in words] == [[{"text": "rang up"}]]


def test_answers_keep_the_latest_word_and_at_a_stop_every_one(whole):
    second, third = of(whole, "QuestionnaireResponse")
    groups = {}
    for group in second["item"]:
        groups.setdefault(group["linkId"], []).append(group["item"])
    before = {i["linkId"]: i["answer"] for i in groups["before"][0]}
    assert before["before.pain"] == [{"valueInteger": 3}]
    assert before["before.red_flags"] == [{"valueBoolean": False}]
    assert before["before.medication"][0]["valueCoding"]["code"] == "answer.medication.1_to_2_h"
    stop = {i["linkId"]: i["answer"] for i in groups["stop"][0]}
    assert stop["stop.dizziness"] == [{"valueInteger": 6}, {"valueInteger": 4}]
    assert len(groups["block"]) == 2
    assert groups["block"][0][0]["answer"] == [{"valueString": "tapping, left hand"}]
    assert (second["status"], third["status"]) == ("completed", "stopped")


def test_the_report_is_preliminary_and_says_what_the_page_says(whole):
    report = of(whole, "DiagnosticReport")[0]
    assert report["status"] == "preliminary"
    assert report["conclusion"].split("\n") == list(charts.chart().said.sentences)
    assert "Not a diagnosis" in report["conclusion"] or "diagnosis" in report["conclusion"]
    assert "presentedForm" not in report
    page = Page("application/pdf", b"%PDF-1.7", "2026-11-25T12:00:00.000+01:00")
    said = replace(charts.chart().said, page=page)
    with_page = charts.bundle(said=said)
    assert findings(with_page) == []
    assert not model_refuses(with_page)
    assert of(with_page, "DiagnosticReport")[0]["presentedForm"][0]["data"] == "JVBERi0xLjc="


def test_the_person_is_a_study_code_and_nothing_else(whole):
    (patient,) = of(whole, "Patient")
    assert set(patient) == {"resourceType", "id", "identifier"}
    assert patient["identifier"][0]["value"] == "K7QF"


def test_two_clinics_that_draw_the_same_code_do_not_meet(whole):
    other = replace(charts.MADE.person(), enrolled_utc="2026-08-01T08:00:01+00:00")
    (theirs,) = of(charts.bundle(person=other), "Patient")
    assert theirs["id"] != of(whole, "Patient")[0]["id"]


def test_no_hash_of_a_record_leaves(whole):
    """That of the record covers when it began; that of an export leads to a study's rows."""
    assert not re.search(r"[0-9a-f]{64}", json.dumps(whole))


def test_the_same_chart_gives_the_same_bytes_and_a_new_word_the_same_identifiers(whole):
    assert charts.bundle() == whole
    later = charts.bundle(amendments=(), alarms=())
    ids = {e["fullUrl"] for e in later["entry"]}
    assert ids <= {e["fullUrl"] for e in whole["entry"]}
    assert all(
        e["request"] == {"method": "PUT", "url": f"{r['resourceType']}/{r['id']}"}
        for e in whole["entry"]
        for r in [e["resource"]]
    )


def test_every_measure_is_defined_in_the_projects_own_system():
    system = measures_system()
    told = {c["code"]: c for c in system["concept"]}
    assert set(told) == set(MEASURES) | {COMPOSITE}
    assert all(c["definition"].strip() for c in [*told.values(), *words_system()["concept"]])
    assert (system["url"], system["content"]) == (MEASURES_SYSTEM, "complete")
    assert MEASURES_SYSTEM != WORDS_SYSTEM


def test_somebody_without_a_visit_is_a_person_without_a_report():
    empty = charts.bundle(visits=(), blocks={}, answers={}, amendments=(), alarms=())
    assert findings(empty) == []
    assert not model_refuses(empty)
    kinds = {e["resource"]["resourceType"] for e in empty["entry"]}
    assert kinds == {"CodeSystem", "Questionnaire", "Patient"}
