"""A person: alarms, the page, the note, and everything that was said about them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any, get_args

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from battery.alarms import alarms_of
from battery.desk.comfort_form import comfort_fields, comfort_said, keep_said, lost_choices
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
from battery.desk.history import history_of
from battery.desk.home_form import agreed_fields, at_its_field, doses_said, number_said
from battery.desk.noted import keep_noted, noted
from battery.desk.plan_form import plan_choices, plan_held, plan_said
from battery.desk.seen import keep_seen, seen_by
from battery.desk.told_words import contradiction_told, in_language, plan_told
from battery.desk.words import _
from battery.effective import visit_meant, visits_of
from battery.entered_by import keep_entered_by
from battery.errors import BatteryError, UsageError, of_field
from battery.handover import erase_everywhere
from battery.home_plan import EXERCISES, WEEKDAYS, held_home_plan, set_home_plan
from battery.moments import utc_text
from battery.own_plan import keep_plan, own_plan, set_plan
from battery.people import person_label, picture_held
from battery.report import page_of, render
from battery.report.alarming import acknowledged_lines, alarm_lines
from battery.report.hand_words import HandTold, hands_told
from battery.report.note import note_text
from battery.report.words import both_hands
from battery.store import Store
from battery.store.codec import give_back
from battery.store.rows.recorded import Decision, Scope
from battery.store.rows.said_later import MarkerKind

# The page has styles of its own inside; nothing of it may run, load or be framed elsewhere.
PAGE_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; "
    "frame-ancestors 'self'; sandbox"
)


def show(request: Request) -> Response:
    """Show what there is about a person, alarms first."""
    return _shown(request)


def _shown(request: Request, held: Sent | None = None) -> Response:
    here = office(request)
    code = request.path_params["code"]
    told_in = in_language(language_of(request))
    with here.store() as store:
        person = store.people.get(code)
        alarms = alarms_of(store, code)
        try:
            told = _told(here, code)
        except BatteryError as error:
            told = Told(str(error), "")
        states = store.care.states(code)
        own = own_plan(store, code)
        words: dict[str, Any] = {
            "person": person,
            "picture": picture_held(store, code),
            "open_alarms": [(a.key, alarm_lines([a])[0]) for a in alarms if a.open],
            "seen_alarms": acknowledged_lines(alarms),
            "note": told.note,
            "hands": told.hands,
            "both": told.both,
            "state": states[-1] if states else None,
            "own_plan": "" if own is None else plan_told(own.row, told_in),
            "plan_held": plan_held(own),
            "plan_choices": plan_choices(own, told_in),
            "contradicts": contradiction_told(code, own, told_in)
            if own and own.against
            else "",
            "exercises": EXERCISES,
            "agreed": agreed_fields(
                held_home_plan(store.care.home_plans(code), here.wall().date())
            ),
            "weekdays": WEEKDAYS,
            "looks": comfort_fields(store, code),
            "lost_choices": lost_choices(store, code),
            "n_visits": len(visits_of(store, code)),
            "goals": [(goal.goal_id, goal.goal) for goal in store.care.goals(code)],
            "history": history_of(store, code, language=language_of(request)),
            "label": person_label(person, here.names()),
            "name": here.names().get(code, ""),
            "with_names": here.names.is_open,
            "seen": seen_by(store, here.session.author).get(code),
            "noted": next(reversed(noted(store, code)), None),
            "scopes": get_args(Scope),
            "decided": _decided(store, code),
        }
    return page(
        request,
        "person.html.j2",
        held=held,
        code=code,
        kinds=get_args(MarkerKind),
        today=here.wall().date().isoformat(),
        **words,
    )


def _decided(store: Store, code: str) -> dict[str, tuple[str, str]]:
    """Return the latest decision about each use of the data, and the version of its form."""
    return {c.scope: (c.decision, c.form_version) for c in store.people.consents(code)}


def erase(request: Request, form: FormData) -> Response:
    """Take a person out for good, once the code was typed."""
    here, code = office(request), request.path_params["code"]
    try:
        if chosen(form, "again").upper() != code:
            msg = f"type the code {code} to erase it for good; nothing was erased"
            raise UsageError(msg, field="again")
        with here.store(write=True) as store:
            n_rows, left = erase_everywhere(
                store, code, author=here.session.author, at_utc=here.now_utc()
            )
        left += _name_left(here, code)
    except BatteryError as error:
        return _shown(request, sent("erase", form, error))
    return page(request, "erased.html.j2", code=code, n_rows=n_rows, left=left)


def _name_left(here: Office, code: str) -> list[str]:
    """Take an erased person's name away; say so where the names are closed."""
    if here.names.is_open:
        here.names.put(code, "")
    elif here.names.kept:
        return [f"the names are closed; open them on the screen Clinic and take {code} away"]
    return []


