"""The clinic's own: limits of alarms, who may sit at the desk, a copy of the store."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from battery.alarms import DEFAULT_LIMITS, SAID, limits_of, set_limit
from battery.clinic_changes import ClinicChange, note_change, signed
from battery.copies import copy_store, try_copy
from battery.desk.filled import Sent, sent
from battery.desk.frame import Office, chosen, office, page, see_other, shows, takes
from battery.desk.jobs import Step
from battery.desk.session import authors, drop_author, keep_author
from battery.desk.words import _
from battery.drives import place_to_write
from battery.errors import BatteryError, UsageError, of_field
from battery.machine import clinic_settings, set_up
from battery.store import Store

MAX_ANSWER = 10  # of a question about how somebody feels
Keep = Callable[[Office, FormData], str]


def show(request: Request) -> Response:
    """Show the settings."""
    return _shown(request)


def _shown(request: Request, held: Sent | None = None) -> Response:
    here = office(request)
    with here.store(write=True) as store:
        limits = limits_of(store)
        known = sorted(authors(store))
        folder = store.folder
        tablet = clinic_settings(store)
    return page(
        request,
        "clinic.html.j2",
        held=held,
        limits=[(name, SAID[name], limits[name]) for name in DEFAULT_LIMITS],
        authors=known,
        can_back_up=folder is not None,
        tablet=tablet,
        names=office(request).names,
        file=str(place_to_write(f"battery-{here.wall():%Y-%m-%d}", ".sqlite")),
    )


def _taking(name: str, keep: Keep) -> Callable[[Request, FormData], Response]:
    """Return what takes a form of this screen; what is wrong with it stands at its fields.

    Parameters
    ----------
    name : str
        Of the form.
    keep : callable
        Keeps what the form says and returns the line that says so, or where to go on.
    """

    def take(request: Request, form: FormData) -> Response:
        try:
            done = keep(office(request), form)
        except BatteryError as error:
            return _shown(request, sent(name, form, error))
        return see_other(done if done.startswith("/") else f"/clinic?said={done}")

    return take


@contextmanager
def _signing(here: Office) -> Iterator[Store]:
    """Open the store to change something of the clinic, with who sits here as its author."""
    with (
        here.store(write=True) as store,
        signed(store, author=here.session.author, at_utc=here.now_utc()),
    ):
        yield store


@contextmanager
def _noting_names(here: Office, old: str, new: str) -> Iterator[None]:
    """Note that names begin to be kept on this machine, or are deleted; never which.

    The file of names is changed inside, last of all, so that neither is without the other.
    """
    change = ClinicChange(here.now_utc(), here.session.author, "names", old, new)
    with here.store(write=True) as store, store.together():
        note_change(store, change)
        yield


def _keep_limits(here: Office, form: FormData) -> str:
    """Keep from which answer on a question is an alarm; all of them or none."""
    told = {name: chosen(form, name) for name in DEFAULT_LIMITS}
    for name, word in told.items():
        if not (word.isdecimal() and 1 <= int(word[:3]) <= MAX_ANSWER):
            msg = f"{word[:40]!r} is not an answer of 1 to {MAX_ANSWER}; nothing was changed"
            raise UsageError(msg, field=name)
    with _signing(here) as store:
        for name, word in told.items():
            set_limit(store, name, int(word))
    return _("The limits are saved.")


def _add_author(here: Office, form: FormData) -> str:
    """Let another author sit at the desk, or change a code."""
    with _signing(here) as store:
        keep_author(store, chosen(form, "initials"), chosen(form, "code"))
    return _("The initials are saved.")


def _remove_author(here: Office, form: FormData) -> str:
    """Take an author off the list; the one who sits here stays."""
    initials = chosen(form, "initials")
    if initials == here.session.author:
        msg = "you sit here yourself; nobody was removed"
        raise UsageError(msg)
    with _signing(here) as store:
        drop_author(store, initials)
    return _("The initials are off the list.")


def _back_up(here: Office, form: FormData) -> str:
    """Copy the whole store into one new file."""
    told = chosen(form, "file")
    with of_field("file"):
        if not told or not Path(told).is_absolute():
            msg = f"{told!r} is not the full path of a new file; nothing was written"
            raise UsageError(msg)
        copy_store(here.home, Path(told), now=here.wall())
    return _("The backup is made.")


def _set_tablet(here: Office, form: FormData) -> str:
    """Keep what this machine shows as a tablet, and what stands on the card."""
    with _signing(here) as store:
        set_up(
            store,
            emergency_number=chosen(form, "emergency_number"),
            staff_code=chosen(form, "staff_code") or None,
            show_scores=chosen(form, "show_scores") == "yes",
            large=chosen(form, "large") == "yes",
        )
    return _("The settings are saved.")


def _names(here: Office, form: FormData) -> str:
    """Begin, open, close or delete the names on this machine."""
    held, what = here.names, chosen(form, "what")
    phrase = str(form.get("phrase", ""))
    if what == "begin":
        with _noting_names(here, "", "kept"):
            held.begin(phrase, str(form.get("again", "")))
        return _("Names can be kept on this machine now.")
    if what == "open":
        held.open(phrase)
        return _("The names are open.")
    if what == "close":
        held.close()
        return _("The names are closed.")
    if what != "delete" or chosen(form, "sure") != "yes":
        msg = "tick that you are sure; nothing was deleted"
        raise UsageError(msg, field="sure")
    if held.kept:
        with _noting_names(here, "kept", ""):
            held.delete()
    return _("The names are deleted.")


def _drill(here: Office, form: FormData) -> str:
    """Try in a folder that is thrown away whether a copy could be restored."""
    told = chosen(form, "copy")
    if not told or not Path(told).is_absolute():
        msg = f"{told!r} is not the full path of a backup; nothing was changed"
        raise UsageError(msg, field="copy")

    def work(step: Step) -> Sequence[str]:
        with here.store() as store:
            return try_copy(Path(told), store, progress=step)

    job = here.jobs.start(_("Checking a backup"), work)
    return f"/out/{job.name}"


ROUTES = [
    shows("/clinic", show),
    takes("/clinic/limits", _taking("limits", _keep_limits)),
    takes("/clinic/author", _taking("author", _add_author)),
    takes("/clinic/authors", _taking("authors", _remove_author)),
    takes("/clinic/backup", _taking("backup", _back_up)),
    takes("/clinic/drill", _taking("drill", _drill)),
    takes("/clinic/names", _taking("names", _names)),
    takes("/clinic/tablet", _taking("tablet", _set_tablet)),
]
