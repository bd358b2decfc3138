"""Enrolling: reasons not to start, consent, hands; then a card for the person."""

from __future__ import annotations

from typing import Any, Literal

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from battery.cautions import CONTRAINDICATIONS
from battery.desk.comfort_form import comfort_fields, comfort_said, keep_said
from battery.desk.drawn_marks import drawn_figure, drawn_mark
from battery.desk.frame import (
    chosen,
    folder_meant,
    language_of,
    office,
    page,
    see_other,
    shows,
    takes,
    typed,
)
from battery.desk.home_form import agreed_fields, days_typed, doses_said
from battery.desk.told_words import in_language, plan_told
from battery.desk.words import _
from battery.drives import drives
from battery.errors import BatteryError, PlanError, UsageError
from battery.handover import (
    clinic_mark,
    make_clinic_keys,
    write_person_card,
)
from battery.handover.sending import BUNDLE
from battery.home_plan import EXERCISES, WEEKDAYS, home_plan_entries, set_home_plan
from battery.own_plan import own_plan, set_plan
from battery.people import new_person, picture_held, picture_of
from battery.plan import PLANS, load_plan
from battery.store.care import Care

WORDS: tuple[Literal["yes", "no", "unknown"], ...] = ("yes", "no", "unknown")
FORM: dict[str, Any] = {
    "items": CONTRAINDICATIONS,
    "sides": ("left", "right", "both", "unknown"),
    "plans": list(PLANS),
    "exercises": EXERCISES,
    "agreed": agreed_fields(),
    "weekdays": WEEKDAYS,
    "looks": comfort_fields(),
    "with_home_plan": False,
}


def show(request: Request) -> Response:
    """Show the form of enrolment."""
    return page(request, "enrol.html.j2", **FORM)


def take(request: Request, form: FormData) -> Response:
    """Enrol a person, all or nothing, and show the card."""
    here = office(request)
    try:
        answers = _answers(form)
        if told := chosen(form, "plan_file") or chosen(form, "visit_plan"):
            load_plan(told)  # refused before anybody is enrolled
        doses = doses_said(form)
        looks = comfort_said(form)
        said = {"author": here.session.author, "at_utc": here.now_utc()}
        today = here.wall().date()
        if doses:  # refused before anybody is enrolled, and so before there is a code
            Care.check_home_plan(home_plan_entries("NEW", doses, from_date=today, **said))
        version = chosen(form, "form_version")
        with here.store(write=True) as store:
            person = new_person(
                store,
                dominant_hand=chosen(form, "dominant_hand"),
                affected_side=chosen(form, "affected_side"),
                first_hand=chosen(form, "first_hand") or None,
                now=here.wall(),
            )
            picture_of(store, person.code)  # now, as to look at the card writes nothing
            store.care.answer_contraindications(
                person.code, answers, author=here.session.author, at_utc=here.now_utc()
            )
            if told := chosen(form, "plan_file") or chosen(form, "visit_plan"):
                set_plan(
                    store, person.code, told, author=here.session.author, at_utc=here.now_utc()
                )
            if doses:
                set_home_plan(store, person.code, doses, from_date=today, **said)
            keep_said(here, store, person.code, looks)
            if version:
                store.people.record_consent(
                    person.code, form_version=version, decision="given", at_utc=here.now_utc()
                )
    except (UsageError, PlanError) as error:
        return page(
            request,
            "enrol.html.j2",
            status_code=400,
            errors={"enrol": str(error)},
            typed=typed(form) | days_typed(form),
            **FORM | {"with_home_plan": any(f"{name}-agreed" in form for name in EXERCISES)},
        )
    return see_other(f"/card/{person.code}")


def card(request: Request) -> Response:
    """Show the small card the person takes home, and what pairs a tablet with this clinic."""
    return _card(request)


def _card(
    request: Request, *, error: str = "", fields: dict[str, str] | None = None
) -> Response:
    code = request.path_params["code"]
    with office(request).store() as store:
        person = store.people.get(code)
        picture = picture_held(store, code)
        number = str(store.setup.setting("emergency_number", ""))
        own = own_plan(store, code)
        mark = clinic_mark(store)
    return page(
        request,
        "card.html.j2",
        status_code=400 if error else 200,
        person=person,
        picture=picture,
        figure=drawn_figure(picture) if picture else "",
        number=number,
        own_plan="" if own is None else plan_told(own.row, in_language(language_of(request))),
        drives=drives(BUNDLE),
        mark=drawn_mark(mark) if mark else None,
        errors={"folder": error} if error else {},
        typed=fields or {},
    )


def put_card(request: Request, form: FormData) -> Response:
    """Put a person's card, signed, and the clinic's own onto a drive for a tablet."""
    here, code = office(request), request.path_params["code"]
    try:
        folder = folder_meant(form)
        with here.store(write=True) as store:
            make_clinic_keys(store, folder)
            write_person_card(store, code, folder, now=here.wall())
    except BatteryError as error:
        return _card(request, error=str(error), fields=typed(form))
    said = _("The card is on the drive. On the tablet: staff, then New person.")
    return see_other(f"/card/{code}?said={said}")


def _answers(form: FormData) -> list[tuple[str, Literal["yes", "no", "unknown"]]]:
    """Return the answer to every item; one that was not asked is an error."""
    told = {name: chosen(form, f"item-{name}") for name in CONTRAINDICATIONS}
    answers = [(name, word) for name in told for word in WORDS if told[name] == word]
    n_left = len(told) - len(answers)
    if n_left:
        msg = (
            f"{n_left} of {len(told)} questions about reasons not to start have no "
            "answer; answer each. Nobody was enrolled"
        )
        raise UsageError(msg)
    return answers


ROUTES = [
    shows("/enrol", show),
    takes("/enrol", take),
    shows("/card/{code}", card),
    takes("/card/{code}", put_card),
]
