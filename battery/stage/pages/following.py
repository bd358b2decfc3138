"""One page after another, and a calm sentence where the program fails."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from battery.errors import StageError
from battery.stage.drawing.places import Button
from battery.stage.drawing.signs import Sign
from battery.stage.language import texts
from battery.stage.pages.page import Left, Page, TextPage
from battery.stage.screen.window import Window
from battery.trouble_notes import PAGE

MAX_PAGES = 1000

Moved = Callable[[Page], Page | None]
Note = Callable[[Exception], Path | None]


def follow(window: Window, first: Page | None, *, moved: Moved | None = None) -> None:
    """Show pages until one returns None or the window is closed.

    Parameters
    ----------
    moved : callable, optional
        Gets the page that follows after the screen was turned or changed, and returns what
        stands before it, or the page.
    """
    page = first
    shown = 0
    while page is not None and not window.closing:
        name = page.name
        shown += 1
        if shown > MAX_PAGES:
            msg = f"more than {MAX_PAGES} pages in one visit; what was done is stored"
            raise StageError(msg)
        try:
            page = page.run(window)
        except Left:
            window.closing = True
        except Exception as error:
            error.add_note(f"{PAGE}{name}")  # the innermost of several is the first
            raise
        if page is not None and window.refit() and moved is not None:
            page = moved(page)


def run_pages(
    window: Window, first: Page | None, *, large: bool = False, note: Note | None = None
) -> None:
    """Show pages until one returns None or the window is closed.

    If a page fails, the person reads a calm sentence before the failure goes on to the caller.
    """
    with trouble_said(window, large=large, note=note):
        follow(window, first)


@contextmanager
def trouble_said(window: Window, *, large: bool, note: Note | None = None) -> Iterator[None]:
    """Let the person read a calm sentence before a failure goes on.

    Parameters
    ----------
    note : callable, optional
        Keeps a note of the failure and returns its file, if it could be kept.
    """
    try:
        yield
    except Exception as error:
        noted = note is not None and note(error) is not None
        say_trouble(window, large=large, noted=noted)
        raise


def say_trouble(window: Window, *, large: bool, noted: bool = False) -> None:
    """Say calmly that something has stopped working, until it is closed."""
    page = TextPage(
        "trouble",
        texts.TROUBLE_TITLE,
        (*texts.TROUBLE_LINES, *((texts.TROUBLE_NOTED,) if noted else ())),
        (Button("end", texts.CLOSE),),
        lambda _: None,
        stop=False,
        large=large,
        picture=Sign("stop"),
    )
    follow(window, page)
