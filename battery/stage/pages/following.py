"""One page after another, and a calm sentence where the program fails."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from battery.errors import StageError
from battery.stage.drawing.canvas import Button
from battery.stage.drawing.signs import Sign
from battery.stage.language import texts
from battery.stage.pages.page import Left, Page, TextPage
from battery.stage.screen.window import Window

MAX_PAGES = 1000

Moved = Callable[[Page], Page | None]


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
        shown += 1
        if shown > MAX_PAGES:
            msg = f"more than {MAX_PAGES} pages in one visit; what was done is stored"
            raise StageError(msg)
        try:
            page = page.run(window)
        except Left:
            window.closing = True
        if page is not None and window.refit() and moved is not None:
            page = moved(page)


def run_pages(window: Window, first: Page | None, *, large: bool = False) -> None:
    """Show pages until one returns None or the window is closed.

    If a page fails, the person reads a calm sentence before the failure goes on to the caller.
    """
    with trouble_said(window, large=large):
        follow(window, first)


@contextmanager
def trouble_said(window: Window, *, large: bool) -> Iterator[None]:
    """Let the person read a calm sentence before a failure goes on."""
    try:
        yield
    except Exception:
        say_trouble(window, large=large)
        raise


def say_trouble(window: Window, *, large: bool) -> None:
    """Say calmly that something has stopped working, until it is closed."""
    page = TextPage(
        "trouble",
        texts.TROUBLE_TITLE,
        texts.TROUBLE_LINES,
        (Button("end", texts.CLOSE),),
        lambda _: None,
        stop=False,
        large=large,
        picture=Sign("stop"),
    )
    follow(window, page)
