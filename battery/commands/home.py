"""The commands for the tablet at home: how it looks and sounds, and home exercise."""

from __future__ import annotations

import random
from typing import Annotated, Any

import typer

from battery.commands.common import Code, Home, by_meant, now, now_utc, open_store, person_meant

Who = Annotated[
    str | None,
    typer.Argument(help="The person's code; without it, for everybody with no own setting."),
]


def comfort(
    code: Who = None,
    language: Annotated[
        str | None, typer.Option(help="Language of texts and voice: en or de.")
    ] = None,
    theme: Annotated[
        str | None, typer.Option(help="light, dark or dim (sensitive to light).")
    ] = None,
    text: Annotated[
        int | None, typer.Option("--text", help="Size of words, 100 to 200 percent.")
    ] = None,
    volume: Annotated[
        int | None, typer.Option(help="Loudness of tones and voice, 0 to 100.")
    ] = None,
    voice: Annotated[
        bool | None, typer.Option("--voice/--no-voice", help="Whether pages are spoken.")
    ] = None,
    side: Annotated[
        str | None, typer.Option(help="Hand that presses on pages: left or right.")
    ] = None,
    buttons: Annotated[
        str | None, typer.Option(help="large (30 mm) or usual, whatever is set for the tablet.")
    ] = None,
    by: Annotated[
        str, typer.Option(help="Who says so, in initials or a role; needed for a person.")
    ] = "",
    home: Home = None,
) -> None:
    """Show or set how pages look and sound for a person, or for the whole clinic.

    What is set for a person goes to the tablet with the person's card.
    Example: battery comfort K7QF --language de --theme dim --text 150 --by AB
    """
    from battery.clinic_changes import signed
    from battery.comfort import comfort_of, keep_comfort, keep_for_all

    asked: dict[str, Any] = {
        "language": language,
        "theme": theme,
        "text_percent": text,
        "volume_percent": volume,
        "voice": voice,
        "side": side,
        "buttons": buttons,
    }
    changes = {name: value for name, value in asked.items() if value is not None}
    person = None if code is None else code.upper()
    with open_store(home, write=bool(changes)) as store:
        if person is not None:
            store.people.get(person)
        if not changes:
            held = comfort_of(store, person)
        elif person is None:
            with signed(store, author=by_meant(by), at_utc=now_utc()):
                held = keep_for_all(store, **changes)
        else:
            held = keep_comfort(store, person, author=by, at_utc=now_utc(), **changes)
    print(f"{person or 'everybody'}: {held.in_words()}")


def exercise(
    code: Code = None,
    windowed: Annotated[bool, typer.Option(help="Use a window, not the full screen.")] = False,
    large: Annotated[bool, typer.Option(help="Larger buttons (30 mm) and letters.")] = False,
    home: Home = None,
) -> None:
    """Note home exercise on this screen, or use the one-minute timer or the metronome.

    What is noted is a dose and how it felt; nothing is scored.
    Example: battery exercise K7QF
    """
    from battery.stage import home_exercise_on_screen

    with open_store(home) as store:
        print(
            home_exercise_on_screen(
                store,
                person_meant(store, code),
                windowed=windowed,
                large=large,
                wall=now,
                random_source=random.SystemRandom(),
            )
        )


def sound(
    code: Code = None,
    windowed: Annotated[bool, typer.Option(help="Use a window, not the full screen.")] = False,
    large: Annotated[bool, typer.Option(help="Larger buttons (30 mm) and letters.")] = False,
    home: Home = None,
) -> None:
    """Let a person choose on this screen how loud voice and tones are, or none at all.

    Example: battery sound K7QF
    """
    from battery.stage import sound_on_screen

    with open_store(home) as store:
        person = person_meant(store, code)
        print(sound_on_screen(store, person, windowed=windowed, large=large, wall=now))


COMMANDS = (comfort, sound, exercise)
