"""What commands share: the store asked for, the person meant, the clock, a progress bar."""

from __future__ import annotations

import getpass
import sys
from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from battery.errors import UsageError
from battery.moments import utc_text

if TYPE_CHECKING:
    from battery.store import Person, Store

MAX_LINES = 20  # of what could not be read; 'battery verify' names all

Home = Annotated[
    str | None,
    typer.Option(
        "--home",
        help="Folder of the store, or a postgresql:// address. Default: BATTERY_HOME, or the "
        "data folder.",
    ),
]
Code = Annotated[
    str | None, typer.Argument(help="The person's code, as 'battery enrol' gave it.")
]


def open_store(home: str | None, *, write: bool = True) -> Store:
    """Open the store at `home`, by default the one of `BATTERY_HOME` or the data folder."""
    from battery.store import Store

    return Store.open(home, write=write)


def say_unreadable(store: Store) -> None:
    """Name what could not be read and was left out, and end with 1 if there was anything.

    Raises
    ------
    typer.Exit
        If something was left out.
    """
    lines = store.unreadable()
    for line in lines[:MAX_LINES]:
        print(f"battery: {line}", file=sys.stderr)
    if len(lines) > MAX_LINES:
        rest = len(lines) - MAX_LINES
        print(f"battery: and {rest} more; 'battery verify' names all", file=sys.stderr)
    if lines:
        raise typer.Exit(1)


def person_meant(store: Store, code: str | None) -> Person:
    """Return the person asked for, or the only one there is."""
    if code is not None:
        return store.people.get(code.upper())
    people = store.people.all()
    if len(people) == 1:
        return people[0]
    if not people:
        msg = "nobody is enrolled in this store; run 'battery enrol' first"
        raise UsageError(msg)
    msg = f"{len(people)} people are enrolled; say whose visit: battery visit CODE"
    raise UsageError(msg)


def now() -> datetime:
    """Return the time of the wall clock with its offset."""
    return datetime.now().astimezone()


def now_utc() -> str:
    """Return the time of the wall clock in UTC, as the store keeps it."""
    return utc_text(now(), "microseconds")


def at_terminal() -> bool:
    """Whether somebody can be asked."""
    return sys.stdin.isatty()


def account() -> str:
    """Return the account that runs the program, for a record of who did something."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # an account without a name
        return "an account without a name"


MAX_BY = 200  # letters


def by_meant(told: str, option: str = "--by") -> str:
    """Return who is said to enter something, without blanks around; empty where nobody is.

    Parameters
    ----------
    told : str
    option : str
        Of the command.

    Raises
    ------
    UsageError
        If it is too long, or can be neither shown nor stored.
    """
    from battery import forms

    who = told.strip()
    try:
        forms.words(who)
    except ValueError as error:
        msg = f"{option} {ascii(who)[:40]}: {error}. Nothing was stored"
        raise UsageError(msg) from error
    if len(who) > MAX_BY:
        msg = f"{option} has {len(who)} letters; say at most {MAX_BY}. Nothing was stored"
        raise UsageError(msg)
    return who


def day_meant(told: str, undone: str) -> date:
    """Return the day that was typed; `undone` is what was not done if it is none.

    Raises
    ------
    UsageError
        If it is no date.
    """
    try:
        return date.fromisoformat(told)
    except ValueError:
        msg = f"{told!r} is not a date; write it as 2026-05-31. Nothing was {undone}"
        raise UsageError(msg) from None


class Progress:
    """A progress bar on a terminal, nothing elsewhere; called with (done, total)."""

    def __init__(self, what: str) -> None:
        self._what = what
        self._bar: Any = None

    def __enter__(self) -> Any:
        if not sys.stderr.isatty():
            return lambda _done, _total: None
        from rich.console import Console
        from rich.progress import Progress

        self._bar = Progress(console=Console(stderr=True), transient=True)
        self._bar.start()
        task = self._bar.add_task(self._what, total=None)
        return lambda done, total: self._bar.update(task, completed=done, total=total)

    def __exit__(self, *_: object) -> None:
        if self._bar is not None:
            self._bar.stop()
