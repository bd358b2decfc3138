"""Receiving from tablets: drives found by themselves, what waits for a choice, keys."""

from __future__ import annotations

from functools import partial

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from battery.desk.drawn_marks import drawn_mark
from battery.desk.filled import Sent, sent
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
from battery.desk.retelling import retold
from battery.desk.told_words import (
    contradiction_told,
    in_language,
    key_told,
    received_told,
    settled_told,
    sides_told,
)
from battery.desk.words import _
from battery.drives import drives
from battery.errors import BatteryError, UsageError
from battery.handover import (
    both_sides,
    choices,
    clinic_mark,
    drop_tablet,
    held_keys,
    leave_out,
    make_clinic_keys,
    receive,
    take,
)
from battery.handover.sending import BUNDLE
from battery.own_plan import contradicting_plans


def show(request: Request) -> Response:
    """Show drives, what waits and the keys."""
    return _shown(request)


def _shown(
    request: Request,
    *,
    lines: list[str] | None = None,
    held: Sent | None = None,
) -> Response:
    say = in_language(language_of(request))
    with office(request).store() as store:
        waiting = [
            (
                c,
                drawn_mark(c.item.fingerprint) if c.item.reason == "device" else None,
                sides_told(both_sides(store, c.item), say),
            )
            for c in choices(store)
        ]
        own = clinic_mark(store)
        keys = held_keys(store)
        tablets = [
            (tablet.fingerprint, f"{tablet.device} ({tablet.fingerprint})")
            for tablet in store.transfer.tablets()
        ]
        contradicting = contradicting_plans(store)
    return page(
        request,
        "exchange.html.j2",
        held=held,
        drives=drives(BUNDLE),
        waiting=waiting,
        keys=keys,
        tablets=tablets,
        key_told=partial(key_told, say=say),
        own_mark=drawn_mark(own) if own else None,
        contradicting=[contradiction_told(code, held, say) for code, held in contradicting],
        lines=lines or [],
    )


def take_in(request: Request, form: FormData) -> Response:
    """Take in the bundles of a drive or folder; receipts are left there. Safe to repeat."""
    here = office(request)
    try:
        folder = folder_meant(form)
        with here.store(write=True) as store:
            report = receive(store, folder, wall=here.wall)
    except BatteryError as error:
        return _shown(request, held=sent("receive", form, error))
    code = language_of(request)
    lines = received_told(report, in_language(code), partial(retold, code=code))
    return _shown(request, lines=lines)


def choose(request: Request, form: FormData) -> Response:
    """Settle what waits: it holds, or it stays aside."""
    here, item = office(request), chosen(form, "item")
    action = {"take": take, "leave": leave_out}.get(chosen(form, "action"))
    try:
        if action is None:
            msg = "say whether it holds or stays aside; nothing was changed"
            raise UsageError(msg)
        if not chosen(form, "reason"):
            msg = "say why; nothing was changed"
            raise UsageError(msg, field="reason")
        with here.store(write=True) as store:
            lines = action(
                store,
                item,
                author=here.session.author,
                why=chosen(form, "reason"),
                wall=here.wall,
            )
    except BatteryError as error:
        return _shown(request, held=sent(f"choose-{item}", form, error))
    code = language_of(request)
    say, retell = in_language(code), partial(retold, code=code)
    return _shown(request, lines=[settled_told(line, say, retell) for line in lines])


def make_keys(request: Request, form: FormData) -> Response:
    """Make the clinic's keys, once, and leave their card on a drive for the tablets."""
    here: Office = office(request)
    try:
        folder = folder_meant(form)
        with here.store(write=True) as store:
            make_clinic_keys(store, folder)
    except BatteryError as error:
        return _shown(request, held=sent("keys", form, error))
    said = _("The card for the tablets is on the drive.")
    return see_other(f"/exchange?said={said}")


def drop(request: Request, form: FormData) -> Response:
    """Accept a lost tablet no longer; its next bundle waits, so that this can be undone."""
    here, lost = office(request), chosen(form, "tablet")
    try:
        with here.store(write=True) as store:
            drop_tablet(store, lost, author=here.session.author, at_utc=here.now_utc())
    except BatteryError as error:
        return _shown(request, held=sent("drop", form, error))
    said = _("The tablet is no longer accepted; what it sent before stays.")
    return see_other(f"/exchange?said={said}")


ROUTES = [
    shows("/exchange", show),
    takes("/exchange/receive", take_in),
    takes("/exchange/choose", choose),
    takes("/exchange/keys", make_keys),
    takes("/exchange/drop", drop),
]
