"""What a page says of each visit, as rows."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from sys import intern

from battery.answers import SYMPTOMS, latest, rises
from battery.recording import Device
from battery.report.page_rows import VisitRow
from battery.report.readings import Everything
from battery.store import VisitRecord

SCALES = {
    "card": "measured with a card",
    "ruler": "measured with a ruler",
    "guess": "size not measured",
    "virtual": "simulated",
}


def brief_row(visit: VisitRecord, number: int) -> VisitRow:
    """Return the row of a person's visit by its number, without what was said around it."""
    header = visit.header
    return VisitRow(
        number=number,
        visit_id=header.visit_id,
        when=local(header.started_utc, header.utc_offset_min),
        plan=intern(header.plan_name),  # one object for thousands of visits
        plan_hash=intern(header.plan_hash),
        device=intern(header.device.alias),
        screen=intern(_screen_words(header.device)),
        protocol_version=header.protocol_version,
        ending=intern(visit.ending or "open"),
        origin=intern(header.origin),
    )


def visit_row(everything: Everything, visit: VisitRecord, number: int) -> VisitRow:
    """Return the row of a person's visit by its number, from 1."""
    said = everything.flagging.answers_of(visit.header.visit_id)
    return replace(
        brief_row(visit, number),
        remarks=_remarks(everything, visit),
        symptoms={
            name: max(told)
            for name in SYMPTOMS
            if (told := [int(a.value) for a in said if a.question == name])
        },
        rises=rises(said),
        medication=latest(said, "before", "medication") or "",
        red_flags=any((a.question, a.value) == ("red_flags", "yes") for a in said),
    )


def _screen_words(device: Device) -> str:
    screen = device.screen
    size = f"{screen.width_mm:.0f} × {screen.height_mm:.0f} mm"
    return f"{size}, {SCALES[screen.scale_source]}"


def _remarks(everything: Everything, visit: VisitRecord) -> tuple[str, ...]:
    """Say what was amended, and which blocks were stopped and why."""
    blocks = {b.block_id: b for b in everything.blocks.get(visit.header.visit_id, [])}
    said = [
        f"{b.task}, {b.hand} hand, {b.ending}" + (f": {b.reason}" if b.reason else "")
        for b in blocks.values()
        if b.ending not in (None, "finished")
    ]
    said += [
        f"{name} rose by {rise} on 0 to 10"
        for name, rise in rises(everything.flagging.answers_of(visit.header.visit_id)).items()
    ]
    for a in everything.amendments_of((visit.header.visit_id, *blocks)):
        if a.target_id == visit.header.visit_id:
            where = "visit"
        else:
            where = f"{blocks[a.target_id].task} block {a.target_id[:8]}"
        was = f" (was {a.old})" if a.old else ""
        said.append(
            f"{where}: {a.field} {a.new}{was}, by {a.author} on {a.at_utc[:10]}: {a.reason}"
        )
    return tuple(said)


def local(at_utc: str, offset_min: int) -> datetime:
    """Return a moment on the clock of a place."""
    return datetime.fromisoformat(at_utc).astimezone(timezone(timedelta(minutes=offset_min)))
