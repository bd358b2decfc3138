"""Everything that was said about a person, in order of time, with its author."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from battery.cautions import CONTRAINDICATIONS
from battery.desk.noted import noted, noted_of_all
from battery.desk.told_words import (
    Say,
    amendment_told,
    comfort_told,
    dose_told,
    in_language,
    plan_told,
)
from battery.desk.words import _
from battery.effective import visits_of
from battery.entered_by import entered_by
from battery.store import Amended, Contraindication, Store, TakenBack


@dataclass(frozen=True, slots=True)
class Said:
    """Something somebody said.

    Parameters
    ----------
    at_utc : str
        When it was said, or for an event when it happened.
    author : str
        Initials; empty where none is kept.
    what : str
        In words.
    target : str
        What can be taken back, as ``kind:id``; empty where it cannot.
    taken_back : str
        Why and by whom it was taken back; empty while it holds.
    """

    at_utc: str
    author: str
    what: str
    target: str = ""
    taken_back: str = ""


class Told:
    """What was said about one person or about everybody, read once.

    Parameters
    ----------
    store : Store
    code : str, optional
        Of this person only.
    """

    def __init__(self, store: Store, code: str | None = None) -> None:
        care, said = store.care, store.annotations
        self.store = store
        self.goals = _by_person(care.goals(code))
        self.levels = care.goal_levels()
        self.prescriptions = _by_person(care.prescriptions(code))
        self.home_plans = _by_person(care.home_plans(code))
        self.comforts = _by_person(care.comforts(code))
        self.plans = _by_person(care.plans(code))
        self.states = _by_person(care.states(code))
        self.markers = _by_person(said.markers(code))
        self.restarts = _by_person(said.restarts(code))
        self.acknowledged = _by_person(said.acknowledgements(code))
        self.taken_back = _by_person(said.taken_back(code))
        self.consents = _by_person(store.people.consents(code))
        self.asked = _by_person(care.contraindications(code))
        self.entered_by = entered_by(store, code)
        self.noted = noted_of_all(store) if code is None else {code: noted(store, code)}
        self.amendments = said.amendments()
        self.amended = Amended(self.amendments)
        blocks = [a.target_id for a in self.amendments if a.target == "block"]
        self.blocks = store.records.places(blocks)
        named = {a.target_id for a in self.amendments} | {v for v, _ in self.blocks.values()}
        # Whose visits have to be numbered, as something was said about one of them.
        self.whose = {
            self.amended.person(visit_id, person)
            for visit_id, person, _ in store.visits.revisions()
            if visit_id in named
        }

    def numbers(self, code: str) -> dict[str, int]:
        """Return the numbers of a person's visits, if any of them is spoken of."""
        if code not in self.whose and code not in self.restarts:
            return {}
        visits = visits_of(self.store, code, self.amended)
        return {v.header.visit_id: n for n, v in enumerate(visits, start=1)}


def _by_person(rows: Iterable[Any]) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = {}
    for row in rows:
        found.setdefault(row.person, []).append(row)
    return found


def history_of(
    store: Store, code: str, told: Told | None = None, *, language: str = "en"
) -> list[Said]:
    """List what was said about a person, the newest first.

    Parameters
    ----------
    told : Told, optional
        What was said, where it was read already.
    language : str
        Of the program's own words; what somebody typed stays as it is.
    """
    told = told or Told(store, code)
    say = in_language(language)
    rows = [
        *_of_the_person(told, code, say),
        *_of_the_care(told, code, say),
        *_of_visits(told, code, say),
    ]
    gone = {row.target_id: row for row in told.taken_back.get(code, ())}
    rows = [_with_end(row, gone) for row in rows]
    return sorted(rows, key=lambda row: row.at_utc, reverse=True)


