"""A shaking finger presses what it means or nothing, and a test records all it does."""

import logging
import random

import pytest

from battery.plan import STANDARD, planned_blocks
from battery.recording import BlockHeader, contacts
from battery.runner import Run, run_block
from battery.stage.drawing.places import Button
from battery.stage.pages.following import run_pages
from battery.stage.pages.live import LiveSource
from battery.stage.pages.page import TextPage
from battery.stage.pages.rating import ScalePage
from battery.stage.screen.pointer import Report
from tasks.contract import NS_PER_S, Disc, settings_to_dict
from tasks.registry import TASKS
from tests.screen.pilot import Pilot, Scripted, open_window, tablet
from tests.screen.tremor import Shaking
from tests.sparing import only

LOG = logging.getLogger(__name__)
BUTTONS = (
    Button("left", "Not me", "left", main=False),
    Button("middle", "Next part", "centre", main=False),
    Button("right", "Go on", "right"),
)
KEYS = ("left", "middle", "right", "stop")
N_SEEDS = 120
N_FEW, N_MANY = 40, 1250
SETTLE_NS = 500_000_000  # a press in haste: nobody has read a page by then
READ_NS = 1_200_000_000
WATCHED_NS = 4_000_000_000


class Menu:
    """A page of three buttons and Stop, then the same page again; who was pressed on which."""

    def __init__(self, window, clock, *, large):
        self.window, self.clock = window, clock
        self.large = large
        self.pressed = []
        self.rects = {}

    def page(self):
        return TextPage("menu", "Title", ("Words.",), BUTTONS, self._after, large=self.large)

    def _after(self, key):
        self.pressed.append(key)
        return self.page()

    def meant(self, key, shaking, settle_ns=SETTLE_NS):
        """The keys that were pressed when a shaking finger meant one."""
        self.pressed = []
        self.window.closing = False
        pilot = Pilot(self.window, self.clock, lambda state: None)
        begun_ns = self.clock.now
        if key not in self.rects:
            pilot.add((begun_ns, "quit"))
            run_pages(self.window, self.page())
            self.window.closing = False
            self.rects = {b["key"]: b["rect_px"] for b in pilot.states[-1]["buttons"]}
            begun_ns = self.clock.now
        aim_mm = pilot.middle_mm(self.rects[key])
        side = -1 if key == "right" else 1  # the palm lies over the other buttons: the worst
        for report in shaking.reports(aim_mm, begun_ns + settle_ns, side):
            pilot.add((report.t_ns, report))
        pilot.add((begun_ns + WATCHED_NS, "quit"))
        run_pages(self.window, self.page(), large=self.large)
        return self.pressed


@pytest.fixture(params=[False, True], ids=["default", "large"])
def menu(request, monkeypatch):
    with open_window(monkeypatch, tablet("1280x800")) as (window, clock):
        yield Menu(window, clock, large=request.param)


def as_meant(key, pressed):
    """Nothing else was pressed, and once if at all; Stop may be pressed again and again."""
    return pressed in ([key], []) or (key == "stop" and set(pressed) == {"stop"})


def results(menu, n_seeds, first=0):
    for seed in range(first, first + n_seeds):
        source = random.Random(f"menu {seed}")
        key = source.choice(KEYS)
        yield seed, key, menu.meant(key, Shaking.drawn(source))


def test_a_shaking_finger_presses_what_it_means_once_or_nothing(menu):
    hits = 0
    for seed, key, pressed in results(menu, N_SEEDS):
        assert as_meant(key, pressed), f"seed {seed} meant {key}"
        hits += bool(pressed)
    assert hits > 0.5 * N_SEEDS  # else the rules would keep people out


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_no_wrong_press_over_many_thousands(menu):
    for seed, key, pressed in results(menu, 5000, first=N_SEEDS):
        assert as_meant(key, pressed), f"seed {seed} meant {key}"


class Fields(Menu):
    """The eleven fields of a scale: a number stays on the page, and a later one counts."""

    def page(self):
        noted = self.pressed

        class Noting(ScalePage):
            def pressed(self, key, canvas, presses):
                noted.append(key)
                return super().pressed(key, canvas, presses)

        return Noting("scale", "Title", ("Words.",), (), self._after, large=self.large)


class Band(Menu):
    """Five answers in a band, as of the question for the medicine."""

    def page(self):
        words = ("Not at all", "Under an hour ago", "1 to 2 hours ago", "2 to 4", "Over 4")
        choices = tuple(Button(f"answer {n}", word, main=False) for n, word in enumerate(words))
        back = (Button("back", "Back", "left", main=False),)
        return TextPage(
            "band", "Title", (), back, self._after, choices=choices, large=self.large
        )


FIELDS = ("0", "3", "5", "6", "8", "10", "stop")
ANSWERS = ("answer 0", "answer 1", "answer 2", "answer 3", "answer 4", "back", "stop")


