"""Save a picture of every page and of the tasks at several moments, to be looked at.

``python -m tests.screen.pictures FOLDER [1280x800] [1920x1200] [default] [large]
[de] [long] [mirrored] [dark] [dim] [150] [200]``
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

from battery.loop_delay import loop_check
from battery.plan import STANDARD, Plan, PlannedTask, planned_blocks
from battery.recording import BlockHeader
from battery.runner import Run, run_block
from battery.simulate import TOUCH_60, Person, Truth
from battery.stage import visit as visit_module
from battery.stage.checks.loop_check import LoopPages
from battery.stage.checks.sound_check import sound_page
from battery.stage.drawing.avatars import Token
from battery.stage.drawing.places import Button
from battery.stage.home_exercises import home_exercise_pages
from battery.stage.language import texts
from battery.stage.language.languages import ENGLISH, language
from battery.stage.pages.builder import Maker
from battery.stage.pages.comforts import quiet_page
from battery.stage.pages.flow import VisitFlow
from battery.stage.pages.following import follow, run_pages
from battery.stage.pages.home_plan import HomePlanPages
from battery.stage.pages.live import LiveSource
from battery.stage.pages.page import Left, Page, TextPage
from battery.stage.pages.questions import GO
from battery.stage.pages.staff import staff_page
from battery.stage.screen.theme import FIRST_THEME, THEMES
from battery.stage.staff.from_clinic import FromClinic
from battery.store import HomePlanEntry, Store
from tasks.contract import settings_to_dict
from tests.screen.door import Home
from tests.screen.languages import LONG, RIGHT_TO_LEFT
from tests.screen.manners import Person as Somebody
from tests.screen.pilot import TABLETS, Pilot, Replayed, open_window, tablet

NOW = datetime.fromisoformat("2026-03-04T10:00:00+00:00")
PLAN = Plan(
    name="pictures",
    tasks=(
        PlannedTask(task="tapping", options={"duration_s": 5.0}),
        PlannedTask(task="slide", options={"duration_s": 12.0}),
        PlannedTask(task="pursuit", options={"predictable_s": 4.0, "unpredictable_s": 0.0}),
        PlannedTask(task="trail", options={"kinds": ("numbers",)}),
    ),
    rest_s=30.0,
)
MOMENTS_S = {
    "tapping": (0.2, 1.4, 2.6, 4.0),
    "slide": (0.2, 1.6, 3.0),
    "pursuit": (0.2, 4.0),
    "trail": (0.5, 4.0, 9.0),
}
WARNED = ("battery", "clock")
SHOWN_NS = {"demonstration": 2_500_000_000}  # how long a page stands before its picture


class Setter:
    """What `monkeypatch` does for the environment, outside a test."""

    @staticmethod
    def setenv(name: str, value: str) -> None:
        os.environ[name] = value


class Look:
    """Language, theme and size of words, from the words of the command line."""

    def __init__(self, words: list[str]) -> None:
        spoken = {"de": language("de"), "long": LONG, "mirrored": RIGHT_TO_LEFT}
        self.language = next((spoken[word] for word in words if word in spoken), ENGLISH)
        self.theme = next((THEMES[word] for word in words if word in THEMES), FIRST_THEME)
        self.percent = next((int(word) for word in words if word.isdecimal()), 100)
        self.comfort = {
            "language": "de" if "de" in words else "en",
            "theme": self.theme.name,
            "text_percent": self.percent,
        }

    def onto(self, window) -> None:
        """Let a window look so."""
        window.language, window.theme = self.language, self.theme
        window.text_share = self.percent / 100


class Photographer(Pilot):
    """Goes through the pages and saves a picture of each just before it presses on."""

    def __init__(self, window, clock, folder: Path, taken: set[str]) -> None:
        super().__init__(window, clock, self._look)
        self._folder = folder
        self._taken = taken
        self._person = Somebody(card_width="go")
        self._due: str | None = None
        self._leaf = 0
        self._turns = 0
        self.alone = False  # one page, then no more
        self._stop_at = {"hand right tapping"}  # one page from which Stop is pressed

    def _look(self, state: dict) -> str | None:
        keys = [button["key"] for button in state["buttons"]]
        waits = set(keys) <= {"stop", "help", "say again"}
        name = state["page"] + (" waiting" if waits else "")
        if "turn" in keys:
            self._leaf += 1
            name += f" leaf {self._leaf}"
        else:
            self._leaf = 0
        if name not in self._taken:
            self._taken.add(name)
            self._due = name
        self.settle_ns = SHOWN_NS.get(name.split()[0], Pilot.settle_ns)
        if state["page"] == "parked" or (self.alone and self._leaf == 0):
            self.add((self.clock.now + self.settle_ns, "picture"))
            return None
        if waits:
            self.take()
            return None
        if name in self._stop_at:
            self._stop_at.remove(name)
            return "stop"
        if "plus" in keys and "go" not in keys and name.startswith("card"):
            self._turns += 1  # what was not changed cannot be said to fit
            return ("plus", "minus")[self._turns % 2]
        return self._person(state)

    def drain(self):
        reads = super().drain()
        if reads:
            self.take()
        if reads == ["picture"]:  # this page was all there was to see
            raise Left
        return reads

    def take(self) -> None:
        if self._due is not None:
            save(self._window, self._folder, self._due)
            self._due = None


def save(window, folder: Path, name: str) -> None:
    number = len(list(folder.glob("*.png"))) + 1
    window.save_picture(folder / f"{number:03d}-{name.replace(' ', '-')}.png")


def pages(folder: Path, size: str, look: Look, *, large: bool) -> None:
    """Do three visits by the door that people use, and see the pages beside their way."""
    with pytest.MonkeyPatch.context() as patch, tempfile.TemporaryDirectory() as name:
        home = Home(
            Path(name), size, measured=False, large=large, plan=PLAN, comfort=look.comfort,
            setup=("--emergency-number", "112", "--staff-code", "2468", "--show-scores"),
        )  # fmt: skip
        taken: set[str] = set()

        def hand(window, clock, _choose):
            look.onto(window)
            return Photographer(window, clock, folder, taken)

        for beside in (False, False, True):
            flows = seen_after(patch, beside=beside)
            home.visit(patch, None, pilot=hand)
            flows.clear()
            home.week_later()


def seen_after(patch, *, beside: bool) -> list[VisitFlow]:
    """Let a visit keep its flow; after its last page the pages beside its way are shown."""
    flows: list[VisitFlow] = []

    class Kept(VisitFlow):
        def __init__(self, window, **given) -> None:
            super().__init__(window, **given | ({} if beside else {"warned": WARNED}))
            flows.append(self)

    def shown(window, first, **given) -> None:
        follow(window, first, **given)
        if beside:
            window.reader.alone = True
            made = (pages_beside, pages_at_home, lambda flow: pages_at_clinic(flow.make))
            for page in (page for make in made for page in make(flows[0])):
                window.closing = False
                run_pages(window, page)

    patch.setattr(visit_module, "VisitFlow", Kept)
    patch.setattr(visit_module, "follow", shown)
    return flows


def pages_beside(flow: VisitFlow) -> list[TextPage]:
    """The pages that a smooth visit does not pass, each to be seen by itself."""
    planned = planned_blocks(PLAN, "right")[0]
    end = flow.make.text("end", texts.THANKS_TITLE, (), (GO,), lambda _: None)
    stopping, asking = flow.stopping, flow._asking
    visit = flow.visit
    visit.todo = [planned]
    visit.practised[planned] = 1
    block = run_block(
        BlockHeader(visit.last_block, "", 0, "tapping", "right", "practice", 3, "",
                    settings_to_dict(planned.settings(3)), ""),
        Idle(),
    )  # fmt: skip
    once_more = flow._after_practice(visit, planned, block)
    visit.practised[planned] = 3
    left_out = flow._after_practice(visit, planned, block)
    return [
        stopping.emergency(lambda: None),
        stopping.stopped(planned=planned),
        stopping.unwell(lambda: None),
        stopping._how_much("pain", lambda: None),
        stopping._pause("pain", lambda: None),
        asking._sure("left", "right", lambda: None),
        asking._settled(lambda: None, lambda: None),
        once_more,
        left_out,
        flow.opening.warning(),
        staff_page(end, "2468"),
        staff_page(end, ""),
        flow._last._numbers(visit, flow._last._number_lines(visit)),
        flow.opening.other(),
        flow.ended(),
        stopping.urgent(lambda: None),
        stopping.enough(),
    ]


def pages_at_home(flow: VisitFlow) -> list[TextPage]:
    """The pages of home exercise, of the settings and of the sound."""
    make, window = flow.make, flow._window

    def done():
        return None

    practice = home_exercise_pages(
        flow.visit.store, flow.visit.store.people.get(flow.visit.header.person), make,
        window.sound, wall=lambda: NOW, random_source=random.Random(2),
    )  # fmt: skip

    entry = practice._entry("reported", "head_turns")
    return [
        practice.first(done, back=done),
        practice._some(done),
        practice._rest_day(entry, done),
        practice._long(entry, done),
        practice._undo(entry, done),
        practice._felt(entry, 120, done),
        practice._clear(entry, 120, done),
        practice._strong(done),
        practice._timer(done),
        practice._ready("left", done),
        practice._runs("left", done),
        practice._other_arm("left", done),
        practice._head(done),
        practice._before(done),
        practice._pace(0, done),
        practice._turns(60, 0, done),
        sound_page(window.sound, lambda _volume, _voice: None, done, make),
        quiet_page(make, done, done),
        flow.opening.settings.page(done),
    ]  # fmt: skip


def agreed(*exercises: str) -> list[HomePlanEntry]:
    """What was agreed for home, the longest there is of each kind."""
    days = ("1 2 3 4 5 6 7", "1 3 5", "2 4 6 7", "1 2")
    return [
        HomePlanEntry(
            str(n), "K7QF", "v", "2026-01-01", exercise, "both", 1.5, 3, days[n % 4],
            "wall" if n % 2 else "near", 200 * n, "09:00", "AB", "2026-01-01T08:00:00+00:00",
        )
        for n, exercise in enumerate(exercises)
    ]  # fmt: skip


def pages_at_clinic(make: Maker, store: Store | None = None) -> list[Page]:
    """What was agreed and the days, and the pages of staff: cards, pairing, the film."""

    def done():
        return None

    today = NOW.date()
    days = [today - timedelta(days=n) for n in (0, 1, 3, 4, 8, 9, 12)]
    home = HomePlanPages(
        make, agreed("tapping", "slide", "pursuit", "trail"), today=today, noted=days,
        rested=[today - timedelta(days=2)],
    )  # fmt: skip
    none = HomePlanPages(make, [], today=today, noted=[], rested=[])
    clinic = FromClinic(store, make, told=lambda _: None)  # type: ignore[arg-type]
    card = SimpleNamespace(code="K7QF", picture="boat")
    key = SimpleNamespace(fingerprint="1a2b 3c4d 5e6f 7a8b")
    film = LoopPages(make, lambda _: None, device="T-A", wall=lambda: NOW)
    film._film.counter.shown_ns = list(range(901))
    for edge in ("touch", "lift"):
        film._ready(edge, texts.LOOP_TOUCH_TITLE, done, done)
        film._film.patches[edge].took_ns = [1] * 30
    found = [
        loop_check("T-A", edge, [15, 16] * 15, camera_hz=240.0, program_ms=1.0, reader="AB",
                   at_utc="2026-03-04T10:00:00+00:00")
        for edge in ("touch", "lift")
    ]  # fmt: skip
    film._found = found
    film._film.camera_hz = 239.8
    typed = film._frames("touch", 0, done)
    typed.typed = "15"
    code = clinic._typed({"K7QF": card}, lambda _: None, done)
    code.typed = "K7Q"
    return [
        home.first(done),
        home._days(done),
        none.first(done),
        make.text(
            "reminder", texts.REMIND_TITLE.format(code="K7QF"), (texts.REMIND_LINE,),
            (Button("later", texts.LATER, "left", main=False), GO),
            lambda _: None, picture=Token("boat"), stop=False,
        ),
        clinic._none("no card", texts.NO_CARD_FOUND_TITLE, lambda _: None, done),
        code,
        clinic._is_it({"K7QF": card}, done, "K7QF"),
        clinic._compare([key], 0, done),
        clinic._said("card refused", texts.CARD_REFUSED_TITLE, done, sign=""),
        clinic._said("card taken", texts.CARD_TAKEN_TITLE.format(code="K7QF"), done),
        film.first(done),
        film._touches(done),
        film._lifts(done),
        film._few("touch", texts.LOOP_TOUCH_TITLE, done, done),
        film._reading(done),
        film._reader(done),
        film._number(2, done),
        typed,
        film._more("lift", done),
    ]  # fmt: skip


class Idle:
    """Nobody at the controls."""

    def play(self, run):
        run.tick(4_000_000_000)
        return "finished", ""


def tasks(folder: Path, size: str, look: Look, *, large: bool) -> None:
    """Play every task with a simulated finger through the live window; save some moments."""
    with open_window(Setter, tablet(size)) as (window, clock):
        look.onto(window)
        for planned in planned_blocks(STANDARD, "right"):
            if planned.phase != "test" or planned.hand != "right":
                continue
            header = BlockHeader(
                "", "", 0, planned.task, planned.hand, "test", 3, "",
                settings_to_dict(planned.settings(3)), "",
            )  # fmt: skip
            block = run_block(header, Person(Truth(), TOUCH_60, 3))
            window.reader = Moments(window, clock, block, folder)
            LiveSource(window, hand="right", name=planned.task, large=large).play(Run(header))


class Moments(Replayed):
    """A replayed block of which pictures are saved at its moments; it ends after the last."""

    def __init__(self, window, clock, block, folder: Path) -> None:
        super().__init__(clock, block)
        self._window = window
        self._folder = folder
        self._task = block.header.task
        self._due_s = list(MOMENTS_S[self._task])
        self._begun_ns = clock.now

    def drain(self):
        shown_s = (self.clock.now - self._begun_ns) / 1e9
        if self._due_s and shown_s >= self._due_s[0]:
            save(self._window, self._folder, f"{self._task} {self._due_s.pop(0):g}")
        return super().drain() if self._due_s else ["hidden"]


def main() -> None:
    folder = Path(sys.argv[1])
    sizes = [word for word in sys.argv[2:] if word in TABLETS] or list(TABLETS)
    look = Look(sys.argv[2:])
    profiles = [word for word in sys.argv[2:] if word in ("default", "large")]
    for size in sizes:
        for profile in profiles or ("default", "large"):
            where = folder / f"{size}-{profile}"
            where.mkdir(parents=True, exist_ok=True)
            pages(where, size, look, large=profile == "large")
            tasks(where, size, look, large=profile == "large")
            sys.stdout.write(f"{where}: {len(list(where.glob('*.png')))} pictures\n")


if __name__ == "__main__":
    main()
