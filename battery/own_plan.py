"""The plan that belongs to a person, and what happens when two machines say different ones.

Every entry names those it stands in place of. So a plan that was set at the clinic after the
tablet's simply holds; two that were set without knowing of each other contradict, are named,
and neither takes the other's place until somebody sets a plan anew.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from battery.plan import PLANS, STANDARD, Plan, load_plan, plan_hash, plan_of_text
from battery.store import PersonPlan, Store
from battery.store.care import newest_plans


@dataclass(frozen=True, slots=True)
class OwnPlan:
    """The plan that holds for a person.

    Parameters
    ----------
    row : PersonPlan
    against : tuple of PersonPlan
        Others that were set without knowing of it and ask for something else.
    """

    row: PersonPlan
    against: tuple[PersonPlan, ...] = ()

    @property
    def plan(self) -> Plan:
        """What is to be done.

        Raises
        ------
        PlanError
            If this program cannot do it.
        """
        return plan_of_text(self.row.plan_json)


def own_plan(store: Store, code: str) -> OwnPlan | None:
    """Return the plan of a person; None for one who has none of their own."""
    newest = newest_plans(store.care.plans(code))
    if not newest:
        return None
    visits = store.visits.all(code)
    latest = max(visits, key=lambda v: v.header.started_utc, default=None)
    return held_of(newest, "" if latest is None else latest.header.plan_hash)


def held_of(newest: Sequence[PersonPlan], done_hash: str) -> OwnPlan:
    """Choose among plans that contradict: the one of the latest visit, else the first set.

    So nothing changes for the person before somebody has decided.

    Parameters
    ----------
    newest : sequence of PersonPlan
        At least one.
    done_hash : str
        Of the plan of the person's latest visit; empty before the first.
    """
    held = next((row for row in newest if row.plan_hash == done_hash), newest[0])
    return OwnPlan(held, tuple(row for row in newest if row.plan_hash != held.plan_hash))


def plan_for(store: Store, code: str) -> Plan:
    """Return what a person does: the own plan, else the standard one.

    Raises
    ------
    PlanError
        If this program cannot do the own one.
    """
    held = own_plan(store, code)
    return STANDARD if held is None else held.plan


def set_plan(store: Store, code: str, told: str, *, author: str, at_utc: str) -> PersonPlan:
    """Set the plan of a person, by name or from a file.

    Raises
    ------
    PlanError
        If there is no such plan or file, or it asks for something no task can do.
    UsageError
        If nobody has the code, or the author is empty.
    """
    store.people.get(code)
    plan = load_plan(told)
    sha256 = None
    if told not in PLANS:
        sha256 = hashlib.sha256(Path(told).read_bytes()).hexdigest()
    row = store.care.set_plan(
        code,
        plan,
        source=told if told in PLANS else Path(told).name,
        source_sha256=sha256,
        author=author,
        at_utc=at_utc,
    )
    store.setup.put_plan(row.plan_hash, plan.model_dump(mode="json"))
    return row


def keep_plan(store: Store, held: OwnPlan, *, author: str, at_utc: str) -> PersonPlan:
    """Set the plan that holds anew, in place of all that contradict it.

    Raises
    ------
    PlanError
        If this program cannot do it.
    UsageError
        If the author is empty.
    """
    row = held.row
    return store.care.set_plan(
        row.person,
        held.plan,
        source=row.source,
        source_sha256=row.source_sha256,
        author=author,
        at_utc=at_utc,
    )


def plan_words(row: PersonPlan) -> str:
    """Say a plan that was set in one line."""
    file = "" if row.source_sha256 is None else f" from {row.source}"
    return (
        f"plan {row.plan_name} ({row.plan_hash[:8]}){file}, set by {row.author} on "
        f"{row.at_utc[:10]}"
    )


def contradictions(store: Store) -> list[str]:
    """Say for everybody with contradicting plans which they are and how to settle it."""
    return [contradiction_words(code, held) for code, held in contradicting_plans(store)]


def contradicting_plans(store: Store) -> list[tuple[str, OwnPlan]]:
    """Return everybody with contradicting plans, and what holds meanwhile."""
    plans: dict[str, list[PersonPlan]] = {}
    for row in store.care.plans():
        plans.setdefault(row.person, []).append(row)
    doubtful = [
        code
        for code, theirs in plans.items()
        if len({row.plan_hash for row in newest_plans(theirs)}) > 1
    ]
    return [(code, held) for code in doubtful if (held := own_plan(store, code)) is not None]


def contradiction_words(code: str, held: OwnPlan) -> str:
    """Say which plans contradict."""
    others = "; ".join(plan_words(row) for row in held.against)
    return (
        f"{code}: two plans contradict each other. Visits go on with {plan_words(held.row)}; "
        f"the other is {others}. Nothing was overwritten: set the plan again to settle it"
    )


def off_plan_words(store: Store, code: str, asked: Plan) -> str:
    """Say that a visit is asked for by another plan than the person's own; empty if not."""
    held = own_plan(store, code)
    if held is None or held.row.plan_hash == plan_hash(asked):
        return ""
    return (
        f"{code} follows {plan_words(held.row)}; this visit follows {asked.name!r} as asked "
        "and stands in a series of its own"
    )
