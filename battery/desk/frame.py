"""What all screens of the desk share: the store, the frame around a page, forms, errors.

A screen is a module of `battery.desk.screens` with a list of routes, made by `shows` and
`takes`. Its functions are plain ones, as every request has a thread and a store of its own:
they take the request, and the form that was sent, call the same functions as the commands do,
and return `page(...)` or `see_other(...)`.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import (
    HTMLResponse,
    PlainTextResponse,
    RedirectResponse,
    Response,
)
from starlette.routing import Match, Route

from battery.desk.filled import NAME_FIELD, Forms, Sent, unsaved
from battery.desk.guard import FORM_FIELD, FORM_HEADER, Secrets, form_is_ours
from battery.desk.jobs import Jobs
from battery.desk.names import Names
from battery.desk.remembering import Remembered
from battery.desk.retelling import retold
from battery.desk.session import Session
from battery.desk.starting import Visiting
from battery.desk.words import LANGUAGES, catalogue
from battery.errors import BatteryError, UsageError
from battery.report import Known, Pools, read_pools
from battery.store import Store
from battery.store.changes import Changes

LANGUAGE_COOKIE = "desk-language"
THEME_COOKIE = "desk-theme"
THEMES = ("system", "light", "dark")


@dataclass
class Office:
    """What one desk holds while it is open.

    Parameters
    ----------
    home : path, str or None
        Where the store is, as `Store.open` takes it.
    known : Secrets
    end : callable
        Ends the desk.
    wall : callable
        Returns the time with its zone.
    """

    home: Path | str | None
    known: Secrets
    end: Callable[[], None]
    wall: Callable[[], datetime] = lambda: datetime.now().astimezone()
    session: Session = field(default_factory=lambda: Session(time.monotonic))
    jobs: Jobs = field(default_factory=Jobs)
    _preparing: threading.Thread | None = None
    _prepare: bool | None = None  # asked for and not begun; None while nobody prepares
    _prepare_lock: threading.Lock = field(default_factory=threading.Lock)
    _known: Known = field(default_factory=Known)
    _known_of: object = None

    def __post_init__(self) -> None:
        """Watch the store for changes, as what was judged is kept until one."""
        self.changes = Changes(self.home)
        self.remembered = Remembered(self.changes.sign)
        self.names = Names(self.home)
        self.visiting = Visiting(self.home)

    @contextmanager
    def store(self, *, write: bool = False) -> Iterator[Store]:
        """Open the store for one request."""
        with Store.open(self.home, write=write) as store:
            yield store

    def prepare(self, *makes: Callable[[Office], object]) -> None:
        """Make what will be asked for next while nobody waits for it; one time after another.

        What was read for it is kept in the store. That changes the store, so all is made again,
        of what is held.

        Parameters
        ----------
        makes : callables
            Each gets this office and asks for something that is remembered.
        """

        def prepared() -> None:
            try:
                while self._is_to_prepare():
                    with suppress(BatteryError):  # whoever asks for it is told
                        for make in makes:
                            make(self)
                        if self.keep_read():
                            for make in makes:
                                make(self)
            except BaseException:  # a defect: the next who asks begins anew
                self._prepare = None
                raise

        with self._prepare_lock:
            begun, self._prepare = self._prepare is not None, True
            if not begun:
                self._preparing = threading.Thread(target=prepared, name="prepare", daemon=True)
                self._preparing.start()

    def _is_to_prepare(self) -> bool:
        """Whether it was asked for since this was; what was asked for meanwhile is not lost."""
        with self._prepare_lock:
            asked = bool(self._prepare)
            self._prepare = False if asked else None  # None under the lock: nobody is missed
            return asked

    def pools(self) -> Pools:
        """Return what everybody brings to judge one by, read once and after every change."""

        def made() -> Pools:
            with self.store() as store:
                known = self.already_read(store)
                pools = read_pools(store, known)
            pools.fit()
            known.hold_fits(pools)
            return pools

        return self.remembered.get("pools", made)

    def already_read(self, store: Store) -> Known:
        """Return what was read of everybody before; nothing yet of another file than then."""
        sign = self.changes.sign()
        if sign is None or not store.counts_changes:
            return Known()
        if self._known_of != self.changes.which:
            self._known, self._known_of = Known(), self.changes.which
        return self._known

    def keep_read(self) -> bool:
        """Keep in the store what was read of people, so that the next start finds it there.

        Returns
        -------
        bool
            Whether anything was kept; what cannot be is only read again.
        """
        if self.changes.sign() is None or self._known_of != self.changes.which:
            return False  # it was read from another file than there is now
        if not self._known.n_to_keep:
            return False
        with suppress(BatteryError), self.store(write=True) as store:
            return self._known.keep(store) > 0
        return False

    def now_utc(self) -> str:
        """Return the time as the store keeps it."""
        return self.wall().astimezone(UTC).isoformat(timespec="microseconds")


def office(request: Request) -> Office:
    """Return the desk a request came to."""
    found: Office = request.app.state.office
    return found


def shows(path: str, show: Callable[[Request], Response], *, to_anybody: bool = False) -> Route:
    """Return the route of a page.

    Parameters
    ----------
    path : str
    show : callable
        Gets the request and returns the page; runs in a thread of its own.
    to_anybody : bool
        Whether it is shown while nobody sits at the desk.
    """

    async def answer(request: Request) -> Response:
        away = _nobody_here(request)
        if away is not None and not to_anybody:
            return away
        return await run_in_threadpool(show, request)

    return Route(path, answer, methods=["GET"])


def takes(
    path: str,
    take: Callable[[Request, FormData], Response],
    *,
    to_anybody: bool = False,
) -> Route:
    """Return the route that takes a form; one that is not the desk's own is refused.

    While nobody sits at the desk nothing is taken; whoever was locked out for being away finds
    the form again as it was filled in (see `battery.desk.session`).

    Parameters
    ----------
    path : str
    take : callable
        Gets the request and its form; runs in a thread of its own.
    to_anybody : bool
        Whether it is taken while nobody sits at the desk.
    """

    async def answer(request: Request) -> Response:
        away = _nobody_here(request)
        async with request.form() as form:
            told = form.get(FORM_FIELD)
            ours = form_is_ours(
                office(request).known,
                field_value=told if isinstance(told, str) else None,
                header_value=request.headers.get(FORM_HEADER),
            )
            if not ours:
                return PlainTextResponse("This form is not the desk's own.", status_code=403)
            if away is not None and not to_anybody:
                office(request).session.keep(_way_back(request), unsaved(form))
                return away
            return await run_in_threadpool(take, request, form)

    return Route(path, answer, methods=["POST"])


def _nobody_here(request: Request) -> Response | None:
    """Return the way to the door if nobody sits at the desk."""
    session = office(request).session
    looks_again = request.method == "GET" and "hx-request" in request.headers
    session.touch(by_itself=looks_again)
    if session.author:
        return None
    door = f"/door?then={quote(_way_back(request))}"
    if looks_again:  # the script would put the door into the page
        return Response(headers={"hx-redirect": door})
    return see_other(door)


def _way_back(request: Request) -> str:
    """Return the page to go on with after the door, which is none itself."""
    place = place_of(request)
    return "/" if place == "/door" else place


def place_of(request: Request) -> str:
    """Return the page a request belongs to: itself, or the one its form stands on."""
    path: str = request.url.path
    while path != "/" and not _is_page(request, path):
        path = path.rpartition("/")[0] or "/"
    return path


def _is_page(request: Request, path: str) -> bool:
    asked = {"type": "http", "method": "GET", "path": path, "root_path": ""}
    return any(
        isinstance(route, Route) and route.matches(asked)[0] is Match.FULL
        for route in request.app.routes
    )


def language_of(request: Request) -> str:
    """Return the language a browser was set to, else the first it asks for that there is."""
    kept = request.cookies.get(LANGUAGE_COOKIE, "")
    if kept in LANGUAGES:
        return kept
    asked = request.headers.get("accept-language", "").lower().split(",")
    return next((code for part in asked if (code := part.strip()[:2]) in LANGUAGES), "en")


def page(
    request: Request,
    template: str,
    *,
    status_code: int | None = None,
    held: Sent | None = None,
    **words: Any,
) -> Response:
    """Return a screen inside the desk's frame.

    Parameters
    ----------
    template : str
        File below ``templates``.
    status_code : int, optional
        400 where something is wrong with a form, else 200.
    held : Sent, optional
        A form of it that was sent, to be shown as it was filled in.
    words : Any
        What the template asks for.
    """
    here = office(request)
    code, place = language_of(request), place_of(request)
    shown = held
    if request.method == "GET" and status_code is None and place == request.url.path:
        shown = here.session.taken(place)
    forms = Forms(shown, partial(retold, code=code))
    if status_code is None:
        status_code = 400 if held is not None and held.wrong else 200
    told = {
        "language": code,
        "languages": LANGUAGES,
        "theme": request.cookies.get(THEME_COOKIE, THEMES[0]),
        "place": place,
        "current": place if request.method == "POST" or place == request.url.path else "",
        "form_secret": here.known.form,
        "author": here.session.author,
        "secret": partial(_hidden, here.known.form),
        "said": request.query_params.get("said", ""),
        "say": partial(_word, code),
        "retell": partial(retold, code=code),
        "pairs": lambda words: [(word, _word(code, word)) for word in words],
        "of": forms,
        "of_none": forms.elsewhere,
    }
    html = environment(code).get_template(template).render(told | words)
    return HTMLResponse(html, status_code=status_code)


def _hidden(secret: str, name: str = "") -> Markup:
    """Return what stands in every form: the desk's secret, and the form's name on its screen.

    One without a name has nothing in it that is typed.
    """
    hidden = Markup('<input type="hidden" name="{}" value="{}">')
    named = hidden.format(NAME_FIELD, name) if name else Markup("")
    return hidden.format(FORM_FIELD, secret) + named


def _word(code: str, text: str) -> str:
    """Return a text that is not written in a template in a language, still to be escaped.

    The ``_`` of templates would take it as one of its own, with marks and places to be filled.
    """
    return catalogue(code).gettext(text) if text else ""


def see_other(path: str) -> Response:
    """Send the browser on after something was changed, so that a reload changes nothing."""
    return RedirectResponse(path, status_code=303)


_ENVIRONMENTS: dict[str, Environment] = {}


def environment(code: str) -> Environment:
    """Return the templates in a language."""
    if code not in _ENVIRONMENTS:
        made = Environment(
            loader=PackageLoader("battery.desk"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            extensions=["jinja2.ext.i18n"],
        )
        made.filters["clock"] = clock
        made.install_gettext_translations(catalogue(code), newstyle=True)  # type: ignore[attr-defined]  # added by the extension
        _ENVIRONMENTS[code] = made
    return _ENVIRONMENTS[code]


def clock(at_utc: str) -> str:
    """Return a moment of the store as the clocks of this place show it; as it is if it is none.

    Examples
    --------
    >>> clock("yesterday")
    'yesterday'
    """
    try:
        moment = datetime.fromisoformat(at_utc)
    except ValueError:
        return at_utc
    return f"{moment.astimezone():%Y-%m-%d %H:%M}"


def chosen(form: Mapping[str, Any], name: str) -> str:
    """Return what a field holds, without blanks around it; empty where there is none."""
    value = form.get(name, "")
    return value.strip() if isinstance(value, str) else ""


def folder_meant(form: FormData) -> Path:
    """Return the drive or folder that the field `folder` of a form names.

    Raises
    ------
    UsageError
        If it is none on this machine.
    """
    told = chosen(form, "folder")
    folder = Path(told)
    if not told or not folder.is_absolute() or not folder.is_dir():
        msg = f"{told!r} is not a folder on this machine; nothing was changed"
        raise UsageError(msg, field="folder")
    return folder
