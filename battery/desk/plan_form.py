"""The form of the plan that a person follows, on whichever screen it stands."""

from __future__ import annotations

from starlette.datastructures import FormData

from battery.desk.frame import chosen
from battery.desk.told_words import Say
from battery.desk.words import _
from battery.errors import of_field
from battery.own_plan import OwnPlan
from battery.plan import PLANS, load_plan


def plan_said(form: FormData) -> str:
    """Return the plan that was named or whose file was; empty where neither was.

    Raises
    ------
    PlanError
        If it is none.
    """
    file, name = chosen(form, "plan_file"), chosen(form, "visit_plan")
    with of_field("plan_file" if file else "visit_plan"):
        if told := file or name:
            load_plan(told)
    return told


def plan_choices(own: OwnPlan | None, say: Say) -> list[tuple[str, str]]:
    """Return what can be chosen, by value and words: a plan from a file stays as it is."""
    offered = [(name, say(name)) for name in PLANS]
    if own is None or own.row.source_sha256 is None:
        return offered
    line = say(_("as it is: {name}, from {file}"), name=own.row.plan_name, file=own.row.source)
    return [("", line), *offered]


def plan_held(own: OwnPlan | None) -> str:
    """Return what is chosen at first: what holds now."""
    if own is None:
        return "standard"
    return own.row.plan_name if own.row.source_sha256 is None else ""
