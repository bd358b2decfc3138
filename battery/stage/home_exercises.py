"""Home exercise in a window of its own, and for the first page of a visit."""

from __future__ import annotations

import random
import uuid

from battery.comfort import comfort_of
from battery.looks import Comfort
from battery.machine import clinic_settings
from battery.stage.pages.builder import Maker
from battery.stage.pages.following import run_pages
from battery.stage.pages.home_exercise import HomeExercisePages
from battery.stage.pages.page import Page
from battery.stage.pages.staff import staff_page
from battery.stage.pages.stopping import Stopping
from battery.stage.screen.sound import Sound
from battery.stage.settings.comfort import comfortable_window
from battery.stage.settings.device import load_device
from battery.store import Person, Store
from battery.trouble_notes import note_trouble
from battery.visits import Wall


def home_exercise_pages(
    store: Store,
    person: Person,
    make: Maker,
    sound: Sound,
    *,
    wall: Wall,
    random_source: random.Random,
) -> HomeExercisePages:
    """Return the pages of a person's home exercise, kept in a store."""

    def new_id() -> str:
        return str(uuid.UUID(int=random_source.getrandbits(128), version=4))

    return HomeExercisePages(
        make, sound, store.care, person=person.code, now=wall, new_id=new_id
    )


def home_exercise_on_screen(
    store: Store,
    person: Person,
    *,
    windowed: bool,
    large: bool,
    wall: Wall,
    random_source: random.Random,
    comfort: Comfort | None = None,
) -> str:
    """Ask for home exercise in a window, offer the timer, and say in one line what was kept.

    Raises
    ------
    BatteryError
        No screen, or a store that cannot be written.
    """
    _, known = load_device(store)
    clinic = clinic_settings(store)
    comfort = comfort or comfort_of(store, person.code)
    large = large or comfort.is_large(False)
    before = {entry.practice_id for entry in store.care.home_exercises(person.code)}
    with comfortable_window(comfort, windowed=windowed, known=known) as window:

        def closed() -> Page | None:
            return None

        make = Maker(
            large=large,
            side=person.dominant_hand,
            stopped=lambda back: stopping.stopped(back),
            help_page=lambda page: stopping.emergency(lambda: page),
            staff_page=lambda page: staff_page(
                page, clinic.staff_code, side=person.dominant_hand
            ),
        )
        stopping = Stopping(
            make,
            emergency_number=clinic.emergency_number,
            ended=closed,
            following=closed,
            away=closed,
        )
        pages = home_exercise_pages(
            store, person, make, window.sound, wall=wall, random_source=random_source
        )
        run_pages(
            window, pages.first(closed), large=large,
            note=lambda error: note_trouble(store, error, now=wall()),
        )  # fmt: skip
        note = window.sound.note
    kept = [e for e in store.care.home_exercises(person.code) if e.practice_id not in before]
    said = ", ".join(f"{entry.kind} {entry.exercise.replace('_', ' ')}" for entry in kept)
    return "; ".join(
        part for part in (f"{person.code}: {said or 'nothing noted'}", note) if part
    )
