"""Who may speak to the desk: one browser on this machine, from the desk's own pages.

The desk listens on this machine alone, but so can every page that any browser here has open.
What keeps them out, each by itself:

- Host must be the very address and port, so that no name that was made to point here is served.
- A secret in a file that only its owner may read is exchanged once a browser for a cookie;
  without the cookie there is nothing but a refusal.
- Whatever changes something must come with the very Origin, as a page on another port of this
  machine does send the cookie, and with a secret that stands in every form.
- What is served may load, frame and send nothing beyond itself, and is kept by no cache.

Source: the rules follow the Fetch standard (Origin, Sec-Fetch metadata), RFC 6265bis (SameSite;
ports do not separate cookies) and Content Security Policy Level 3.
"""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

ADDRESS = "127.0.0.1"
READING = frozenset({"GET", "HEAD"})
CHANGING = frozenset({"POST"})
ENTER = "/enter"
FORM_FIELD = "form_secret"
FORM_HEADER = "x-form-secret"
MAX_BODY_BYTES = 64 * 2**20
MAX_FORM_BYTES = 2**20
MAX_LENGTH_DIGITS = 12  # of a body's length
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "font-src 'self'; connect-src 'self'; form-action 'self'; frame-src 'self'; "
    "frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "cache-control": "no-store",
    "x-content-type-options": "nosniff",
    # Without a referrer a browser would send the Origin of its own forms as null.
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}
REFUSED = "This page belongs to the desk of the coordination battery; open it from there."


def _secret() -> str:
    return secrets.token_urlsafe(32)


@dataclass(frozen=True, slots=True)
class Secrets:
    """Secrets of one run of the desk; none outlives it.

    Parameters
    ----------
    entry : str
        In the address by which a browser comes in.
    session : str
        In the cookie.
    form : str
        In every form.
    """

    entry: str = field(default_factory=_secret)
    session: str = field(default_factory=_secret)
    form: str = field(default_factory=_secret)


class Guard:
    """Lets through what the desk's own pages ask for, and refuses everything else.

    Parameters
    ----------
    app : ASGI application
    port : int
        Where the desk listens.
    known : Secrets
    """

    def __init__(self, app: ASGIApp, *, port: int, known: Secrets) -> None:
        self._app = app
        self._known = known
        self._host = f"{ADDRESS}:{port}"
        self._origin = f"http://{ADDRESS}:{port}"
        self._cookie = f"desk-{port}"  # ports do not separate cookies, so the name does

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve or refuse one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # no sockets are spoken here

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    if name not in headers:
                        headers[name] = value
            await send(message)

        refusal = self._refusal(scope)
        if refusal is not None:
            await refusal(scope, receive, guarded)
            return
        if scope["method"] in CHANGING and not self._bounded(scope):
            await _refuse(413, "This is too large for the desk.")(scope, receive, guarded)
            return
        await self._app(scope, receive, guarded)

    def _refusal(self, scope: Scope) -> Response | None:
        """Return what to answer in place of the page; None lets the request through."""
        headers = Headers(scope=scope)
        method = scope["method"]
        if headers.getlist("host") != [self._host]:
            return _refuse(421, REFUSED)
        if method not in READING | CHANGING:
            return _refuse(405, REFUSED)
        if method in READING and scope["path"] == ENTER:
            return self._enter(scope)
        if not self._has_cookie(headers):
            return _refuse(403, REFUSED)
        if method in CHANGING and headers.getlist("origin") != [self._origin]:
            return _refuse(403, REFUSED)
        site = headers.get("sec-fetch-site", "none")
        foreign = site not in ("none", "same-origin")
        if foreign and (method in CHANGING or headers.get("sec-fetch-mode") != "navigate"):
            return _refuse(403, REFUSED)
        return None

    def _enter(self, scope: Scope) -> Response:
        told = scope["query_string"].decode("latin-1").removeprefix("secret=")
        if not hmac.compare_digest(told.encode(), self._known.entry.encode()):
            return _refuse(403, REFUSED)
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(
            self._cookie, self._known.session, httponly=True, samesite="lax", path="/"
        )
        return answer

    def _has_cookie(self, headers: Headers) -> bool:
        try:
            held = SimpleCookie(headers.get("cookie", "")).get(self._cookie)
        except CookieError:
            return False
        session = self._known.session.encode()
        return held is not None and hmac.compare_digest(held.value.encode(), session)

    def _bounded(self, scope: Scope) -> bool:
        """Whether a body says how long it is, and is not too long; uploads may be longer."""
        headers = Headers(scope=scope)
        told = headers.get("content-length", "")
        upload = headers.get("content-type", "").startswith("multipart/form-data")
        limit = MAX_BODY_BYTES if upload else MAX_FORM_BYTES
        plain = told.isascii() and told.isdigit() and len(told) <= MAX_LENGTH_DIGITS
        return plain and int(told) <= limit


def form_is_ours(known: Secrets, *, field_value: str | None, header_value: str | None) -> bool:
    """Whether a form carries the secret that the desk put into it.

    Parameters
    ----------
    known : Secrets
    field_value, header_value : str or None
        What the hidden field, or the header of a request made by a script, says.
    """
    told = (field_value or header_value or "").encode()
    return hmac.compare_digest(told, known.form.encode())


def _refuse(status: int, words: str) -> Response:
    return PlainTextResponse(words, status_code=status)
