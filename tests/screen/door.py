"""A visit entered by the function that the command calls, with a store as enrolment leaves it.

Only what a test cannot have is exchanged: the panel's size, the clock, the hand and how blocks
are done.
"""

from __future__ import annotations

import contextlib
import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from typer.testing import CliRunner

from battery.cli import app
from battery.comfort import comfort_of, keep_comfort
from battery.moments import utc_text
from battery.plan import SHORT, Plan
from battery.recording import Screen
from battery.simulate import TOUCH_60, Person, Truth
from battery.stage.pages import flow as flow_module
from battery.stage.screen.scale import screen_of
from battery.stage.screen.window import Window
from battery.stage.settings import comfort as comfort_module
from battery.stage.settings.device import keep_screen, load_device
from battery.stage.visit import visit_on_screen
from battery.store import Store
from tests.screen.pilot import ManualClock, Pilot

NOW = datetime.fromisoformat("2026-03-04T10:00:00+00:00")
PANELS = {  # width, height in pixels, pixels a mm: what there is, and one stood upright
    "1024x600": (1024, 600, 4.4),
    "1280x800": (1280, 800, 5.88),
    "1366x768": (1366, 768, 5.36),
    "1920x1200": (1920, 1200, 8.82),
    "2160x1440": (2160, 1440, 10.5),
    "800x1280": (800, 1280, 5.88),
}


def command(home: Path, *words: str) -> str:
    """Run a command as it is typed; returns what it prints."""
    done = CliRunner().invoke(app, [*words, "--home", str(home)])
    assert done.exit_code == 0, done.output
    return done.output


@dataclass
class Home:
    """A tablet's home: set up and enrolled by the commands.

    Parameters
    ----------
    folder : Path
    panel : str
        One of `PANELS`.
    measured : bool
        Whether its screen was measured with a card; else the first visit asks for the card.
    large : bool
        The large profile.
    setup, enrol : tuple of str
        Options of `battery setup` and `battery enrol`.
    comfort : dict
        What was set with `battery comfort`.
    plan : Plan
    """

    folder: Path
    panel: str = "1280x800"
    measured: bool = True
    large: bool = False
    setup: tuple[str, ...] = ("--emergency-number", "112")
    enrol: tuple[str, ...] = ("--affected-side", "left")
    comfort: dict = field(default_factory=dict)
    plan: Plan = SHORT
    now: datetime = NOW
    code: str = ""
    states: list = field(default_factory=list)

    def __post_init__(self) -> None:
        command(self.folder, "setup", *self.setup)
        said = command(self.folder, "enrol", *self.enrol)
        self.code = said.split()[0]
        with Store.open(self.folder) as store:
            if self.measured:
                alias, known = load_device(store)
                width_px, height_px, px_per_mm = PANELS[self.panel]
                screen = Screen(width_px, height_px, 1 / px_per_mm, 1 / px_per_mm, "card")
                keep_screen(store, alias, known, screen, at_utc=NOW.isoformat())
            if self.comfort:
                keep_comfort(
                    store, self.code, author="AB", at_utc=utc_text(self.now), **self.comfort
                )

    def visit(self, monkeypatch, choose, *, pilot=None, idle=False, endings=(), seed=8):
        """Do a visit; returns what the command would print and the pilot.

        Parameters
        ----------
        choose : callable
            As a `Pilot` takes it.
        pilot : callable, optional
            Makes the hand from a window, its clock and `choose`.
        """
        hands = []
        width_px, height_px, _ = PANELS[self.panel]

        def opened(*, windowed, known, **look):
            del windowed
            clock = ManualClock()
            size_px = (width_px, height_px)
            window = Window(windowed=True, known=known, now_ns=clock, size_px=size_px, **look)
            window.desktop_px = size_px
            window.use(screen_of(size_px, size_px, known))
            hands.append((pilot or Pilot)(window, clock, choose))
            self.states = hands[0].states
            return window

        with blocks_done_at_once(monkeypatch, idle=idle, endings=endings):
            monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
            monkeypatch.setenv("SDL_AUDIODRIVER", "dummy")
            monkeypatch.setattr(comfort_module, "Window", opened)
            with Store.open(self.folder) as store, store.records.lock():
                store.records.recover()
                person = store.people.get(self.code)
                said = visit_on_screen(
                    store, person, self.plan, windowed=False, large=self.large,
                    comfort=comfort_of(store, self.code), wall=lambda: self.now,
                    random_source=random.Random(f"{seed} {self.now}"),
                )  # fmt: skip
        return said, hands[0]

    def week_later(self) -> None:
        """Let a week go by."""
        self.now += timedelta(days=7)


@contextlib.contextmanager
def blocks_done_at_once(monkeypatch, *, idle=False, endings=()):
    """Let a made-up person do the blocks in no time.

    Parameters
    ----------
    idle : bool
        Nobody does the practices.
    endings : sequence of str
        Of the blocks to come; finished when there is none.
    """
    left = list(endings)

    class Quick(flow_module.LiveSource):
        def play(self, run):
            if left and (ending := left.pop(0)) != "finished":
                return ending, "in a test"
            if idle and run.header.phase == "practice":
                run.tick(4_000_000_000)
                return "finished", ""
            return Person(Truth(), TOUCH_60, 3).play(run)

    with monkeypatch.context() as patch:
        patch.setattr(flow_module, "LiveSource", Quick)
        yield