def page_inside(request: Request) -> Response:
    """Return the person's page as it is printed, for the frame inside the screen."""
    html = _told(office(request), request.path_params["code"]).page
    return HTMLResponse(html, headers={"content-security-policy": PAGE_POLICY})


@dataclass(frozen=True, slots=True)
class Told:
    """What is shown of a judged page, which itself is far larger."""

    note: str
    page: str
    hands: tuple[HandTold, ...] = ()
    both: str = ""


def _told(here: Office, code: str) -> Told:
    """Return a person's page and note, made once a day and after every change of the store."""
    now = here.wall()

    def made() -> Told:
        pools = here.pools()
        with here.store() as store:
            page = page_of(store, code, now=now, pools=pools)
        give_back()
        return Told(note_text(page), render(page), tuple(hands_told(page)), both_hands(page))

    return here.remembered.get(("person", code, now.date()), made)


def say(request: Request, form: FormData) -> Response:
    """Store what was said in one of the forms; what is wrong stands beside its field."""
    here, code = office(request), request.path_params["code"]
    what = request.path_params["what"]
    if what not in SAYING:
        msg = f"nothing of the name {what!r} can be said here; nothing was stored"
        raise UsageError(msg)
    try:
        with here.store(write=True) as store:
            store.people.get(code)
            said = SAYING[what](here, store, code, form)
    except BatteryError as error:
        name = f"{what}-{chosen(form, 'target')}" if what == "take-back" else what
        return _shown(request, sent(name, form, error))
    back = "/" if what == "seen" else f"/person/{code}"  # who has looked goes on to the next
    return see_other(f"{back}?said={said}")


def _acknowledge(here: Office, store: Store, code: str, form: FormData) -> str:
    known = {alarm.key for alarm in alarms_of(store, code) if alarm.open}
    keys = [key for key in form.getlist("alarm") if key in known]
    if not keys:
        msg = "no alarm was ticked; nothing was stored"
        raise UsageError(msg, field="alarm")
    for key in keys:
        store.annotations.acknowledge_alarm(
            code,
            str(key),
            author=here.session.author,
            note=chosen(form, "note"),
            at_utc=here.now_utc(),
        )
    return _("Acknowledged.")


def _event(here: Office, store: Store, code: str, form: FormData) -> str:
    day = _day(here, form)
    at_utc = utc_text(datetime.combine(day, time(12)).astimezone(), "seconds")
    kind = chosen(form, "kind")
    with store.together():
        marker = store.annotations.add_marker(
            code,
            kind,  # type: ignore[arg-type]  # checked there
            at_utc=at_utc,
            note=chosen(form, "note"),
        )
        keep_entered_by(store, code, marker.marker_id, here.session.author)
    return _("The event is on the time axis.")


def _home_plan(here: Office, store: Store, code: str, form: FormData) -> str:
    """Keep the whole home plan: the exercises that are ticked, each as it was agreed."""
    with at_its_field():
        set_home_plan(
            store, code, doses_said(form), from_date=_day(here, form),
            author=here.session.author, at_utc=here.now_utc(),
        )  # fmt: skip
    return _("The home plan is saved.")


def _comfort(here: Office, store: Store, code: str, form: FormData) -> str:
    keep_said(here, store, code, comfort_said(form))
    return _("Language and comfort are saved.")


def _visit_plan(here: Office, store: Store, code: str, form: FormData) -> str:
    said = {"author": here.session.author, "at_utc": here.now_utc()}
    if told := plan_said(form):
        set_plan(store, code, told, **said)
        return _("The plan of the visits is saved.")
    own = own_plan(store, code)
    if own is None:
        msg = "choose a plan; nothing was stored"
        raise UsageError(msg, field="visit_plan")
    if own.against:  # said again, it stands in place of those that contradict it
        keep_plan(store, own, **said)
        return _("The plan of the visits is saved.")
    return _("The plan of the visits stays as it is.")


