"""What was said about people, put into words in the desk's language.

Only the program's own words are translated; what somebody typed stays as it was typed.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial

from battery.comfort import told_of
from battery.desk.comfort_form import OFFERED
from battery.desk.frame import clock
from battery.desk.words import _, catalogue
from battery.handover.both_sides import Row, Sides
from battery.handover.receiving import ReceiveReport, outcome_lines
from battery.home_plan import WEEKDAYS
from battery.own_plan import OwnPlan
from battery.store import Amendment, ComfortEntry, HomePlanEntry, PersonPlan

MOMENTS = ("enrolled", "started")
Say = Callable[..., str]
Retell = Callable[[str], str]
FIELDS = {
    "hand": _("hand"),
    "person": _("person"),
    "helped": _("helped"),
    "excluded": _("left out"),
    "note": _("note"),
}
ARMS = {"both": _("each arm"), "left": _("the left arm"), "right": _("the right arm")}
SETTLED = (
    _("tablet {mark} is accepted"),
    _("{code}: taken as the same person; the enrolment here holds"),
    _("{code} is enrolled as on the tablet"),
    _("{name} is left out; it stays in the store"),
    _("this version of the visit holds; {n} others are left out, and kept"),
)
HELD_KEYS = {
    "clinic key": _("key of this clinic: {mark}"),
    "tablet key": _("key of this machine as a tablet: {mark}"),
    "seals to": _("sends to the clinic {mark}"),
}
SIDES = (
    _("writing hand"), _("more affected side"), _("hand tested first"), _("enrolled"),
    _("visits to get used to the test"), _("visits of the baseline"), _("started"), _("ended"),
    _("blocks"), _("finished blocks"), _("tablet"), _("the tablet"), _("this clinic"),
)  # fmt: skip
PLACES = {"near": _("target near"), "wall": _("target on the wall")}


def in_language(code: str) -> Say:
    """Return what puts a text with named blanks into a language."""
    return partial(_said, code)


def _said(code: str, text: str, /, **blanks: object) -> str:
    told = catalogue(code).gettext(text) if text else ""
    return told.format(**blanks) if blanks else told


def plan_told(row: PersonPlan, say: Say) -> str:
    """Say a plan that was set in one line."""
    file = "" if row.source_sha256 is None else say(_(" from {file}"), file=row.source)
    return say(
        _("plan {name} ({mark}){file}, set by {author} on {day}"),
        name=say(row.plan_name), mark=row.plan_hash[:8], file=file, author=row.author,
        day=row.at_utc[:10],
    )  # fmt: skip


def contradiction_told(code: str, held: OwnPlan, say: Say) -> str:
    """Say which plans contradict."""
    return say(
        _(
            "{code}: two plans contradict each other. Visits go on with {held}; the other is "
            "{others}. Nothing was overwritten: set the plan again to settle it"
        ),
        code=code,
        held=plan_told(held.row, say),
        others="; ".join(plan_told(row, say) for row in held.against),
    )


def sides_told(sides: Sides | None, say: Say) -> Sides | None:
    """Say both sides of a choice; moments as the clocks of this place show them."""
    if sides is None:
        return None
    rows = [
        Row(
            say(row.name),
            row.sides
            if row.name == "tablet"
            else tuple(clock(side) if row.name in MOMENTS else say(side) for side in row.sides),
        )
        for row in sides.rows
    ]
    return Sides(tuple(say(head) for head in sides.heads), tuple(rows))


def received_told(report: ReceiveReport, say: Say, retell: Retell) -> list[str]:
    """Say what became of the bundles of a drive, one line each."""
    told = [retell(line) for line in outcome_lines(report.outcomes)]
    told = told or [say(_("no bundle was taken in"))]
    if report.n_waiting == 1:
        told.append(say(_("1 waits for a choice: see below")))
    elif report.n_waiting:
        told.append(say(_("{n} wait for a choice: see below"), n=report.n_waiting))
    told += [retell(f"refused: {line}") for line in report.refused]
    told += [retell(line) for line in report.notes]
    told += [contradiction_told(code, held, say) for code, held in report.contradicting]
    told += [
        say(_("tablet key {mark}: compare it with what the tablet shows"), mark=mark)
        for mark in report.new_keys
    ]
    return told


def key_told(line: str, say: Say) -> str:
    """Say which key is held here for what; a line of another form stays as it is."""
    found = re.fullmatch(r"accepts +([\da-f ]+?) \((.+), by (.*)\)", line)
    if found is not None:
        mark, device, author = found.groups()
        return say(
            _("accepted tablet: {mark} ({device}), by {author}"),
            mark=mark, device=device, author=author,
        )  # fmt: skip
    for begin, form in HELD_KEYS.items():
        if line.startswith(begin):
            return say(form, mark=line.removeprefix(begin).strip())
    return line


def settled_told(line: str, say: Say, retell: Retell) -> str:
    """Say what became of what waited; a line of another form stays as it is."""
    for form in SETTLED:
        pattern = re.sub(r"\\{(\w+)\\}", r"(?P<\1>.+)", re.escape(form))
        if (found := re.fullmatch(pattern, line)) is not None:
            return say(form, **found.groupdict())
    return retell(line)


def dose_told(entry: HomePlanEntry, say: Say) -> str:
    """Say in one line what is agreed of one exercise at home."""
    if entry.exercise == "none":
        return say(_("nothing is agreed any more"))
    days = [say(WEEKDAYS[int(day) - 1].capitalize()) for day in entry.weekdays.split()]
    times = ", ".join(entry.at_times.split())
    parts = (
        say(
            _("{minutes} min with {arm}"),
            minutes=f"{entry.minutes:g}", arm=say(ARMS[entry.hand or "both"]),
        ),
        say(_("once a day"))
        if entry.times_a_day == 1
        else say(_("{n} times a day"), n=entry.times_a_day),
        say(_("every day")) if len(days) == len(WEEKDAYS) else ", ".join(days),
        say(PLACES[entry.target or "near"]),
        say(_("{n} g at the wrist"), n=entry.weight_g)
        if entry.weight_g
        else say(_("no weight")),
    )  # fmt: skip
    reminder = say(_("; reminder at {times}"), times=times) if times else ""
    return f"{say(entry.exercise)}: {', '.join(parts)}{reminder}"


def comfort_told(entry: ComfortEntry, say: Say) -> str:
    """Say one thing of how the tablet looks and sounds."""
    label, choices = OFFERED.get(entry.name, (entry.name, ()))
    unit = " %" if entry.name.endswith("_percent") else ""
    value = dict(choices).get(told_of(entry.value), f"{entry.value}{unit}")
    line = (
        _("the person chose on the tablet: {what}: {value}")
        if entry.author == entry.person
        else _("on the tablet: {what}: {value}")
    )
    return say(line, what=say(label), value=say(value))


def amendment_told(amendment: Amendment, number: int, task: str, say: Say) -> str:
    """Say what was put right of a visit, or of a block of it."""
    where = (
        say(_("visit {number}, {task}"), number=number, task=say(task))
        if task
        else say(_("visit {number}"), number=number)
    )
    own = amendment.field in ("person", "note")  # a code, or words that somebody typed
    new, old = (word if own else say(word) for word in (amendment.new, amendment.old))
    was = say(_(" (was {old})"), old=old) if old else ""
    what = say(FIELDS[amendment.field])
    return f"{where}, {what}: {new}{was}; {amendment.reason}"
