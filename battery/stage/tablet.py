"""The tablet's own program: one window with a start page that everything comes back to."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from datetime import date
from functools import partial

from battery.comfort import comfort_of
from battery.due import next_visit
from battery.errors import BatteryError, PlanError
from battery.home_plan import REMIND_WITHIN, held_home_plan, reminder_due
from battery.looks import Comfort
from battery.machine import clinic_settings
from battery.own_plan import contradiction_words, own_plan, plan_for
from battery.people import person_label, picture_of
from battery.plan import Plan
from battery.recording import Hand
from battery.stage.checks.sound_check import heard_page
from battery.stage.drawing.avatars import Token
from battery.stage.drawing.places import Button
from battery.stage.home_exercises import home_exercise_pages
from battery.stage.language import texts
from battery.stage.pages.builder import Maker, Next
from battery.stage.pages.comforts import Settings, side_of, wear
from battery.stage.pages.following import follow, say_trouble
from battery.stage.pages.home_plan import HomePlanPages
from battery.stage.pages.page import Page
from battery.stage.pages.people import MORE, PeoplePage, PersonPage, leaf_of
from battery.stage.pages.staff import staff_page
from battery.stage.pages.stopping import Stopping
from battery.stage.screen.window import Window
from battery.stage.settings.comfort import comfortable_window
from battery.stage.settings.device import Screens, load_device
from battery.stage.staff.hand_over import HandOver, Told
from battery.stage.staff.staff_menu import Sitting, StaffMenu, closed
from battery.stage.visit import VisitPages, changes_kept
from battery.store import Person, Store
from battery.trouble_notes import note_trouble
from battery.visits import Wall

REMIND = "remind "


def tablet_on_screen(
    store: Store,
    *,
    windowed: bool,
    large: bool,
    wall: Wall,
    random_source: random.Random,
    told: Told,
    plan: Plan | None = None,
) -> None:
    """Show who uses this tablet and do what they choose, until staff or the system close it.

    Whatever goes wrong inside shows a calm page and comes back to the start page. The recording
    lock is held for the length of a visit only.

    Parameters
    ----------
    windowed : bool
        A window instead of the full screen.
    large : bool
        Larger buttons and letters.
    wall : callable
        Returns the time with its zone.
    random_source : random.Random
        For layouts, identifiers and demonstrations.
    told : callable
        Gets a line for staff on every visit, hand-over and failure.
    plan : Plan, optional
        What a visit consists of; by default each person's own plan, else the standard one.

    Raises
    ------
    BatteryError
        No screen, or a store that cannot be read at the start.
    """
    alias, known = load_device(store)
    people = present(store)
    comfort = comfort_of(store, people[0].code if len(people) == 1 else None)
    with comfortable_window(comfort, windowed=windowed, known=known) as window:
        tablet = Tablet(
            store,
            window,
            alias=alias,
            known=known,
            large=large,
            wall=wall,
            random_source=random_source,
            told=told,
            plan=plan,
        )
        while not window.closing:
            try:
                follow(window, tablet)
            except Exception as error:  # noqa: BLE001  # whatever it is, the next person can go on
                path = note_trouble(store, error, now=wall())
                said = error if isinstance(error, BatteryError) else repr(error)
                told(f"went wrong: {said}" + (f"; noted in '{path}'" if path else ""))
                say_trouble(window, large=large, noted=path is not None)


def present(store: Store) -> list[Person]:
    """List who uses this tablet: everybody who is not discharged."""
    said = {state.person: state.state for state in store.care.states()}
    return [p for p in store.people.all() if said.get(p.code) != "discharged"]


class Tablet:
    """The start page, and what is reached from it. Running it shows the first page.

    Parameters
    ----------
    store : Store
    window : Window
    alias : str
        Name of this machine.
    known : dict of (width_px, height_px) to Screen
        Screens measured on this machine.
    large : bool
    wall : callable
    random_source : random.Random
    told : callable
    plan : Plan or None
    """

    name = "tablet"

    def __init__(
        self,
        store: Store,
        window: Window,
        *,
        alias: str,
        known: Screens,
        large: bool,
        wall: Wall,
        random_source: random.Random,
        told: Told,
        plan: Plan | None,
    ) -> None:
        self._store, self._window = store, window
        self._alias, self._known = alias, known
        self._large, self._wall, self._random = large, wall, random_source
        self._told, self._plan = told, plan
        self._reminded: set[tuple[str, str, str]] = set()

    def run(self, window: Window) -> Page | None:
        """Return the start page, anew each time: people come and go."""
        del window
        people = present(self._store)
        if len(people) == 1:
            return self._of(people[0], alone=True)
        self._wear(comfort_of(self._store))
        make = self._maker("right", large=self._large)
        if not people:
            return make.text(
                "nobody", texts.NOBODY_TITLE, texts.NOBODY_LINES, (), lambda _: None, stop=False
            )
        return self._people(people, make, 0)

    def _people(self, people: list[Person], make: Maker, leaf: int) -> Page:
        by_code = {person.code: person for person in people}
        shown, turned = leaf_of(list(by_code), leaf)

        def after(key: str) -> Page | None:
            if key == MORE:
                return self._people(people, make, leaf + 1)
            if key.startswith(REMIND):
                return self._remind(by_code[key.removeprefix(REMIND)])
            return self._of(by_code[key])

        choices = [Button(code, person_label(by_code[code]), main=False) for code in shown]
        if turned:
            choices.append(Button(MORE, texts.WHO_ELSE, main=False))
        return PeoplePage(
            "people",
            texts.WHO_TITLE,
            (),
            (),
            after,
            choices=tuple(choices),
            pictures={code: picture_of(self._store, code) for code in shown},
            calls=self._reminders(people),
            **make.shared(None, stop=False),
        )

    def _of(self, person: Person, *, alone: bool = False) -> Page:
        """Return a person's page, in the person's own look."""
        comfort = comfort_of(self._store, person.code)
        self._wear(comfort)
        make = self._maker(
            side_of(comfort, person.dominant_hand), large=comfort.is_large(self._large)
        )
        again = partial(self._of, person, alone=alone)
        today = self._wall().date()
        due = next_visit(self._store, person, self._wall())
        title = texts.PERSON_NONE
        if due is not None:
            title = texts.PERSON_DUE if due <= today else texts.PERSON_LATER
        choices = [
            Button("practised", texts.PRACTISED, main=False),
            Button("plan", texts.HOME_PLAN, main=False),
            Button("looks", texts.LOOKS, main=False),
        ]
        if due is not None and due <= today:
            choices.insert(0, Button("visit", texts.VISIT_NOW))
        if self._store.bundles.not_handed_over() is not None:
            choices.append(Button("send", texts.TO_CLINIC, main=False))

        def after(key: str) -> Page | None:
            if key.startswith(REMIND):
                return self._remind(person)
            if key == "visit":
                return Sitting(partial(self._visit, person))
            if key == "practised":
                return self._exercise(person, make, again)
            if key == "plan":
                return self._home_plan(person, make).first(again)
            if key == "looks":
                return self._looks(person, comfort, make).page(again)
            return self._hand_over(make).page(again) if key == "send" else None

        day = texts.day_words(due or today)
        return PersonPage(
            "person",
            title.format(code=person_label(person), day=day),
            (),
            () if alone else (Button("back", texts.NOT_ME, "left", main=False),),
            after,
            choices=tuple(choices),
            token=picture_of(self._store, person.code),
            calls=self._reminders([person]) if alone else None,
            **make.shared(None, stop=False),
        )

    def _exercise(self, person: Person, make: Maker, back: Next | None) -> Page:
        return home_exercise_pages(
            self._store,
            person,
            make,
            self._window.sound,
            wall=self._wall,
            random_source=self._random,
        ).first(closed, back=back)

    def _home_plan(self, person: Person, make: Maker) -> HomePlanPages:
        """Return the pages of what was agreed for home, and of the days."""
        today = self._wall().date()
        diary = self._store.care.home_exercises(person.code)
        rested = {e.local_date for e in diary if e.exercise == "rest_day"}
        noted = {e.local_date for e in diary if e.was_done and e.exercise != "rest_day"}
        return HomePlanPages(
            make,
            held_home_plan(self._store.care.home_plans(person.code), today),
            today=today,
            noted={date.fromisoformat(day) for day in noted},
            rested={date.fromisoformat(day) for day in rested},
        )

    def _reminders(self, people: Sequence[Person]) -> Callable[[], str]:
        """Return what tells whose agreed time has come while a start page is shown."""
        said = {state.person: state.state for state in self._store.care.states()}
        plans = {
            person.code: entries
            for person in people
            if said.get(person.code, "active") == "active"
            and (entries := self._store.care.home_plans(person.code))
        }

        def due() -> str:
            now = self._wall()
            for code, entries in plans.items():
                told = reminder_due(entries, now)
                key = (code, now.date().isoformat(), told)
                if told and key not in self._reminded:
                    self._reminded = {k for k in self._reminded if k[1] == key[1]} | {key}
                    return f"{REMIND}{code}"
            return ""

        return due

    def _remind(self, person: Person) -> Page:
        """Say that the agreed time has come; it goes away by itself when that is over."""
        comfort = comfort_of(self._store, person.code)
        self._wear(comfort)
        make = self._maker(
            side_of(comfort, person.dominant_hand), large=comfort.is_large(self._large)
        )
        gone = self._wall() + REMIND_WITHIN
        self._window.sound.play("over")
        page = make.text(
            "reminder",
            texts.REMIND_TITLE.format(code=person_label(person)),
            (texts.REMIND_LINE,),
            (
                Button("later", texts.LATER, "left", main=False),
                Button("go", texts.START, "right"),
            ),
            lambda key: self._exercise(person, make, None) if key == "go" else None,
            picture=Token(picture_of(self._store, person.code)),
            stop=False,
        )
        page.calls = lambda: "later" if self._wall() >= gone else ""
        return page

    def _visit(self, person: Person) -> None:
        """Do a visit, with the same pages and the same record as `battery visit`."""
        held = own_plan(self._store, person.code)
        if held is not None and held.against:
            self._told(contradiction_words(person.code, held))
        comfort = comfort_of(self._store, person.code)
        with self._store.records.lock():
            self._store.records.recover()
            pages = VisitPages(
                self._store,
                person,
                self._plan or plan_for(self._store, person.code),
                self._window,
                alias=self._alias,
                known=self._known,
                large=comfort.is_large(self._large),
                wall=self._wall,
                random_source=self._random,
                comfort=comfort,
                comes_back=True,
            )
            self._window.check_flips()
            try:
                pages.follow()
                said = pages.said()
            except PlanError as error:  # a page has said that the screen is too small
                said = f"no visit of {person.code}: {error}"
        self._told(said)

    def _looks(self, person: Person, comfort: Comfort, make: Maker) -> Settings:
        settings = Settings(
            self._window,
            make,
            comfort,
            keep=lambda changes: settings.held.changed(
                **changes_kept(self._store, person.code, changes, wall=self._wall)
            ),
            sound=lambda back: heard_page(
                self._store, person, self._window.sound, back, make, wall=self._wall
            ),
            usual_side=person.dominant_hand,
        )
        return settings

    def _hand_over(self, make: Maker) -> HandOver:
        return HandOver(self._store, make, wall=self._wall, told=self._told)

    def _staff_menu(self, make: Maker) -> StaffMenu:
        return StaffMenu(
            self._store,
            self._window,
            make,
            alias=self._alias,
            known=self._known,
            wall=self._wall,
            told=self._told,
        )

    def _wear(self, comfort: Comfort) -> None:
        wear(self._window, comfort)

    def _maker(self, side: Hand, *, large: bool) -> Maker:
        """Return what pages outside a visit are made with; Stop leads to the start page."""
        clinic = clinic_settings(self._store)
        make = Maker(
            large=large,
            side=side,
            stopped=lambda back: stopping.stopped(back),
            help_page=lambda page: stopping.emergency(lambda: page),
            staff_page=lambda page: staff_page(
                page, clinic.staff_code, opened=self._staff_menu(make).page, side=side
            ),
        )
        stopping = Stopping(
            make,
            emergency_number=clinic.emergency_number,
            ended=closed,
            following=closed,
            away=closed,
        )
        return make