def _goal(here: Office, store: Store, code: str, form: FormData) -> str:
    store.care.set_goal(
        code, chosen(form, "goal"), author=here.session.author, at_utc=here.now_utc()
    )
    return _("The goal is saved.")


def _rating(here: Office, store: Store, code: str, form: FormData) -> str:
    goals = {goal.goal_id for goal in store.care.goals(code)}
    if chosen(form, "goal_id") not in goals:
        msg = "choose which goal; nothing was stored"
        raise UsageError(msg, field="goal_id")
    store.care.rate_goal(
        chosen(form, "goal_id"),
        int(number_said(form, "level")),
        author=here.session.author,
        at_utc=here.now_utc(),
    )
    return _("The rating is saved.")


def _baseline(here: Office, store: Store, code: str, form: FormData) -> str:
    visit_id = None
    if chosen(form, "from_visit"):
        number = int(number_said(form, "from_visit"))
        with of_field("from_visit"):
            visit_id = visit_meant(store, code, number).header.visit_id
    store.annotations.restart_baseline(
        code,
        visit_id,
        author=here.session.author,
        reason=chosen(form, "reason"),
        at_utc=here.now_utc(),
    )
    return _("The baseline begins there from now on.")


def _state(here: Office, store: Store, code: str, form: FormData) -> str:
    store.care.set_state(
        code,
        chosen(form, "state"),
        from_date=_day(here, form),
        reason=chosen(form, "reason"),
        author=here.session.author,
        at_utc=here.now_utc(),
    )
    return _("The state is saved.")


def _take_back(here: Office, store: Store, code: str, form: FormData) -> str:
    kind, _sep, target = chosen(form, "target").partition(":")
    store.annotations.take_back(
        code,
        kind,  # type: ignore[arg-type]  # checked there
        target,
        reason=chosen(form, "reason"),
        author=here.session.author,
        at_utc=here.now_utc(),
    )
    return _("Taken back. What was stored stays beside it.")


def _seen(here: Office, store: Store, code: str, form: FormData) -> str:
    del form
    keep_seen(store, code, author=here.session.author, at_utc=here.now_utc())
    return _("Noted: you have looked at this page.")


def _noted(here: Office, store: Store, code: str, form: FormData) -> str:
    del form
    keep_noted(store, code, author=here.session.author, at_utc=here.now_utc())
    return _("Noted: it is in the chart.")


def _name(here: Office, store: Store, code: str, form: FormData) -> str:
    del store
    here.names.put(code, chosen(form, "name"))
    return _("The name is saved on this machine.")


CONSENT_NEEDS = "say to what, what was decided, and the version of the form; nothing was stored"


def _consent(here: Office, store: Store, code: str, form: FormData) -> str:
    scope, decision = chosen(form, "scope"), chosen(form, "decision")
    version = chosen(form, "form_version")
    for field, known in (
        ("scope", scope in get_args(Scope)),
        ("decision", decision in get_args(Decision)),
        ("form_version", bool(version)),
    ):
        if not known:
            raise UsageError(CONSENT_NEEDS, field=field)
    with store.together():
        said = store.people.record_consent(
            code,
            form_version=version,
            decision=decision,  # type: ignore[arg-type]  # one of its words, as asked above
            scope=scope,  # type: ignore[arg-type]  # likewise
            at_utc=here.now_utc(),
        )
        keep_entered_by(store, code, said.consent_id, here.session.author)
    return _("The decision is saved.")


SAYING = {
    "acknowledge": _acknowledge,
    "seen": _seen,
    "noted": _noted,
    "name": _name,
    "consent": _consent,
    "event": _event,
    "comfort": _comfort,
    "visit-plan": _visit_plan,
    "home-plan": _home_plan,
    "goal": _goal,
    "rating": _rating,
    "baseline": _baseline,
    "state": _state,
    "take-back": _take_back,
}


def _day(here: Office, form: FormData) -> date:
    told = chosen(form, "day")
    today = here.wall().date()
    try:
        day = date.fromisoformat(told) if told else today
    except ValueError as error:
        msg = f"{told!r} is not a day; write it as {today}. Nothing was stored"
        raise UsageError(msg, field="day") from error
    if day > today:
        msg = f"{day} is still to come; say it on that day. Nothing was stored"
        raise UsageError(msg, field="day")
    return day


ROUTES = [
    shows("/person/{code}", show),
    shows("/person/{code}/page", page_inside),
    takes("/person/{code}/say/{what}", say),
    takes("/person/{code}/erase", erase),
]
