"""Everything that was said about a person or a clinic, in order of time, with its author."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from battery.comfort import said_words
from battery.desk.noted import noted, noted_of_all
from battery.effective import visits_of
from battery.home_plan import dose_words
from battery.own_plan import plan_words
from battery.store import Amended, Store, TakenBack


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


def history_of(store: Store, code: str, told: Told | None = None) -> list[Said]:
    """List what was said about a person, the newest first.

    Parameters
    ----------
    told : Told, optional
        What was said, where it was read already.
    """
    told = told or Told(store, code)
    goals = {goal.goal_id: goal.goal for goal in told.goals.get(code, ())}
    visits = told.numbers(code)
    blocks = {
        block_id: (visits[visit_id], task)
        for block_id, (visit_id, task) in told.blocks.items()
        if visit_id in visits
    }
    rows: list[Said] = []
    rows += [
        Said(m.at_utc, "", _joined(m.kind, m.note), f"event:{m.marker_id}")
        for m in told.markers.get(code, ())
    ]
    rows += [
        Said(g.at_utc, g.author, f"goal: {g.goal}", f"goal:{g.goal_id}")
        for g in told.goals.get(code, ())
    ]
    rows += [
        Said(
            x.at_utc, x.author, f"goal reached: {goals[x.goal_id]}: {x.level:+d}",
            f"rating:{x.level_id}",
        )
        for x in told.levels
        if x.goal_id in goals
    ]  # fmt: skip
    rows += [
        Said(
            p.at_utc,
            p.author,
            _joined(f"home exercise {p.per_week:g} times a week from {p.from_date}", p.note),
        )
        for p in told.prescriptions.get(code, ())
    ]
    rows += [
        Said(
            r.at_utc,
            r.author,
            f"new baseline from visit {visits[r.visit_id]}: {r.reason}"
            if r.visit_id in visits
            else f"baseline after enrolment again: {r.reason}",
        )
        for r in told.restarts.get(code, ())
    ]
    rows += [
        Said(e.at_utc, e.author, f"at home from {e.from_date}: {dose_words(e)}")
        for e in told.home_plans.get(code, ())
    ]
    rows += [
        Said(c.at_utc, "", f"the person chose on the tablet: {said_words(c)}")
        if c.author == code
        else Said(c.at_utc, c.author, f"on the tablet: {said_words(c)}")
        for c in told.comforts.get(code, ())
    ]
    rows += [Said(p.at_utc, p.author, plan_words(p)) for p in told.plans.get(code, ())]
    rows += [
        Said(s.at_utc, s.author, f"{s.state} from {s.from_date}: {s.reason}")
        for s in told.states.get(code, ())
    ]
    rows += [
        Said(c.at_utc, "", f"consent {c.decision}, form {c.form_version}")
        for c in told.consents.get(code, ())
    ]
    rows += [
        Said(a.at_utc, a.author, _joined("alarm acknowledged", a.note))
        for a in told.acknowledged.get(code, ())
    ]
    rows += [
        Said(at_utc, author, "the note was put into the chart")
        for at_utc, author in told.noted.get(code, ())
    ]
    for a in told.amendments:
        if a.target_id in visits:
            where = f"visit {visits[a.target_id]}"
        elif a.target_id in blocks:
            number, task = blocks[a.target_id]
            where = f"visit {number}, {task}"
        else:
            continue
        was = f" (was {a.old})" if a.old else ""
        rows.append(Said(a.at_utc, a.author, f"{where}: {a.field} {a.new}{was}: {a.reason}"))
    gone = {row.target_id: row for row in told.taken_back.get(code, ())}
    rows = [_with_end(row, gone) for row in rows]
    return sorted(rows, key=lambda row: row.at_utc, reverse=True)


def _with_end(row: Said, gone: Mapping[str, TakenBack]) -> Said:
    back = gone.get(row.target.partition(":")[2])
    if back is None:
        return row
    words = f"{back.reason}, {back.author}, {back.at_utc[:10]}"
    return Said(row.at_utc, row.author, row.what, "", words)


def _joined(what: str, note: str) -> str:
    return f"{what}: {note}" if note else what
