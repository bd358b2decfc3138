"""How well the test repeats in this clinic, and errors of measures taken from outside."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from battery.desk.filled import Sent, sent
from battery.desk.frame import (
    Office,
    chosen,
    language_of,
    office,
    page,
    see_other,
    shows,
    takes,
)
from battery.desk.home_form import number_said
from battery.desk.retelling import retold
from battery.desk.told_words import in_language
from battery.desk.words import _
from battery.errors import BatteryError, UsageError
from battery.report.combined import measure_words
from battery.report.outside_errors import (
    enter_outside_error,
    held_errors,
    offered,
    size_words,
    take_back_outside_error,
)
from battery.report.repeats import PlanRepeats, Repeats, figures_of, repeats_by_plan
from battery.report.words import unit_words
from battery.scoring import Measure

HANDS = {
    "affected": _("more affected"),
    "other": _("less affected"),
    "both": _("either (both sides affected)"),
    "unknown": _("either (affected side not known)"),
}
Keep = Callable[[Office, FormData], str]


def show(request: Request) -> Response:
    """Show how well the main measures repeat, and which errors came from outside."""
    return _shown(request)


def _shown(request: Request, held: Sent | None = None) -> Response:
    here, language = office(request), language_of(request)
    plans, unreadable = of_everybody(here)
    asked = request.query_params.get("plan", "")
    plan = next((p for p in plans if p.plan_hash == asked), plans[0] if plans else None)
    rows = [_row(row) for row in plan.rows] if plan is not None else []
    with here.store() as store:
        errors = held_errors(store.annotations.outside_errors())
    return page(
        request,
        "repeats.html.j2",
        held=held,
        plans=plans,
        plan=plan,
        rows=rows,
        any_figures=any(row["figures"] for row in rows),
        both_hands=any(row["figures"] and row["n_hands"] > row["n_people"] for row in rows),
        unreadable=unreadable,
        errors=[(row, measure_words(row.measure), size_words(row)) for row in errors],
        measures=[("", ""), *((m.name, _offered(m, language)) for m in offered())],
    )


def of_everybody(here: Office) -> tuple[list[PlanRepeats], list[str]]:
    """Return how well measures repeat, plan by plan, and what could not be read."""

    def made() -> tuple[list[PlanRepeats], list[str]]:
        with here.store() as store:
            found = repeats_by_plan(store, here.already_read(store))
            return found, store.unreadable()

    return here.remembered.get("repeats", made)


def _row(row: Repeats) -> dict[str, Any]:
    return {
        "measure": measure_words(row.measure.name),
        "hand": HANDS[row.role],
        "n_people": row.n_people,
        "n_hands": row.n_hands,
        "n_visits": "" if row.found is None else row.found.n_visits,
        "figures": None if row.found is None else figures_of(row.measure, row.found),
        "reason": row.reason,
    }


def _offered(measure: Measure, language: str) -> str:
    """Return a measure of the list, with what its error is said in."""
    say = in_language(language)
    unit = say(_("percent")) if measure.log_scale else unit_words(measure)
    unit = unit or say(_("a plain number"))
    return f"{retold(measure_words(measure.name), language)} ({unit})"


def _taking(name: str, keep: Keep) -> Callable[[Request, FormData], Response]:
    """Return what takes a form of this screen; what is wrong with it stands at its fields."""

    def take(request: Request, form: FormData) -> Response:
        try:
            done = keep(office(request), form)
        except BatteryError as error:
            return _shown(request, sent(name, form, error))
        return see_other(f"/clinic/repeats?said={done}")

    return take


def _enter(here: Office, form: FormData) -> str:
    """Let the bands of a measure rest on an error from outside."""
    measure = chosen(form, "measure")
    if not measure:
        msg = "choose the measure; nothing was stored"
        raise UsageError(msg, field="measure")
    with here.store(write=True) as store:
        enter_outside_error(
            store,
            measure,
            number_said(form, "size"),
            source=chosen(form, "source"),
            author=here.session.author,
            n_people=number_said(form, "people") if chosen(form, "people") else 0,
            at_utc=here.now_utc(),
        )
    return _("The error is kept. The bands of this measure rest on it from now on.")


def _take_back(here: Office, form: FormData) -> str:
    """Let the bands of a measure rest on this clinic's own scatter again."""
    with here.store(write=True) as store:
        take_back_outside_error(
            store,
            chosen(form, "measure"),
            author=here.session.author,
            at_utc=here.now_utc(),
        )
    return _("The error is taken back. The bands rest on this clinic's own scatter again.")


ROUTES = [
    shows("/clinic/repeats", show),
    takes("/clinic/repeats/error", _taking("error", _enter)),
    takes("/clinic/repeats/take-back", _taking("take-back", _take_back)),
]