def _of_the_person(told: Told, code: str, say: Say) -> Iterator[Said]:
    """Give what was said of states, consent, alarms, the note, and events."""
    for m in told.markers.get(code, ()):
        line, author = _joined(say(m.kind), m.note), told.entered_by.get(m.marker_id, "")
        yield Said(m.at_utc, author, line, f"event:{m.marker_id}")
    for s in told.states.get(code, ()):
        line = say(_("{state} from {day}"), state=say(s.state), day=s.from_date)
        yield Said(s.at_utc, s.author, _joined(line, s.reason))
    for c in told.consents.get(code, ()):
        line = say(
            _("consent to {use} {decision}, form {form}"),
            use=say(c.scope), decision=say(c.decision), form=c.form_version,
        )  # fmt: skip
        yield Said(c.at_utc, told.entered_by.get(c.consent_id, ""), line)
    yield from _of_checklists(told.asked.get(code, ()), say)
    for a in told.acknowledged.get(code, ()):
        yield Said(a.at_utc, a.author, _joined(say(_("alarm acknowledged")), a.note))
    for at_utc, author in told.noted.get(code, ()):
        yield Said(at_utc, author, say(_("the note was put into the chart")))


def _of_checklists(asked: Iterable[Contraindication], say: Say) -> Iterator[Said]:
    """Give each time somebody went through the reasons not to start."""
    rounds: dict[tuple[str, str], list[str]] = {}
    for row in asked:
        there = rounds.setdefault((row.at_utc, row.author), [])
        what = say(CONTRAINDICATIONS.get(row.item, row.item))
        if row.answer == "yes":
            there.append(what)
        elif row.answer != "no":
            there.append(say(_("not known whether {what}"), what=what))
    for (at_utc, author), there in rounds.items():
        what = "; ".join(there) or say(_("none"))
        yield Said(at_utc, author, say(_("reasons not to start: {what}"), what=what))


def _of_the_care(told: Told, code: str, say: Say) -> Iterator[Said]:
    """Give what was said of goals, plans, home exercise and comfort."""
    goals = {goal.goal_id: goal.goal for goal in told.goals.get(code, ())}
    for g in told.goals.get(code, ()):
        yield Said(g.at_utc, g.author, _joined(say(_("goal")), g.goal), f"goal:{g.goal_id}")
    for x in told.levels:
        if x.goal_id in goals:
            line = say(
                _("goal reached: {goal}: {level}"),
                goal=goals[x.goal_id],
                level=f"{x.level:+d}" if x.level else "0",
            )
            yield Said(x.at_utc, x.author, line, f"rating:{x.level_id}")
    for p in told.prescriptions.get(code, ()):
        line = say(
            _("home exercise {n} times a week from {day}"), n=f"{p.per_week:g}", day=p.from_date
        )
        yield Said(p.at_utc, p.author, _joined(line, p.note))
    for e in told.home_plans.get(code, ()):
        line = say(_("at home from {day}: {dose}"), day=e.from_date, dose=dose_told(e, say))
        yield Said(e.at_utc, e.author, line)
    for c in told.comforts.get(code, ()):
        author = "" if c.author == code else c.author
        yield Said(c.at_utc, author, comfort_told(c, say))
    for plan in told.plans.get(code, ()):
        yield Said(plan.at_utc, plan.author, plan_told(plan, say))


def _of_visits(told: Told, code: str, say: Say) -> Iterator[Said]:
    """Give what was said of baselines, and what was put right."""
    visits = told.numbers(code)
    for r in told.restarts.get(code, ()):
        line = (
            say(_("new baseline from visit {number}"), number=visits[r.visit_id])
            if r.visit_id in visits
            else say(_("baseline from enrolment again"))
        )
        yield Said(r.at_utc, r.author, _joined(line, r.reason))
    for a in told.amendments:
        visit_id, task = told.blocks.get(a.target_id, (a.target_id, ""))
        if visit_id in visits:
            line = amendment_told(a, visits[visit_id], task, say)
            yield Said(a.at_utc, a.author, line)


def _with_end(row: Said, gone: Mapping[str, TakenBack]) -> Said:
    back = gone.get(row.target.partition(":")[2])
    if back is None:
        return row
    words = f"{back.reason}, {back.author}, {back.at_utc[:10]}"
    return Said(row.at_utc, row.author, row.what, "", words)


def _joined(what: str, note: str) -> str:
    return f"{what}: {note}" if note else what
