"""Invented charts: every kind of thing that a bundle may say, made by hand, without a store."""

import json
import math
from dataclasses import replace
from datetime import UTC, timedelta

from battery.alarms import Alarm
from battery.answers import Answer
from battery.charting import said_of
from battery.export.fhir import Chart, Said, bundle_of
from battery.report import page_data
from battery.store import Acknowledgement, Amendment, VisitRecord
from tests import report_cases as cases
from tests import store_kit as kit

MADE = cases.Made(
    n_visits=3,
    n_baseline=2,
    tasks=("tapping", "trail"),
    aside=lambda task, hand, visit: (
        ("the person stopped the block", ("stopped", "learning"))
        if (task, hand, visit) == ("trail", "left", 2)
        else ("", ("learning",))
    ),
)
AMENDED_AT = "2026-08-20T10:00:00.000+00:00"


def visits():
    """The visits as stored, the last one stopped."""
    return [
        VisitRecord(
            kit.visit(
                sequence=row.number,
                visit_id=row.visit_id,
                plan_name="standard",
                plan_hash=row.plan_hash,
                started_utc=row.when.astimezone(UTC).isoformat(timespec="milliseconds"),
                utc_offset_min=120,
            ),
            "stopped" if row.number == MADE.n_visits else "finished",
        )
        for row in MADE.visits()
    ]


def chart(**changes):
    """A chart with a value missing, a hand put right, a visit left out, answers and alarms."""
    told = visits()
    blocks = {
        cases.identifier(MADE.code, task, hand, number): kit.block_header(
            visit.header,
            index,
            block_id=cases.identifier(MADE.code, task, hand, number),
            task=task,
            hand=hand,
            started_utc=_later(visit, 2 * index + 2),
        )
        for number, visit in enumerate(told, start=1)
        for index, (task, hand) in enumerate(
            (task, hand) for task in MADE.tasks for hand in MADE.hands
        )
    }
    said = said_of(page_data(MADE.rows(cases.others()), made=cases.MADE))
    values = [
        replace(v, value=math.nan, low=math.nan, high=math.nan) if "stopped" in v.flags else v
        for v in said.values
    ]
    made = Chart(
        person=MADE.person(),
        visits=told,
        blocks=blocks,
        answers={v.header.visit_id: answers(v, list(blocks)) for v in told[1:]},
        amendments=amendments(told, list(blocks)),
        alarms=alarms(told),
        said=Said(values, said.sentences),
    )
    return replace(made, **changes)


def _later(visit, minutes):
    moment = cases.datetime.fromisoformat(visit.header.started_utc)
    return (moment + timedelta(minutes=minutes)).isoformat(timespec="milliseconds")


def answers(visit, blocks):
    """Around a visit: a symptom said twice, medicine, a hand, a stop with two questions."""
    rows = (
        (None, "before", "pain", "2"),
        (None, "before", "pain", "3"),
        (None, "before", "red_flags", "no"),
        (None, "before", "medication", "1_to_2_h"),
        (blocks[4], "block", "hand_used", "left"),
        (blocks[5], "block", "hand_used", "not_sure"),
        (None, "stop", "dizziness", "6"),
        (None, "stop", "dizziness", "4"),
        (None, "stop", "unwell", "yes"),
        (None, "after", "helped", "no"),
    )
    return [
        Answer(
            kit.identifier(f"answer {visit.header.visit_id} {number}"),
            visit.header.visit_id, number, block, moment, question, value,
            _later(visit, number),
        )
        for number, (block, moment, question, value) in enumerate(rows)
    ]  # fmt: skip


def amendments(told, blocks):
    """A hand put right, a visit left out, one that was recorded under another person's code."""
    first, second = (visit.header.visit_id for visit in told[:2])
    rows = (
        ("block", blocks[4], "hand", "right", "left", "pen in the left hand"),
        ("visit", first, "excluded", "no", "yes", "fire alarm"),
        ("visit", second, "person", "M4WX", "K7QF", "wrong tile pressed"),
    )
    return [
        Amendment(kit.identifier(f"amendment {n}"), target, about, field, old, new, "AB", why,
                  AMENDED_AT)
        for n, (target, about, field, old, new, why) in enumerate(rows)
    ]  # fmt: skip


def alarms(told):
    """One that nobody has acknowledged and one that somebody has."""
    when = cases.FIRST_DAY + timedelta(days=14, hours=1)
    seen = Acknowledgement(
        kit.identifier("seen"), "K7QF", "fall:1", "rang up", "AB", AMENDED_AT
    )
    key = f"unwell_end:{told[-1].header.visit_id}"
    return [
        Alarm(key, "K7QF", "unwell_end", when, "ended unwell", visit=3),
        Alarm("fall:1", "K7QF", "fall", cases.FIRST_DAY, "fall: at home", acknowledged=seen),
    ]


def shortened(bundle):
    """The bundle with those measures only that it speaks of; still a whole one."""
    text = json.dumps([e for e in bundle["entry"] if not _defines(e)])
    for entry in bundle["entry"]:
        if _defines(entry):
            system = entry["resource"]
            system["concept"] = [c for c in system["concept"] if f'"{c["code"]}"' in text]
            system["count"] = len(system["concept"])
    return bundle


def _defines(entry):
    return entry["resource"].get("name") == "CoordinationMeasures"


def bundle(**changes):
    return bundle_of(chart(**changes))


def of(bundle, kind):
    """All resources of a kind in a bundle; there must be one."""
    found = [e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == kind]
    assert found
    return found


def model_refuses(bundle):
    """Whether fhir.resources, a model of the standard, takes a bundle for none."""
    from fhir.resources.R4B.bundle import Bundle

    try:
        Bundle.model_validate(bundle)
    except ValueError:
        return True
    return False
