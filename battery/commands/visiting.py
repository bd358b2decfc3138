"""The commands of the tablet: its screen and a visit on it."""

from __future__ import annotations

import random
from typing import Annotated

import typer

from battery.commands.common import Code, Home, now, open_store, person_meant


def screen(
    width_mm: Annotated[
        float | None, typer.Option(help="Width of the lit screen area, by ruler, mm.")
    ] = None,
    height_mm: Annotated[
        float | None, typer.Option(help="Height of the lit screen area, by ruler, mm.")
    ] = None,
    home: Home = None,
) -> None:
    """Show this screen's scale and speed, or store its size as measured with a ruler.

    Example: battery screen --width-mm 217 --height-mm 136
    """
    from battery.stage import measure_screen

    with open_store(home) as store:
        for line in measure_screen(store, width_mm=width_mm, height_mm=height_mm):
            print(line)


def visit(
    code: Code = None,
    plan: Annotated[
        str, typer.Option(help="standard, numbers, short, or the path of a plan file.")
    ] = "standard",
    windowed: Annotated[bool, typer.Option(help="Use a window, not the full screen.")] = False,
    large: Annotated[bool, typer.Option(help="Larger buttons (30 mm) and letters.")] = False,
    language: Annotated[
        str | None,
        typer.Option(help="Language for this visit: en or de. Default: 'battery comfort'."),
    ] = None,
    home: Home = None,
) -> None:
    """Do a visit on this screen. A visit that was cut off today goes on where it stopped.

    Example: battery visit K7QF --plan short --windowed
    """
    from battery.plan import load_plan
    from battery.stage import visit_on_screen
    from battery.stage.comfort import comfort_of

    chosen = load_plan(plan)
    with open_store(home) as store:
        person = person_meant(store, code)
        with store.lock_for_recording():
            store.recover()
            print(
                visit_on_screen(
                    store,
                    person,
                    chosen,
                    windowed=windowed,
                    large=large,
                    comfort=comfort_of(store, person.code).changed(language=language),
                    wall=now,
                    random_source=random.SystemRandom(),
                )
            )


COMMANDS = (screen, visit)
