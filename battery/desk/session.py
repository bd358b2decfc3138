"""Who sits at the desk: an author by initials and a short code; locked when left alone.

A form that arrives from an author whom the desk locked out for being away is kept until that
author is back: in memory alone, one form, for nobody else, and forgotten when another author
comes in or when somebody locks or closes the desk.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass

from battery.desk.filled import Sent
from battery.errors import UsageError
from battery.store import Store

SETTING = "desk_authors"
INITIALS = re.compile(r"[A-Za-zÀ-ž][A-Za-zÀ-ž0-9.-]{0,7}")
CODE = re.compile(r"[0-9]{4,8}")
MIN_TRIES = 5  # wrong codes before the desk waits
WAIT_S = 30.0  # after them; doubled with each further one
MAX_WAIT_S = 3600.0
IDLE_S = 600.0
# scrypt as RFC 7914 describes it; the parameters cost about 50 ms and 16 MB a try.
_COST, _BLOCK, _PARALLEL = 2**14, 8, 1


@dataclass(frozen=True, slots=True)
class Author:
    """Somebody who may say things at the desk.

    Parameters
    ----------
    initials : str
        Stored with everything they say.
    salt, key : str
        Hexadecimal; the code itself is nowhere kept.
    """

    initials: str
    salt: str
    key: str

    def knows(self, code: str) -> bool:
        """Whether this is the author's code."""
        return hmac.compare_digest(_key(code, bytes.fromhex(self.salt)), self.key)


def authors(store: Store) -> dict[str, Author]:
    """Return who may say things, by initials."""
    return {
        initials: Author(initials, told["salt"], told["key"])
        for initials, told in store.setup.setting(SETTING, {}).items()
    }


def keep_author(store: Store, initials: str, code: str) -> Author:
    """Keep an author with a code, in place of the earlier code of these initials.

    Raises
    ------
    UsageError
        If the initials or the code have another form; nothing is changed then.
    """
    if not INITIALS.fullmatch(initials):
        msg = f"initials {initials!r} must be 1 to 8 letters; nothing was changed"
        raise UsageError(msg, field="initials")
    if not CODE.fullmatch(code):
        msg = f"a code of {len(code)} characters; it must be 4 to 8 digits; nothing was changed"
        raise UsageError(msg, field="code")
    salt = secrets.token_bytes(16)
    author = Author(initials, salt.hex(), _key(code, salt))
    held = store.setup.setting(SETTING, {})
    store.setup.put_setting(
        SETTING, held | {initials: {"salt": author.salt, "key": author.key}}
    )
    return author


def drop_author(store: Store, initials: str) -> None:
    """Take an author from the list; what they said stays under their initials."""
    held = store.setup.setting(SETTING, {})
    store.setup.put_setting(
        SETTING, {name: told for name, told in held.items() if name != initials}
    )


def _key(code: str, salt: bytes) -> str:
    return hashlib.scrypt(code.encode(), salt=salt, n=_COST, r=_BLOCK, p=_PARALLEL).hex()


class Session:
    """The one sitting at this desk.

    Parameters
    ----------
    now_s : callable
        A clock that only goes forward, seconds.
    idle_s : float
        After so long without a request that somebody made it is locked.

    Attributes
    ----------
    author : str
        Initials of who sits there; empty while nobody does.
    away : str
        Initials of who was locked out for being away, until somebody comes in or locks.
    """

    def __init__(self, now_s: Callable[[], float], *, idle_s: float = IDLE_S) -> None:
        self._now_s = now_s
        self._idle_s = idle_s
        self._seen_s = now_s()
        self._wrong = 0
        self._waits_until_s = 0.0
        self._kept: tuple[str, Sent] | None = None
        self._lock = threading.Lock()  # who sits here and what is kept change together
        self.author = ""
        self.away = ""

    def touch(self, *, by_itself: bool = False) -> None:
        """Take note of a request; lock if the last one is too long ago.

        Parameters
        ----------
        by_itself : bool
            Whether a page asked for it that looks again by itself: nobody need be there.
        """
        now_s = self._now_s()
        with self._lock:
            if now_s - self._seen_s > self._idle_s and self.author:
                self.author, self.away = "", self.author
            if not by_itself:
                self._seen_s = now_s

    def leave(self) -> None:
        """Lock the desk; what was kept is forgotten."""
        with self._lock:
            self.author = self.away = ""
            self._kept = None

    def keep(self, place: str, form: Sent) -> None:
        """Keep a form for whoever is away, in place of an earlier one; for nobody else.

        Parameters
        ----------
        place : str
            The page it stands on.
        form : Sent
        """
        with self._lock:
            if self.away:
                self._kept = place, form

    @property
    def keeps(self) -> bool:
        """Whether a form is kept for who is away."""
        return bool(self.away) and self._kept is not None

    def taken(self, place: str) -> Sent | None:
        """Return, once, the form that was kept for who sits here, if it stands on this page."""
        with self._lock:
            if not self.author or self._kept is None or self._kept[0] != place:
                return None
            form, self._kept = self._kept[1], None
            return form

    def unlock(self, known: dict[str, Author], initials: str, code: str) -> None:
        """Let an author in.

        Raises
        ------
        UsageError
            If the code is wrong, or too many were; says how long to wait.
        """
        left_s = self._waits_until_s - self._now_s()
        if left_s > 0:
            msg = f"too many wrong codes; try again in {left_s:.0f} s"
            raise UsageError(msg, field="code")
        author = known.get(initials)
        if author is None or not author.knows(code):
            self._wrong += 1
            if self._wrong >= MIN_TRIES:
                wait_s = WAIT_S * 2 ** (self._wrong - MIN_TRIES)
                self._waits_until_s = self._now_s() + min(wait_s, MAX_WAIT_S)
            msg = "these initials and this code do not match; you are not signed in"
            raise UsageError(msg, field="code")
        self._wrong = 0
        with self._lock:
            if author.initials not in (self.away, self.author):
                self._kept = None
            self.author, self.away = author.initials, ""
            self._seen_s = self._now_s()
