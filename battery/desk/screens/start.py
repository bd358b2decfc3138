"""Beginning a visit on this machine's screen, and what came out of it."""

from __future__ import annotations

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from battery.desk.filled import Sent, sent
from battery.desk.frame import Office, chosen, office, page, see_other, shows, takes
from battery.errors import BatteryError, UsageError, of_field
from battery.people import person_label
from battery.plan import PLANS


def show(request: Request) -> Response:
    """Show who may begin, and the visit that runs or ran last."""
    return _shown(request)


def _shown(request: Request, held: Sent | None = None) -> Response:
    here = office(request)
    names = here.names()
    with here.store() as store:
        people = [(person.code, person_label(person, names)) for person in store.people.all()]
    return page(
        request,
        "start.html.j2",
        held=held,
        people=people,
        plans=list(PLANS),
        meant=request.query_params.get("code", ""),
        running=here.visiting.running,
        code=here.visiting.code,
        outcome=here.visiting.outcome(),
    )


def begin(request: Request, form: FormData) -> Response:
    """Open the window of a visit; one at a time."""
    try:
        _begin(office(request), form)
    except BatteryError as error:
        return _shown(request, sent("start", form, error))
    return see_other("/start")


def _begin(here: Office, form: FormData) -> None:
    if here.visiting.running:
        msg = f"a visit of {here.visiting.code} is open on this screen; end it first"
        raise UsageError(msg)
    plan = chosen(form, "plan")
    if plan and plan not in PLANS:
        msg = f"no plan {plan!r}; nothing was begun"
        raise UsageError(msg, field="plan")
    if not chosen(form, "code"):
        msg = "choose who sits here; nothing was begun"
        raise UsageError(msg, field="code")
    with here.store() as store, of_field("code"):
        person = store.people.get(chosen(form, "code"))
    arguments = ["--plan", plan] if plan else []
    if chosen(form, "large"):
        arguments.append("--large")
    if here.home is not None:
        arguments += ["--home", str(here.home)]
    here.visiting.begin(person.code, arguments)


ROUTES = [shows("/start", show), takes("/start", begin)]
