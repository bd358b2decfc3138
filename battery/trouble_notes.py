"""What went wrong on this machine, noted for staff: when, where, in which program.

A text file beside the store, for its owner only. It holds no answer of anybody: of a failure
that is not our own only its kind and its place are kept, as its words may quote what was being
stored.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from traceback import walk_tb

import platformdirs

from battery.errors import HandoverError, PlanError, StageError, StoreError
from battery.files import make_folder, replace_whole
from battery.store import Store
from battery.visits import software_version

FILE_NAME = "troubles.txt"
MAX_NOTES, MAX_BYTES = 20, 100_000
MAX_WORDS, MAX_FRAMES, MAX_CAUSES = 300, 30, 3
PAGE = "page: "
OWN_WORDS = (
    StageError,
    StoreError,
    PlanError,
    HandoverError,
)  # name things, places and sizes, no answers


@dataclass(frozen=True, slots=True)
class TroubleNote:
    """The head of a note.

    Parameters
    ----------
    at : datetime
        On the clock of the place.
    program : str
        Name and version.
    page : str
        What was shown; empty if nothing was.
    what : str
        Kind of failure, with its words where they say nothing of anybody.
    where : str
        Module, line and function in which it began.
    """

    at: datetime
    program: str
    page: str
    what: str
    where: str


def notes_path(store: Store) -> Path:
    """Return where notes are kept: beside the store if that is on this machine."""
    folder = store.folder or platformdirs.user_data_path(
        "coordination-battery", appauthor=False
    )
    return folder / FILE_NAME


def note_trouble(store: Store, error: BaseException, *, now: datetime) -> Path | None:
    """Add a note of a failure; the oldest go where there are more than `MAX_NOTES`.

    Parameters
    ----------
    error : BaseException
        A line ``page: NAME`` among its notes tells what was shown.
    now : datetime
        With its zone.

    Returns
    -------
    Path or None
        The file; None where none can be written, which is no failure of its own.
    """
    path = notes_path(store)
    try:
        make_folder(path.parent)
        kept = [*_notes(path), _note(error, now)][-MAX_NOTES:]
        while len(kept) > 1 and sum(len(note.encode()) + 2 for note in kept) > MAX_BYTES:
            del kept[0]
        replace_whole(path, "\n\n".join([*kept, ""]).encode())
    except OSError:
        return None
    return path


def last_trouble(store: Store) -> TroubleNote | None:
    """Return what was noted last; None if nothing was, or it cannot be read."""
    try:
        notes = _notes(notes_path(store))
    except OSError:
        return None
    if not notes:
        return None
    told = dict(line.split(": ", 1) for line in notes[-1].splitlines() if ": " in line)
    try:
        at = datetime.fromisoformat(told.get("at", ""))
    except ValueError:  # somebody has written into it
        return None
    return TroubleNote(
        at, *(told.get(name, "") for name in ("program", "page", "what", "where"))
    )


def _notes(path: Path) -> list[str]:
    if not path.exists():
        return []
    with path.open("rb") as file:
        text = file.read(2 * MAX_BYTES).decode("utf-8", "replace")
    return [note.strip() for note in text.split("\n\n") if note.strip()]


def _note(error: BaseException, now: datetime) -> str:
    chain = list(_chain(error))
    pages = [line for line in getattr(error, "__notes__", ()) if line.startswith(PAGE)]
    places = [_places(one) for one in chain]
    return "\n".join(
        [
            f"at: {now.isoformat(timespec='seconds')}",
            f"program: {software_version()}",
            f"{PAGE}{pages[0].removeprefix(PAGE) if pages else ''}",
            f"what: {_words(chain[0])}",
            f"where: {next((rows[-1] for rows in reversed(places) if rows), '')}",
            *(
                line
                for one, rows in zip(chain, places, strict=True)
                for line in (f"  {_words(one)}", *(f"    {row}" for row in rows))
            ),
        ]
    )


def _chain(error: BaseException) -> Iterator[BaseException]:
    """Give a failure and what it came of."""
    one: BaseException | None = error
    for _ in range(MAX_CAUSES):
        if one is None:
            return
        yield one
        one = one.__cause__ or (None if one.__suppress_context__ else one.__context__)


def _words(error: BaseException) -> str:
    kind = type(error).__name__
    if isinstance(error, OWN_WORDS):
        said = str(error)
    else:
        said = error.strerror or "" if isinstance(error, OSError) else ""
    words = " ".join(said.split())[:MAX_WORDS]
    return f"{kind}: {words}" if words else kind


def _places(error: BaseException) -> list[str]:
    """List where a failure passed, the innermost place last; no value of any variable."""
    return [
        f"{frame.f_globals.get('__name__', '?')}:{line} {frame.f_code.co_name}"
        for frame, line in walk_tb(error.__traceback__)
    ][-MAX_FRAMES:]
