"""The clinic's own: limits of alarms, who may sit at the desk, a copy of the store."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from battery.alarms import DEFAULT_LIMITS, SAID, limits_of, set_limit
from battery.copies import copy_store, try_copy
from battery.desk.frame import chosen, office, page, see_other, shows, takes, typed
from battery.desk.jobs import Step
from battery.desk.session import authors, drop_author, keep_author
from battery.desk.words import _
from battery.drives import place_to_write
from battery.errors import BatteryError, UsageError
from battery.machine import clinic_settings, set_up

SECRET = ("code", "staff_code", "phrase", "again")  # fields that are never shown again


def show(request: Request) -> Response:
    """Show the settings."""
    return _shown(request)


def _shown(
    request: Request,
    *,
    errors: dict[str, str] | None = None,
    fields: dict[str, str] | None = None,
) -> Response:
    here = office(request)
    with here.store(write=True) as store:
        limits = limits_of(store)
        known = sorted(authors(store))
        folder = store.folder
        tablet = clinic_settings(store)
    return page(
        request,
        "clinic.html.j2",
        status_code=400 if errors else 200,
        limits=[(name, SAID[name], limits[name]) for name in DEFAULT_LIMITS],
        authors=known,
        can_back_up=folder is not None,
        tablet=tablet,
        names=office(request).names,
        errors=errors or {},
        typed=fields or {},
        file=str(place_to_write(f"battery-{here.wall():%Y-%m-%d}", ".sqlite")),
    )


def keep_limits(request: Request, form: FormData) -> Response:
    """Keep from which answer on a question is an alarm."""
    try:
        with office(request).store(write=True) as store:
            for name in DEFAULT_LIMITS:
                told = chosen(form, name)
                if not told.isdecimal():
                    return _wrong(
                        request, form, "limits", f"{told!r} is not an answer of 1 to 10"
                    )
                set_limit(store, name, int(told))
    except UsageError as error:
        return _wrong(request, form, "limits", str(error))
    said = _("The limits are saved.")
    return see_other(f"/clinic?said={said}")


def add_author(request: Request, form: FormData) -> Response:
    """Let another author sit at the desk, or change a code."""
    try:
        with office(request).store(write=True) as store:
            keep_author(store, chosen(form, "initials"), chosen(form, "code"))
    except UsageError as error:
        return _wrong(request, form, "author", str(error))
    said = _("The initials are saved.")
    return see_other(f"/clinic?said={said}")


def remove_author(request: Request, form: FormData) -> Response:
    """Take an author off the list; the one who sits here stays."""
    initials = chosen(form, "initials")
    if initials == office(request).session.author:
        return _wrong(request, form, "authors", "you sit here yourself; nobody was removed")
    with office(request).store(write=True) as store:
        drop_author(store, initials)
    said = _("The initials are off the list.")
    return see_other(f"/clinic?said={said}")


def back_up(request: Request, form: FormData) -> Response:
    """Copy the whole store into one new file."""
    told = chosen(form, "file")
    try:
        if not told or not Path(told).is_absolute():
            return _wrong(
                request, form, "backup", f"{told!r} is not the full path of a new file"
            )
        here = office(request)
        copy_store(here.home, Path(told), now=here.wall())
    except BatteryError as error:
        return _wrong(request, form, "backup", str(error))
    said = _("The backup is made.")
    return see_other(f"/clinic?said={said}")


def set_tablet(request: Request, form: FormData) -> Response:
    """Keep what this machine shows as a tablet, and what stands on the card."""
    try:
        with office(request).store(write=True) as store:
            set_up(
                store,
                emergency_number=chosen(form, "emergency_number"),
                staff_code=chosen(form, "staff_code") or None,
                show_scores=chosen(form, "show_scores") == "yes",
                large=chosen(form, "large") == "yes",
            )
    except UsageError as error:
        return _wrong(request, form, "tablet", str(error))
    said = _("The settings are saved.")
    return see_other(f"/clinic?said={said}")


def names(request: Request, form: FormData) -> Response:
    """Begin, open, close or delete the names on this machine."""
    held, what = office(request).names, chosen(form, "what")
    phrase = str(form.get("phrase", ""))
    try:
        if what == "begin":
            held.begin(phrase, str(form.get("again", "")))
            said = _("Names can be kept on this machine now.")
        elif what == "open":
            held.open(phrase)
            said = _("The names are open.")
        elif what == "close":
            held.close()
            said = _("The names are closed.")
        elif what == "delete" and chosen(form, "sure") == "yes":
            held.delete()
            said = _("The names are deleted.")
        else:
            return _wrong(request, form, "names", "tick that you are sure; nothing was deleted")
    except BatteryError as error:
        return _wrong(request, form, "names", str(error))
    return see_other(f"/clinic?said={said}")


def drill(request: Request, form: FormData) -> Response:
    """Try in a folder that is thrown away whether a copy could be restored."""
    here, told = office(request), chosen(form, "copy")
    if not told or not Path(told).is_absolute():
        return _wrong(request, form, "drill", f"{told!r} is not the full path of a backup")

    def work(step: Step) -> Sequence[str]:
        with here.store() as store:
            return try_copy(Path(told), store, progress=step)

    job = here.jobs.start(_("Checking a backup"), work)
    return see_other(f"/out/{job.name}")


def _wrong(request: Request, form: FormData, name: str, line: str) -> Response:
    fields = {
        key: value
        for key, value in typed(form).items()
        if key not in ("code", "phrase", "again")
    }
    return _shown(request, errors={name: line}, fields=fields)


ROUTES = [
    shows("/clinic", show),
    takes("/clinic/limits", keep_limits),
    takes("/clinic/author", add_author),
    takes("/clinic/authors", remove_author),
    takes("/clinic/backup", back_up),
    takes("/clinic/drill", drill),
    takes("/clinic/names", names),
    takes("/clinic/tablet", set_tablet),
]
