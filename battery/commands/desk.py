"""The command that opens the desk."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Annotated

import typer

from battery.commands.common import Home, open_store

if TYPE_CHECKING:
    from starlette.types import ASGIApp

    from battery.desk.guard import Secrets


def desk(
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the default browser on it.")
    ] = True,
    home: Home = None,
) -> None:
    """Open the clinic's pages in a browser, for this machine alone.

    It ends when it is closed there, or with Ctrl+C. Example: battery desk
    """
    from battery.desk.app import make_app
    from battery.desk.frame import Office
    from battery.desk.running import Desk

    with open_store(home) as store:
        folder = store.folder
    offices: list[Office] = []

    def made(known: Secrets, end: Callable[[], None]) -> ASGIApp:
        offices.append(Office(home, known, end))
        return make_app(offices[-1])

    Desk(made, folder).run(open_browser=browser, told=lambda line: print(line, flush=True))
    offices[-1].keep_read()


COMMANDS = (desk,)
