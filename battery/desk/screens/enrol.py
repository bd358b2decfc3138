"""Enrolling: reasons not to start, consent, hands; then a card for the person."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Literal

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from battery.cautions import CONTRAINDICATIONS
from battery.desk.comfort_form import comfort_fields, comfort_said, keep_said
from battery.desk.drawn_marks import drawn_figure, drawn_mark
from battery.desk.filled import Checks, Sent, sent
from battery.desk.frame import (
    Office,
    chosen,
    folder_meant,
    language_of,
    office,
    page,
    see_other,
    shows,
    takes,
)
from battery.desk.home_form import agreed_fields, at_its_field, doses_said
from battery.desk.plan_form import plan_said
from battery.desk.told_words import in_language, plan_told
from battery.desk.words import _
from battery.drives import drives
from battery.entered_by import keep_entered_by
from battery.errors import BatteryError, StoreError, UsageError
from battery.handover import (
    clinic_mark,
    make_clinic_keys,
    write_person_card,
)
from battery.handover.sending import BUNDLE
from battery.home_plan import EXERCISES, WEEKDAYS, Dose, home_plan_entries, set_home_plan
from battery.own_plan import own_plan, set_plan
from battery.people import new_person, picture_held, picture_of
from battery.plan import PLANS
from battery.store import Store
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
}


def show(request: Request) -> Response:
    """Show the form of enrolment."""
    return page(request, "enrol.html.j2", **FORM)


def take(request: Request, form: FormData) -> Response:
    """Enrol a person, all or nothing, and show the card."""
    here = office(request)
    wrong = Checks()
    answers: list[tuple[str, Literal["yes", "no", "unknown"]]] = []
    doses: list[Dose] = []
    looks: dict[str, Any] = {}
    plan, today = "", here.wall().date()
    said = {"author": here.session.author, "at_utc": here.now_utc()}
    # All is looked at before anybody is enrolled, so that all that is wrong is told at once.
    with wrong.of():
        answers = _answers(form)
    with wrong.of():
        plan = plan_said(form)
    with wrong.of(), at_its_field():
        doses = doses_said(form)
        Care.check_home_plan(home_plan_entries("NEW", doses, from_date=today, **said))
    with wrong.of():
        looks = comfort_said(form)
    code = ""
    if not wrong.errors:
        with wrong.of(), _or_nobody(), here.store(write=True) as store, store.together():
            code = _enrolled(here, store, form, answers)
            if plan:
                set_plan(store, code, plan, **said)
            if doses:
                set_home_plan(store, code, doses, from_date=today, **said)
            keep_said(here, store, code, looks)
    if not wrong.errors:
        return see_other(f"/card/{code}?said={_('Enrolled. The code is on the card.')}")
    return page(
        request,
        "enrol.html.j2",
        held=sent("enrol", form, *wrong.errors),
        **FORM,
    )


@contextmanager
def _or_nobody() -> Iterator[None]:
    """Say of a store that fails that nobody was enrolled: no code that was drawn holds."""
    try:
        yield
    except StoreError as error:
        told = str(error).rstrip(".")
        msg = f"{told}. Nobody was enrolled"
        raise StoreError(msg) from error


def _enrolled(
    here: Office,
    store: Store,
    form: FormData,
    answers: list[tuple[str, Literal["yes", "no", "unknown"]]],
) -> str:
    """Enrol a person with what was asked and agreed to, and return the code."""
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
    if version := chosen(form, "form_version"):
        said = store.people.record_consent(
            person.code, form_version=version, decision="given", at_utc=here.now_utc()
        )
        keep_entered_by(store, person.code, said.consent_id, here.session.author)
    return person.code


def card(request: Request) -> Response:
    """Show the small card the person takes home, and what pairs a tablet with this clinic.

    Raises
    ------
    StoreError
        If the store cannot be read; it names the code, as who was just enrolled has it.
    """
    try:
        return _card(request)
    except StoreError as error:
        msg = f"the card of {request.path_params['code']} cannot be shown: {error}"
        raise StoreError(msg) from error


def _card(request: Request, held: Sent | None = None) -> Response:
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
        held=held,
        person=person,
        picture=picture,
        figure=drawn_figure(picture) if picture else "",
        number=number,
        own_plan="" if own is None else plan_told(own.row, in_language(language_of(request))),
        drives=drives(BUNDLE),
        mark=drawn_mark(mark) if mark else None,
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
        return _card(request, sent("card", form, error))
    said = _("The card is on the drive. On the tablet: staff, then New person.")
    return see_other(f"/card/{code}?said={said}")


def _answers(form: FormData) -> list[tuple[str, Literal["yes", "no", "unknown"]]]:
    """Return the answer to every item; one that was not asked is an error."""
    told = {name: chosen(form, f"item-{name}") for name in CONTRAINDICATIONS}
    answers = [(name, word) for name in told for word in WORDS if told[name] == word]
    left = [name for name, word in told.items() if word not in WORDS]
    if left:
        msg = (
            f"{len(left)} of {len(told)} questions about reasons not to start have no "
            "answer; answer each. Nobody was enrolled"
        )
        raise UsageError(msg, field=f"item-{left[0]}")
    return answers


ROUTES = [
    shows("/enrol", show),
    takes("/enrol", take),
    shows("/card/{code}", card),
    takes("/card/{code}", put_card),
]
