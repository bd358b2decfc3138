"""A visit on this screen, from the window's opening to its closing."""

from __future__ import annotations

import random
from typing import Any

from battery.comfort import comfort_of, keep_comfort
from battery.looks import Comfort
from battery.machine import clinic_settings
from battery.moments import utc_text
from battery.people import person_label, picture_of
from battery.plan import Plan, PlannedBlock, planned_blocks
from battery.recording import Device
from battery.stage.checks.fitting import Fitting
from battery.stage.checks.screen_check import slow_flip_note
from battery.stage.checks.sound_check import first_heard, heard_page
from battery.stage.home_exercises import home_exercise_pages
from battery.stage.pages.builder import Next
from battery.stage.pages.card import CardPages
from battery.stage.pages.comforts import Settings, side_of
from battery.stage.pages.flow import VisitFlow
from battery.stage.pages.following import follow, trouble_said
from battery.stage.pages.page import Page
from battery.stage.pages.questions import EXPERIENCED
from battery.stage.screen.window import Window, versions
from battery.stage.settings.comfort import comfortable_window
from battery.stage.settings.device import Screens, keep_screen, load_device, system_name
from battery.stage.settings.kiosk import warnings
from battery.store import Person, Store
from battery.trouble_notes import note_trouble
from battery.visits import VisitRun, Wall, begin_visit

N_PAGES, PAGE_S = 40, 5.0  # pages of a visit, and how long somebody looks at one
HEARD_PAGE_S = 14.5  # with those that are shown at first, each heard to its end
TRAILS_S, TRY_S = 60.0, 20.0


def changes_kept(
    store: Store, person: str, changes: dict[str, Any], *, wall: Wall
) -> dict[str, Any]:
    """Keep changes of the settings that a person chose, and return them."""
    keep_comfort(store, person, author=person, at_utc=utc_text(wall()), **changes)
    return changes


def about_minutes(plan: Plan, *, knows_it: bool = True) -> int:
    """Say how long a visit takes, at least two whole minutes; trails take as they take.

    Parameters
    ----------
    knows_it : bool
        Pages are shown in brief; else they are heard to their end, with demonstrations.
    """
    n_tests = sum(block.phase == "test" for block in planned_blocks(plan, "right"))
    pages_s = N_PAGES * (PAGE_S if knows_it else HEARD_PAGE_S) * n_tests / 8
    return max(2, round((timed_s(plan) + pages_s) / 60))


def timed_s(plan: Plan) -> float:
    """Return how long tests, tries and rests of a visit take."""
    blocks = planned_blocks(plan, "right")
    tests = [block for block in blocks if block.phase == "test"]
    tests_s = sum(sum(_lengths_s(block)) or TRAILS_S for block in tests)
    tries_s = TRY_S * (len(blocks) - len(tests))
    return tests_s + tries_s + plan.rest_s * max(len(tests) - 1, 0)


def _lengths_s(block: PlannedBlock) -> list[float]:
    names = ("duration_s", "predictable_s", "unpredictable_s")
    return [getattr(block.options, name) for name in names if hasattr(block.options, name)]


