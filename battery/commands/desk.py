"""The command that opens the desk."""

from __future__ import annotations

from typing import Annotated

import typer

from battery.commands.common import Home, open_store


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
    Desk(lambda known, end: make_app(Office(home, known, end)), folder).run(
        open_browser=browser, told=lambda line: print(line, flush=True)
    )


COMMANDS = (desk,)
