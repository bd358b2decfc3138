"""Everything that was said about a person or a clinic, in order of time, with its author."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from battery.desk.noted import noted
from battery.effective import visits_of
from battery.home_plan import dose_words
from battery.own_plan import plan_words
from battery.store import Store, TakenBack


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


def history_of(store: Store, code: str) -> list[Said]:
    """List what was said about a person, the newest first."""
    goals = {goal.goal_id: goal.goal for goal in store.care.goals(code)}
    visits = {v.header.visit_id: n for n, v in enumerate(visits_of(store, code), start=1)}
    blocks = {
        block.block_id: (visits[block.visit_id], block.task)
        for block in store.records.in_brief(visit_ids=list(visits))
    }
    rows: list[Said] = []
    rows += [
        Said(m.at_utc, "", _joined(m.kind, m.note), f"event:{m.marker_id}")
        for m in store.annotations.markers(code)
    ]
    rows += [
        Said(g.at_utc, g.author, f"goal: {g.goal}", f"goal:{g.goal_id}")
        for g in store.care.goals(code)
    ]
    rows += [
        Said(
            x.at_utc, x.author, f"goal reached: {goals[x.goal_id]}: {x.level:+d}",
            f"rating:{x.level_id}",
        )
        for x in store.care.goal_levels()
        if x.goal_id in goals
    ]  # fmt: skip
    rows += [
        Said(
            p.at_utc,
            p.author,
            _joined(f"home exercise {p.per_week:g} times a week from {p.from_date}", p.note),
        )
        for p in store.care.prescriptions(code)
    ]
    rows += [
        Said(
            r.at_utc,
            r.author,
            f"new baseline from visit {visits[r.visit_id]}: {r.reason}"
            if r.visit_id in visits
            else f"baseline after enrolment again: {r.reason}",
        )
        for r in store.annotations.restarts(code)
    ]
    rows += [
        Said(e.at_utc, e.author, f"at home from {e.from_date}: {dose_words(e)}")
        for e in store.care.home_plans(code)
    ]
    rows += [Said(p.at_utc, p.author, plan_words(p)) for p in store.care.plans(code)]
    rows += [
        Said(s.at_utc, s.author, f"{s.state} from {s.from_date}: {s.reason}")
        for s in store.care.states(code)
    ]
    rows += [
        Said(c.at_utc, "", f"consent {c.decision}, form {c.form_version}")
        for c in store.people.consents(code)
    ]
    rows += [
        Said(a.at_utc, a.author, _joined("alarm acknowledged", a.note))
        for a in store.annotations.acknowledgements()
        if a.person == code
    ]
    rows += [
        Said(at_utc, author, "the note was put into the record")
        for at_utc, author in noted(store, code)
    ]
    for a in store.annotations.amendments():
        if a.target_id in visits:
            where = f"visit {visits[a.target_id]}"
        elif a.target_id in blocks:
            number, task = blocks[a.target_id]
            where = f"visit {number}, {task}"
        else:
            continue
        was = f" (was {a.old})" if a.old else ""
        rows.append(Said(a.at_utc, a.author, f"{where}: {a.field} {a.new}{was}: {a.reason}"))
    gone = {row.target_id: row for row in store.annotations.taken_back(code)}
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