class VisitPages:
    """The pages of one visit in a window that is open already.

    Parameters
    ----------
    store : Store
    person : Person
    plan : Plan
    window : Window
    alias : str
        Name of this machine.
    known : dict of (width_px, height_px) to Screen
        Screens measured on this machine; one that is measured now is added.
    large : bool
        Larger buttons and letters.
    wall : callable
        Returns the time with its zone.
    random_source : random.Random
        For layouts, identifiers and demonstrations.
    comfort : Comfort
        How it looks and sounds.
    comes_back : bool
        Closing leads back to a start page, not out of the program.
    """

    def __init__(
        self,
        store: Store,
        person: Person,
        plan: Plan,
        window: Window,
        *,
        alias: str,
        known: Screens,
        large: bool,
        wall: Wall,
        random_source: random.Random,
        comfort: Comfort,
        comes_back: bool = False,
    ) -> None:
        self._person, self._plan, self._window, self._large = person, plan, window, large

        def begin() -> VisitRun:
            device = Device(alias, window.screen, system_name())
            visit = begin_visit(
                store, person, plan, device, wall=wall, random_source=random_source
            )
            heard = settings.held.changed(
                volume_percent=window.sound.volume_percent, voice=window.sound.voice
            )
            visit.versions.update(versions() | heard.versions())
            return visit

        begun = len(store.visits.all(person.code))
        flow = self.flow = VisitFlow(
            window,
            code=person_label(person),
            today=wall().date(),
            begin=begin,
            rest_s=plan.rest_s,
            large=large,
            seed=random_source.randrange(2**31),
            side=side_of(comfort, person.dominant_hand),
            picture=picture_of(store, person.code),
            minutes=about_minutes(plan, knows_it=begun >= EXPERIENCED - 1),
            clinic=clinic_settings(store),
            warned=warnings(store, wall()),
            waiting=store.bundles.not_handed_over() or 0,
            practised=lambda make, done: home_exercise_pages(
                store, person, make, window.sound, wall=wall, random_source=random_source
            ).first(done, back=done),
            comes_back=comes_back,
        )

        settings = self.settings = flow.opening.settings = Settings(
            window,
            flow.make,
            comfort,
            keep=lambda changes: settings.held.changed(
                **changes_kept(store, person.code, changes, wall=wall)
            ),
            sound=lambda back: heard_page(
                store, person, window.sound, back, flow.make, wall=wall
            ),
            usual_side=person.dominant_hand,
        )

        def ready() -> Page:
            return first_heard(store, person, window.sound, flow.first, flow.make, wall=wall)

        def card(after: Next) -> Page:
            return CardPages(
                window,
                changed=bool(known),
                found=lambda found: keep_screen(
                    store, alias, known, found, at_utc=utc_text(wall())
                ),
                after=after,
                shared=flow.make.shared(None, stop=True),
                stopped=lambda page: flow.stopping.stopped(lambda: page),
                large=large,
            ).first()

        self._ready = ready
        self._fitting = Fitting(window, plan, flow, card)

    def follow(self) -> None:
        """Show the pages."""
        first = self._fitting.before(self._ready())
        follow(self._window, first, moved=self._fitting.moved)

    def said(self) -> str:
        """Say in one line how it went.

        Raises
        ------
        PlanError
            If the plan did not fit this screen; a page has said so then.
        """
        if self._fitting.refused is not None:
            raise self._fitting.refused
        visit, window = self.flow.visit, self._window
        if visit is None:
            return f"no visit of {self._person.code} was begun; nothing was recorded"
        note = slow_flip_note(window.audit.flip_p99_ms)
        left = visit.n_planned - visit.n_done
        state = "complete" if not left else f"{left} of {visit.n_planned} blocks were not done"
        shown = (
            f"showing a change takes {window.audit.flip_p99_ms:.1f} ms{note}" if note else ""
        )
        parts = (
            f"visit {visit.header.sequence} of {self._person.code}: {state}",
            "stored",
            shown,
            window.sound.note,
        )
        return "; ".join(part for part in parts if part)


def visit_on_screen(
    store: Store,
    person: Person,
    plan: Plan,
    *,
    windowed: bool,
    large: bool,
    wall: Wall,
    random_source: random.Random,
    comfort: Comfort | None = None,
) -> str:
    """Do a visit in a window and say in one line how it went.

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
    comfort : Comfort, optional
        How it looks and sounds; by default as the person's setting says.

    Raises
    ------
    BatteryError
        No screen, a plan that does not fit it, or a store that cannot be written.
    """
    alias, known = load_device(store)
    comfort = comfort or comfort_of(store, person.code)
    large = large or comfort.is_large(False)
    with comfortable_window(comfort, windowed=windowed, known=known) as window:
        pages = VisitPages(
            store,
            person,
            plan,
            window,
            alias=alias,
            known=known,
            large=large,
            wall=wall,
            random_source=random_source,
            comfort=comfort,
        )
        with trouble_said(
            window, large=large, note=lambda error: note_trouble(store, error, now=wall())
        ):
            pages.follow()
        return pages.said()
