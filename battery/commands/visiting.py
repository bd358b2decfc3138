"""The commands of the tablet: its screen and a visit on it."""

from __future__ import annotations

import random
from typing import Annotated

import typer

from battery.commands.common import Code, Home, by_meant, now, now_utc, open_store, person_meant
from battery.errors import UsageError

PLAN_HELP = (
    "standard, numbers, short, or the path of a plan file. Default: the person's own plan, see "
    "'battery plan'; else standard."
)


def screen(
    width_mm: Annotated[
        float | None, typer.Option(help="Width of the lit screen area, by ruler, mm.")
    ] = None,
    height_mm: Annotated[
        float | None, typer.Option(help="Height of the lit screen area, by ruler, mm.")
    ] = None,
    show: Annotated[bool, typer.Option("--show", help="Only say what is known.")] = False,
    loop: Annotated[
        bool,
        typer.Option(
            "--loop", help="Film the delay from finger to light with a phone, and read it."
        ),
    ] = False,
    home: Home = None,
) -> None:
    """Measure this screen with a bank card and check its pointer, or take its size by ruler.

    With --loop a phone that films in slow motion shows how long the device takes from a finger
    to light. That is stored and stands beside the reaction times; it is not subtracted.

    Example: battery screen, or: battery screen --width-mm 217 --height-mm 136
    """
    from battery.stage import film_loop, measure_screen

    if loop and (show or width_mm is not None or height_mm is not None):
        msg = "say --loop alone; nothing was changed"
        raise UsageError(msg)
    with open_store(home) as store:
        if loop:
            print("\n".join(film_loop(store, wall=now)))
            return
        for line in measure_screen(
            store, width_mm=width_mm, height_mm=height_mm, show=show, wall=now
        ):
            print(line)


def setup(
    emergency_number: Annotated[
        str | None, typer.Option(help="Number shown on the emergency page; '' for none.")
    ] = None,
    staff_code: Annotated[
        str | None, typer.Option(help="4 to 8 digits that leave the program; '' for none.")
    ] = None,
    show_scores: Annotated[
        bool | None,
        typer.Option(
            "--show-scores/--hide-scores", help="Offer people their numbers after a visit."
        ),
    ] = None,
    machine: Annotated[
        str | None,
        typer.Option("--as", help="What 'battery' alone opens here: tablet or clinic."),
    ] = None,
    large: Annotated[
        bool | None,
        typer.Option("--large/--usual", help="Larger buttons and letters on this tablet."),
    ] = None,
    by: Annotated[str, typer.Option(help="Who says so, in initials or a role.")] = "",
    home: Home = None,
) -> None:
    """Set what the clinic wants on its tablets, or say what is set.

    Example: battery setup --emergency-number 112 --staff-code 2468 --as tablet
    """
    from battery.clinic_changes import signed
    from battery.machine import set_up

    with open_store(home) as store, signed(store, author=by_meant(by), at_utc=now_utc()):
        held = set_up(
            store,
            emergency_number=emergency_number,
            staff_code=staff_code,
            show_scores=show_scores,
            machine=machine,
            large=large,
        )
    print(f"emergency number: {held.emergency_number or 'not set'}")
    print(f"staff code: {'set' if held.staff_code else 'not set'}")
    print(f"people see their numbers: {'yes' if held.show_scores else 'no'}")
    print(f"this machine: {held.machine or 'not set'}")
    print(f"buttons of the tablet's pages: {'large' if held.large else 'usual'}")


def tablet(
    plan: Annotated[str | None, typer.Option(help=PLAN_HELP)] = None,
    windowed: Annotated[bool, typer.Option(help="Use a window, not the full screen.")] = False,
    large: Annotated[
        bool, typer.Option(help="Larger buttons (30 mm) and letters. See 'battery setup'.")
    ] = False,
    home: Home = None,
) -> None:
    """Open the start page of the people who use this tablet; staff close it with their code.

    A visit if it is due, home exercise, how it looks and sounds, handing over to the clinic.
    Example: battery tablet
    """
    from battery.machine import clinic_settings
    from battery.own_plan import contradictions
    from battery.plan import load_plan
    from battery.stage import tablet_on_screen

    chosen = None if plan is None else load_plan(plan)
    with open_store(home) as store:
        for line in contradictions(store):
            print(line)
        tablet_on_screen(
            store,
            windowed=windowed,
            large=large or clinic_settings(store).large,
            wall=now,
            random_source=random.SystemRandom(),
            told=lambda line: print(line, flush=True),
            plan=chosen,
        )


def visit(
    code: Code = None,
    plan: Annotated[str | None, typer.Option(help=PLAN_HELP)] = None,
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
    from battery.comfort import comfort_of
    from battery.own_plan import contradiction_words, off_plan_words, own_plan, plan_for
    from battery.plan import load_plan
    from battery.stage import visit_on_screen

    asked = None if plan is None else load_plan(plan)
    with open_store(home) as store:
        person = person_meant(store, code)
        held = own_plan(store, person.code)
        if asked is not None:
            off = off_plan_words(store, person.code, asked)
            print(f"{off}\n" if off else "", end="")
        elif held is not None and held.against:
            print(contradiction_words(person.code, held))
        chosen = asked or plan_for(store, person.code)
        with store.records.lock():
            store.records.recover()
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


COMMANDS = (screen, setup, tablet, visit)
