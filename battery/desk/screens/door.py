"""Coming to the desk and leaving it: who sits there, its language, its end."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from battery.clinic_changes import signed
from battery.desk.filled import Sent, sent
from battery.desk.frame import (
    LANGUAGE_COOKIE,
    THEME_COOKIE,
    THEMES,
    Office,
    chosen,
    office,
    page,
    see_other,
    shows,
    takes,
)
from battery.desk.screens.today import everybody
from battery.desk.session import authors, keep_author
from battery.desk.words import LANGUAGES
from battery.errors import BatteryError, UsageError

YEAR_S = 365 * 86_400


def show(request: Request) -> Response:
    """Ask who sits here; at the first time of all, make the first author."""
    with office(request).store(write=True) as store:
        known = sorted(authors(store))
    if known:  # somebody is about to come in
        office(request).prepare(everybody, Office.pools, _parts_of_pages)
    return _asked(request, known, _then(request.query_params))


def _asked(request: Request, known: list[str], then: str, held: Sent | None = None) -> Response:
    session = office(request).session
    return page(
        request,
        "door.html.j2",
        held=held,
        authors=known,
        then=then,
        away=session.away,
        keeps=session.keeps,
    )


def _parts_of_pages(_here: Office) -> None:
    """Load what pages are drawn with; half a second that nobody needs to wait for."""
    import_module("battery.report.traces")


def come_in(request: Request, form: FormData) -> Response:
    """Let an author in, or make the first one."""
    here = office(request)
    initials, code = chosen(form, "initials"), chosen(form, "code")
    with here.store(write=True) as store:
        known = authors(store)
        try:
            if not known:
                with signed(store, author=initials, at_utc=here.now_utc()):
                    keep_author(store, initials, _twice(code, chosen(form, "again")))
                known = authors(store)
            here.session.unlock(known, initials, code)
        except BatteryError as error:
            return _asked(request, sorted(known), _then(form), sent("door", form, error))
    return see_other(_then(form))


def _twice(code: str, again: str) -> str:
    if code != again:
        msg = "the two codes differ; nothing was changed"
        raise UsageError(msg, field="again")
    return code


def lock(request: Request, form: FormData) -> Response:
    """Lock the desk."""
    del form
    office(request).session.leave()
    return see_other("/door")


def close(request: Request, form: FormData) -> Response:
    """End the desk."""
    del form
    here = office(request)
    here.session.leave()
    here.end()
    return page(request, "closed.html.j2")


def look(request: Request, form: FormData) -> Response:
    """Keep language and theme for this browser."""
    answer = see_other(_then(form))
    for name, value, allowed in (
        (LANGUAGE_COOKIE, chosen(form, "language"), LANGUAGES),
        (THEME_COOKIE, chosen(form, "theme"), THEMES),
    ):
        if value in allowed:
            answer.set_cookie(name, value, max_age=YEAR_S, httponly=True, samesite="strict")
    return answer


def _then(held: Mapping[str, object]) -> str:
    """Return where to go afterwards: a path of this desk, never another address."""
    path = held.get("then", "/")
    plain = isinstance(path, str) and path.startswith("/") and not path.startswith("//")
    return str(path) if plain and "\\" not in str(path) else "/"


ROUTES = [
    shows("/door", show, to_anybody=True),
    takes("/door", come_in, to_anybody=True),
    takes("/door/lock", lock, to_anybody=True),
    takes("/door/close", close),
    takes("/look", look, to_anybody=True),
]
