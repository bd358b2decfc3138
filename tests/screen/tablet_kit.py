"""A hand at the tablet's start page, for the tests that enter by the command's function."""

import random

import pytest

from battery.plan import Plan, PlannedTask
from battery.stage.screen.pointer import Report
from battery.stage.screen.scale import screen_of
from battery.stage.screen.window import Window
from battery.stage.settings import comfort as comfort_module
from battery.stage.tablet import tablet_on_screen
from battery.store import Store
from tests.screen.door import PANELS, blocks_done_at_once, command
from tests.screen.manners import Person
from tests.screen.pilot import ManualClock, Pilot

MS = 1_000_000
CODE = "2468"
BRIEF = Plan(name="brief", tasks=(PlannedTask(task="slide"),))  # one task with both hands


def more_people(home, n_people):
    """Enrol further people until there are so many; returns all codes in order."""
    for _ in range(n_people - 1):
        command(home.folder, "enrol", "--affected-side", "right")
    with Store.open(home.folder, write=False) as store:
        return [person.code for person in store.people.all()]


class Hand(Pilot):
    """Presses key after key of a script; its last word is `quit` or `staff`.

    A script is a list of pairs (page, key). What is not in it is answered by `person`, who
    does what pages say. At its end the window is closed by the system.
    """

    settle_ns = 1_100 * MS  # an answer under the last press is not taken sooner
    patience_ns = 1_800_000 * MS
    shown_ns = 0

    def __init__(self, window, clock, script, person=None):
        self.script = list(script)
        self.person = person or Person()
        super().__init__(window, clock, self.next)

    def next(self, state):
        if not self.script:
            self.add((self.clock.now + 500 * MS, "quit"))
            return None
        page, key = self.script[0]
        if state["page"] == page and key in [b["key"] for b in state["buttons"]]:
            self.script.pop(0)
            return key
        if state["page"] == page and key == "corners":
            self.script.pop(0)
            self.corners()
            return None
        return self.person(state)

    def rest(self, until_ns):
        """No page may stand longer than somebody would wait before it."""
        if self.clock.now > self.shown_ns + self.patience_ns:
            pytest.fail(f"left hanging on {self.pages[-1]}, before {self.script[:1]}")
        super().rest(until_ns)

    def show(self, state):
        self.shown_ns = self.clock.now
        super().show(state)

    def corners(self):
        """Tap the lower corners as staff do."""
        half_x, half_y = (length / 2 - 2 for length in self.size_mm)
        for number, side in enumerate((-1, 1, -1), start=1):
            t_ns = self.clock.now + number * 600 * MS
            for later_ns, kind in ((0, "down"), (80 * MS, "up")):
                at = t_ns + later_ns
                self.add((at, Report(at, 0, kind, side * half_x, -half_y, 1)))

    @property
    def size_mm(self):
        screen = self._window.screen
        return screen.width_mm, screen.height_mm

    @property
    def pages(self):
        return [state["page"] for state in self.states]


def use(monkeypatch, home, script, *, person=None, look=None, plan=BRIEF):
    """Use a tablet; returns the hand and what was told to staff."""
    hands, lines = [], []
    width_px, height_px, _ = PANELS[home.panel]

    def opened(*, windowed, known, **shown):
        del windowed
        clock = ManualClock()
        size_px = (width_px, height_px)
        window = Window(windowed=True, known=known, now_ns=clock, size_px=size_px, **shown)
        window.desktop_px = size_px
        window.use(screen_of(size_px, size_px, known))
        hand = Hand(window, clock, script, person)
        if look is not None:
            shown_by = hand.show
            hand.show = lambda state: (look(window, state), shown_by(state))
        hands.append(hand)
        return window

    with blocks_done_at_once(monkeypatch):
        monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
        monkeypatch.setenv("SDL_AUDIODRIVER", "dummy")
        monkeypatch.setattr(comfort_module, "Window", opened)
        with Store.open(home.folder) as store:
            tablet_on_screen(
                store, windowed=False, large=home.large, wall=lambda: home.now,
                random_source=random.Random(f"5 {home.now}"), told=lines.append, plan=plan,
            )  # fmt: skip
    assert not hands[0].script, f"left {hands[0].script}; pages {hands[0].pages[-5:]}"
    return hands[0], lines