@pytest.mark.parametrize(
    ("kind", "keys", "n_seeds"),
    [
        (Fields, FIELDS, N_FEW),
        (Band, ANSWERS, N_FEW),
        pytest.param(Fields, FIELDS, N_MANY, marks=pytest.mark.long),
        pytest.param(Band, ANSWERS, N_MANY, marks=pytest.mark.long),
    ],
)
@pytest.mark.parametrize("large", [False, True], ids=["default", "large"])
@pytest.mark.timeout(3600)
def test_no_answer_is_given_that_was_not_meant(monkeypatch, kind, keys, n_seeds, large):
    """A number may be said twice, another one never; who looks and aims is taken at once.

    In haste the answer under the last press is not taken, whoever aims.
    """
    with open_window(monkeypatch, tablet("1280x800")) as (window, clock):
        page = kind(window, clock, large=large)
        aimed = taken = 0
        for seed in range(n_seeds):
            source = random.Random(f"{kind.__name__} {seed}")
            key = source.choice(keys)
            shaking = Shaking.drawn(source)
            pressed = page.meant(key, shaking)
            assert set(pressed) <= {key}, f"seed {seed} meant {key}"
            if shaking.is_aimed:
                aimed += 1
                taken += page.meant(key, shaking, READ_NS) == [key]
    LOG.info("%s large=%s: %d of %d aimed presses taken", kind.__name__, large, taken, aimed)
    assert taken >= 0.95 * aimed


def test_a_palm_beside_a_finger_that_missed_answers_nothing(headless):
    """Found by search: the palm came down on the next answer while the finger was beside."""
    window, clock = headless
    band = Band(window, clock, large=False)
    pilot = Pilot(window, clock, lambda _: None)
    begun_ns, ms = clock.now, 1_000_000
    beside_mm = window.scale.to_mm(640, 300)
    palm_mm = window.scale.to_mm(780, 506)  # on the third answer
    for at_ms, kind, place, pointer in (
        (1500, "down", beside_mm, 1),
        (1520, "down", palm_mm, 2),
        (1575, "up", beside_mm, 1),
        (2100, "up", palm_mm, 2),
    ):
        t_ns = begun_ns + at_ms * ms
        pilot.add((t_ns, Report(t_ns, 0, kind, *place, pointer)))
    pilot.add((begun_ns + 4000 * ms, "quit"))
    run_pages(window, band.page())
    rect = next(b["rect_px"] for b in pilot.states[-1]["buttons"] if b["key"] == "answer 2")
    assert rect[0] < 780 < rect[0] + rect[2]
    assert rect[1] < 506 < rect[1] + rect[3]
    assert band.pressed == []


def test_a_palm_is_not_taken_for_a_finger_that_came_too_soon(headless):
    """Found by search: the finger meant the answer under the last press, a palm the next."""
    window, clock = headless
    band = Band(window, clock, large=False)
    source = random.Random("first press")
    (pressed,) = band.meant("answer 0", Shaking(8.0, 3.0, 1, 0.5, False, source.random()))
    assert pressed == "answer 0"
    palm_first = Shaking(5.8, 7.0, 2, 0.4, True, 0.9446304662483713)
    assert band.meant("answer 0", palm_first) == []


# In a test nothing is forgiven in silence: what the panel reports is what is recorded.


class Kept(Scripted):
    """A script that notes what it has given out, and leaves the window at its end."""

    def __init__(self, clock, reports_from, until_ns):
        super().__init__(clock)
        self._reports_from = reports_from
        self._until_ns = until_ns
        self.given = []

    def forget(self):
        self.add(*((r.t_ns, r) for r in self._reports_from(self.clock.now)))
        self.add((self.clock.now + self._until_ns, "hidden"))

    def drain(self):
        reads = super().drain()
        self.given += [read for read in reads if isinstance(read, Report)]
        return reads


def attempts(shown, begun_ns, seed):
    """A shaking finger that means one disc of the task after the other."""
    source = random.Random(f"test {seed}")
    marks = [m for m in shown if isinstance(m, Disc)]
    made = []
    for n in range(12):
        aim = source.choice(marks)
        shaking = Shaking.drawn(source)
        made += shaking.reports((aim.x_mm, aim.y_mm), begun_ns + (n + 1) * NS_PER_S)
    return sorted(made, key=lambda r: r.t_ns)


@pytest.mark.parametrize("seed", only(range(3), [0]))
@pytest.mark.parametrize("task", sorted(TASKS))
def test_every_contact_of_a_shaking_hand_is_recorded(headless, task, seed):
    window, clock = headless
    planned = next(
        b for b in planned_blocks(STANDARD, "right") if (b.task, b.phase) == (task, "test")
    )
    header = BlockHeader(
        "", "", 0, task, "right", "test", seed, "", settings_to_dict(planned.settings(seed)), ""
    )
    marks = Run(header).marks(0)
    reader = window.reader = Kept(
        clock, lambda now_ns: attempts(marks, now_ns, seed), 15 * NS_PER_S
    )
    source = LiveSource(window, hand="right", name="block")
    block = run_block(header, source)
    assert len(reader.given) > 200
    assert len(block.samples) == len(reader.given)
    for read, contact in zip(reader.given, contacts(block.samples), strict=True):
        assert (contact.kind, contact.pointer) == (read.kind, read.pointer)
        assert contact.t_ns == max(read.t_ns - source.begun_ns, 0)
        assert (contact.x_mm, contact.y_mm) == pytest.approx((read.x_mm, read.y_mm), abs=1e-4)
