"""Putting a visit right: swapped hands, another person's visit, a block that must not count."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from battery.desk.filled import Sent, sent
from battery.desk.frame import Office, chosen, office, page, see_other, shows, takes
from battery.desk.previewing import Preview, preview
from battery.desk.words import _
from battery.effective import blocks_of, visit_meant, visits_of
from battery.errors import BatteryError, UsageError, of_field
from battery.people import person_label
from battery.store import Amended, Store

Putting = Callable[[Office, Store, str, FormData], None]
OTHER_HAND = {"left": "right", "right": "left"}


def list_visits(request: Request) -> Response:
    """List a person's visits, each drawn as a row of its blocks."""
    return _listed(request)


def _listed(
    request: Request,
    held: Sent | None = None,
    tried: tuple[int, Preview] | None = None,
) -> Response:
    code = request.path_params["code"]
    with office(request).store() as store:
        store.people.get(code)
        amended = Amended(store.annotations.amendments())
        visits = [
            {
                "number": number,
                "day": visit.header.started_utc[:10],
                "ending": visit.ending or "open",
                "excluded": amended.excluded(visit.header.visit_id),
                "blocks": [
                    {
                        "number": place,
                        "task": held.record.header.task,
                        "hand": held.hand,
                        "recorded": held.record.header.hand,
                        "phase": held.record.header.phase,
                        "ending": held.record.ending or "open",
                        "excluded": held.excluded,
                    }
                    for place, held in enumerate(blocks_of(store, visit.header.visit_id), 1)
                ],
            }
            for number, visit in enumerate(visits_of(store, code), start=1)
        ]
        names = office(request).names()
        others = [
            (p.code, person_label(p, names)) for p in store.people.all() if p.code != code
        ]
    return page(
        request,
        "visits.html.j2",
        held=held,
        code=code,
        visits=list(reversed(visits)),
        others=others,
        one_sent=held is not None,
        tried_visit=tried[0] if tried else None,
        preview=tried[1] if tried else None,
    )


def put_right(request: Request, form: FormData) -> Response:
    """Keep an amendment, or several that belong together; the record stays as it is."""
    here, code = office(request), request.path_params["code"]
    number = request.path_params["number"]
    try:
        put = _asked(form)
        with here.store(write=True) as store:
            visit_id = visit_meant(store, code, number).header.visit_id
            if chosen(form, "preview"):
                return _tried(request, store, form, partial(put, here, store, visit_id, form))
            put(here, store, visit_id, form)
    except BatteryError as error:
        return _listed(request, sent(f"visit-{number}", form, error))
    said = _("Saved. The record itself was not changed.")
    return see_other(f"/person/{code}/visits?said={said}")


def _tried(request: Request, store: Store, form: FormData, put: Callable[[], None]) -> Response:
    """Show what the page would say, and the form as it was filled in; nothing is kept."""
    here, code = office(request), request.path_params["code"]
    codes = [code]
    if chosen(form, "what") == "give":
        with of_field("person"):
            codes.append(store.people.get(chosen(form, "person")).code)
    found = preview(store, codes, put, here.pools(), now=here.wall())
    number = request.path_params["number"]
    return _listed(request, sent(f"visit-{number}", form), (number, found))


def _asked(form: FormData) -> Putting:
    """Return what is to be put right, once it is chosen and has a reason."""
    put = PUTTING.get(chosen(form, "what"))
    if put is None or not chosen(form, "reason"):
        msg = "choose what was wrong and say why; nothing was amended"
        raise UsageError(msg, field="what" if put is None else "reason")
    if chosen(form, "what") == "give" and not chosen(form, "person"):
        msg = "choose whose visit it is; nothing was amended"
        raise UsageError(msg, field="person")
    return put


def _swap(here: Office, store: Store, visit_id: str, form: FormData) -> None:
    for held in blocks_of(store, visit_id):
        _amend(
            here,
            store,
            form,
            ("block", held.record.header.block_id, "hand", OTHER_HAND[held.hand]),
        )


def _give(here: Office, store: Store, visit_id: str, form: FormData) -> None:
    with of_field("person"):
        other = store.people.get(chosen(form, "person")).code
    _amend(here, store, form, ("visit", visit_id, "person", other))


def _leave_out(here: Office, store: Store, visit_id: str, form: FormData) -> None:
    _amend(here, store, form, ("visit", visit_id, "excluded", "yes"))


def _take_in(here: Office, store: Store, visit_id: str, form: FormData) -> None:
    _amend(here, store, form, ("visit", visit_id, "excluded", "no"))


def _blocks(here: Office, store: Store, visit_id: str, form: FormData) -> None:
    """Leave out exactly the blocks that are ticked."""
    ticked = set(form.getlist("block"))
    for place, held in enumerate(blocks_of(store, visit_id), start=1):
        wanted = str(place) in ticked
        if wanted != held.excluded:
            word = "yes" if wanted else "no"
            _amend(here, store, form, ("block", held.record.header.block_id, "excluded", word))


def _amend(
    here: Office, store: Store, form: FormData, change: tuple[str, str, str, str]
) -> None:
    target, target_id, field, new = change
    store.annotations.amend(
        target,  # type: ignore[arg-type]  # one of two words above
        target_id,
        field,
        new,
        author=here.session.author,
        reason=chosen(form, "reason"),
        at_utc=here.now_utc(),
    )


PUTTING: Mapping[str, Putting] = {
    "swap": _swap,
    "give": _give,
    "leave-out": _leave_out,
    "take-in": _take_in,
    "blocks": _blocks,
}

ROUTES = [
    shows("/person/{code}/visits", list_visits),
    takes("/person/{code}/visits/{number:int}", put_right),
]
