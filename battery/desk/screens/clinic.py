"""The clinic's own: limits of alarms, who may sit at the desk, a copy of the store."""

from __future__ import annotations

from pathlib import Path

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from battery.alarms import DEFAULT_LIMITS, SAID, limits_of, set_limit
from battery.desk.frame import chosen, office, page, see_other, shows, takes, typed
from battery.desk.session import authors, drop_author, keep_author
from battery.desk.words import _
from battery.errors import BatteryError, UsageError


def show(request: Request) -> Response:
    """Show the settings."""
    return _shown(request)


def _shown(
    request: Request,
    *,
    errors: dict[str, str] | None = None,
    fields: dict[str, str] | None = None,
) -> Response:
    with office(request).store(write=True) as store:
        limits = limits_of(store)
        known = sorted(authors(store))
        folder = store.folder
    return page(
        request,
        "clinic.html.j2",
        status_code=400 if errors else 200,
        limits=[(name, SAID[name], limits[name]) for name in DEFAULT_LIMITS],
        authors=known,
        can_back_up=folder is not None,
        errors=errors or {},
        typed=fields or {},
    )


def keep_limits(request: Request, form: FormData) -> Response:
    """Keep from which answer on a question is an alarm."""
    try:
        with office(request).store(write=True) as store:
            for name in DEFAULT_LIMITS:
                told = chosen(form, name)
                if not told.isdecimal():
                    return _wrong(request, form, "limits", f"{told!r} is no answer of 1 to 10")
                set_limit(store, name, int(told))
    except UsageError as error:
        return _wrong(request, form, "limits", str(error))
    return see_other(f"/clinic?said={_('The limits are kept.')}")


def add_author(request: Request, form: FormData) -> Response:
    """Let another author sit at the desk, or change a code."""
    try:
        with office(request).store(write=True) as store:
            keep_author(store, chosen(form, "initials"), chosen(form, "code"))
    except UsageError as error:
        return _wrong(request, form, "author", str(error))
    return see_other(f"/clinic?said={_('The author is kept.')}")


def remove_author(request: Request, form: FormData) -> Response:
    """Take an author off the list; the one who sits here stays."""
    initials = chosen(form, "initials")
    if initials == office(request).session.author:
        return _wrong(request, form, "authors", "you sit here yourself; nobody was removed")
    with office(request).store(write=True) as store:
        drop_author(store, initials)
    return see_other(f"/clinic?said={_('The author is off the list.')}")


def back_up(request: Request, form: FormData) -> Response:
    """Copy the whole store into one new file."""
    told = chosen(form, "file")
    try:
        if not told or not Path(told).is_absolute():
            return _wrong(request, form, "backup", f"{told!r} is no full path of a new file")
        with office(request).store() as store:
            store.back_up(Path(told))
    except BatteryError as error:
        return _wrong(request, form, "backup", str(error))
    return see_other(f"/clinic?said={_('The copy is made.')}")


def _wrong(request: Request, form: FormData, name: str, line: str) -> Response:
    fields = {key: value for key, value in typed(form).items() if key != "code"}
    return _shown(request, errors={name: line}, fields=fields)


ROUTES = [
    shows("/clinic", show),
    takes("/clinic/limits", keep_limits),
    takes("/clinic/author", add_author),
    takes("/clinic/authors", remove_author),
    takes("/clinic/backup", back_up),
]
