"""Every page is walked, with taps and with keys, on every panel, in both profiles.

The walk is a search: a page is opened again and again until each of its controls has been
pressed once, and no state may be without a way on, without help, or without a way to stop.
"""

import random
from dataclasses import dataclass, field

import pytest

from battery.plan import Plan, PlannedTask
from battery.stage.drawing.canvas import DEFAULT, LARGE
from battery.stage.language.languages import Language
from battery.stage.pages.page import SAY_AGAIN
from battery.stage.screen.pointer import Key
from battery.stage.settings.kiosk import ClinicSettings
from battery.store import Store
from tests.screen.languages import Pseudo
from tests.screen.layout import check_page
from tests.screen.manners import Person as Somebody
from tests.screen.pilot import Pilot, open_window, tablet
from tests.screen.test_flow import Clinic

PLAN = Plan(
    name="crawl",
    tasks=(PlannedTask(task="tapping", options={"duration_s": 20.0}),),
    rest_s=30.0,
)
LONG = Language("en", "Long", Pseudo())  # texts 1.4 times as long
MAX_VISITS = 24
FINAL = {("start", "other"), ("red flags", "yes")}  # these and "end" end a visit
# Pages after which there is nothing to stop: the way out is their only button, or one of few.
NO_STOP = {
    "stopped", "thanks", "numbers", "ended", "other", "urgent", "enough", "staff", "trouble",
}  # fmt: skip
NO_HELP = {"staff", "trouble"}  # for staff; and when nothing works any more
# Pages that only some visits pass: of these one way on is enough.
BESIDE = (
    "settled",
    "not settled",
    "stop ",
    "pause",
    "unwell",
    "again",
    "once more",
    "left out",
)
REACHED = {
    "warnings", "start", "other", "stop now", "red flags", "urgent", "posture",
    "before dizziness", "medication", "weight", "hand right", "hand left", "stopped",
    "demonstration tapping", "ready tapping practice", "ready tapping test", "hand used",
    "hand sure", "rest", "unwell", "stop pain", "emergency", "effort", "helped", "thanks",
    "numbers", "ended", "pause", "enough", "once more tapping", "left out tapping", "again",
    "settled", "not settled",
}  # fmt: skip


@dataclass
class Story:
    """What happens in one visit beside walking about.

    Parameters
    ----------
    answers : dict of page to key
        Given every time the page comes.
    worse : tuple of int
        How far pain is said to have risen, each time it is asked for after a stop.
    cut : bool
        The program is closed at the first rest.
    idle : bool
        Nobody does the practices.
    endings : tuple of str
        Of the blocks.
    final : bool
        Ways that end the visit may be taken too.
    """

    answers: dict[str, str] = field(default_factory=dict)
    worse: tuple[int, ...] = ()
    cut: bool = False
    idle: bool = False
    endings: tuple[str, ...] = ()
    final: bool = False


UNWELL = {"rest": "unwell", "unwell": "pain"}
STORIES = (
    Story(),
    Story(idle=True),
    Story(endings=("finished", "stopped", "stopped")),
    Story(UNWELL, worse=(2, 0)),
    Story({"settled": "no", "not settled": "go"}),
    Story(UNWELL, worse=(3,)),
    Story({"settled": "no"}, final=True),
    Story({**UNWELL, "pause": "end"}, worse=(2,)),
    Story(cut=True),
    Story(),
)


class Crawler(Pilot):
    """Presses on every page what it has not pressed there yet.

    Parameters
    ----------
    by_keys : bool
        Moves with Tab and presses with Return instead of tapping.
    pressed : dict of (page, key) to int
        How often each control was pressed, over all visits.
    """

    def __init__(self, window, clock, story, *, by_keys, pressed):
        super().__init__(window, clock, self._pick)
        self._story = story
        self._by_keys = by_keys
        self._steady = Somebody()
        self._worse = list(story.worse)
        self._said = 0  # presses of plus on the page
        self._kept: str | None = None  # where the keys are on a page that stayed
        self.pressed = pressed

    def _pick(self, state):
        page = state["page"]  # to have it said again changes nothing that is shown
        keys = [b["key"] for b in state["buttons"] if b["key"] != SAY_AGAIN]
        if set(keys) <= {"stop", "help"}:  # the others come later
            return None
        for key in keys:
            self.pressed.setdefault((page, key), 0)
        if self._story.cut and page == "rest":
            self.add((self.clock.now, "quit"))
            return None
        key = self._of_story(page) or self._fresh(page, keys) or self._steady(state)
        self.pressed[page, key] += 1
        return key

    def _of_story(self, page):
        if page == "stop pain" and self._worse:
            self._said += 1
            if self._said <= self._worse[0]:
                return "plus"
            self._said = 0
            return "go" if self._worse.pop(0) else "short"
        if page in UNWELL and self._story.worse and not self._worse:
            return None  # it has been said
        return self._story.answers.get(page)

    def _fresh(self, page, keys):
        fresh = [key for key in keys if not self.pressed[page, key]]
        if not self._story.final:
            fresh = [key for key in fresh if (page, key) not in FINAL and key != "end"]
        if "plus" in keys and "go" not in keys and not self.pressed.get((page, "go")):
            return "plus"  # the button that leads on comes with a number
        if fresh:
            return next((key for key in fresh if key != "short"), "short")
        if self._story.final:  # towards a page beside the way that is not done yet
            for beside, way in (("stopped", "stop"), ("emergency", "help"), *UNWELL.items()):
                open_still = any(not n for (p, _), n in self.pressed.items() if p == beside)
                if open_still and way in keys and page != beside:
                    return way
        return None

    def press(self, state, key, at_ns, pointer=1):
        if not self._by_keys:
            super().press(state, key, at_ns, pointer)
            return
        keys = [b["key"] for b in state["buttons"]]
        order = [k for k in keys if k not in ("stop", "help")]
        order += [k for k in ("help", "stop") if k in keys]
        last, self._kept = self._kept, key if key in ("minus", "plus") else None
        moves = order.index(key) + 1 if last is None else order.index(key) - order.index(last)
        for step in range(moves % len(order) if last else moves):
            self.add((at_ns + step * 20_000_000, Key("tab")))
        self.add((at_ns + (len(order) + 1) * 20_000_000, Key("return")))


def crawl(store, window, clock, monkeypatch, *, large, by_keys):
    """Do the stories, then visits until no control is left; returns states and presses."""
    clinic = Clinic(
        store, window, clock, monkeypatch, PLAN, large=large, picture="cup",
        clinic=ClinicSettings("112", "2468", show_scores=True), warned=("battery", "clock"),
        waiting=3,
    )  # fmt: skip
    states, pressed = [], {}
    for number in range(MAX_VISITS):
        story = STORIES[number] if number < len(STORIES) else Story(final=True)
        clinic.random = random.Random(number)
        clinic.endings, clinic.idle = list(story.endings), story.idle
        crawler = Crawler(window, clock, story, by_keys=by_keys, pressed=pressed)
        window.closing = False
        states += clinic.visit(crawler)
        if number >= len(STORIES) and all(pressed.values()):
            break
    return states, pressed


WALKS = [
    (name, large, by_keys)
    for name in ("1280x800", "1920x1200", "1024x600")
    for large in (False, True)
    for by_keys in (False, True)
]
EVERY_RUN = [("1280x800", False, False), ("1024x600", True, True)]


@pytest.mark.parametrize(
    ("name", "large", "by_keys"),
    [pytest.param(*w, marks=[] if w in EVERY_RUN else pytest.mark.long) for w in WALKS],
)
@pytest.mark.timeout(300)
def test_every_page_is_sound_and_nobody_is_trapped(tmp_path, monkeypatch, name, large, by_keys):
    screen = tablet(name)
    with (
        Store.open(tmp_path / "home") as store,
        open_window(monkeypatch, screen) as (window, clock),
    ):
        window.language = LONG
        states, pressed = crawl(store, window, clock, monkeypatch, large=large, by_keys=by_keys)
    reached = {page for page, _ in pressed}
    assert reached >= REACHED, sorted(REACHED - reached)
    beside = sorted(page for page in reached if page.startswith(BESIDE))
    unpressed = [w for w, count in sorted(pressed.items()) if not count and w[0] not in beside]
    assert unpressed == [], unpressed[:12]
    for page in beside:
        assert any(count for (where, _), count in pressed.items() if where == page), page
    looked_at = set()
    for state in states:
        page, keys = state["page"], {b["key"] for b in state["buttons"]}
        if state["running"]:
            assert {"stop", "help"} <= keys
            continue
        assert ("stop" in keys) == (page not in NO_STOP), page
        assert ("help" in keys) == (page not in NO_HELP), page
        if (page, frozenset(keys)) not in looked_at:
            looked_at.add((page, frozenset(keys)))
            check_page(state, screen, LARGE if large else DEFAULT)
    for page in NO_STOP & reached:  # what stands in the place of Stop
        assert {"end", "back"} & {key for where, key in pressed if where == page}, page


def sides(states):
    """Where the buttons of each page are, by page and key."""
    return {
        (state["page"], button["key"]): button["rect_px"]
        for state in states
        if not state["running"]
        for button in state["buttons"]
    }


def test_pages_for_the_left_hand_are_the_mirror_image(tmp_path, monkeypatch):
    """Right and left hand: every control at the same height and as far from its own edge.

    The two hands to choose from stay on their own sides, as do minus and plus.
    """
    found = {}
    for side in ("right", "left"):
        with (
            Store.open(tmp_path / side) as store,
            open_window(monkeypatch, tablet("1280x800")) as (window, clock),
        ):
            clinic = Clinic(store, window, clock, monkeypatch, PLAN, side=side)
            clinic.person = clinic.person.__class__(
                **{n: getattr(clinic.person, n) for n in clinic.person.__slots__}
                | {"first_hand": side}
            )
            found[side] = sides(clinic.visit(Somebody()))
    kept = {"minus", "plus"} | {"left", "right"}
    compared = 0
    for (page, key), rect in found["right"].items():
        other = {"hand right": "hand left", "hand left": "hand right"}.get(page, page)
        left, top, width, height = found["left"][other, key]
        mirrored = left if key in kept else 1280 - left - width
        assert [mirrored, top, width, height] == pytest.approx(rect, abs=1), (page, key)
        compared += 1
    assert compared > 60


def test_the_tested_hand_never_covers_stop(tmp_path, monkeypatch):
    """An arm comes from the lower edge on its own side; Stop is in the upper corner across."""
    with (
        Store.open(tmp_path / "home") as store,
        open_window(monkeypatch, tablet("1280x800")) as (window, clock),
    ):
        clinic = Clinic(store, window, clock, monkeypatch, PLAN)
        states = clinic.visit(Somebody())
    hand = None
    checked = 0
    for state in states:
        page = state["page"]
        if page.startswith("hand ") and page[5:] in ("left", "right"):
            hand = page[5:]
        if page.startswith(("hand right", "hand left", "demonstration", "ready")):
            stop = next(b["rect_px"] for b in state["buttons"] if b["key"] == "stop")
            assert (stop[0] + stop[2] / 2 < 640) is (hand == "right"), page
            assert stop[1] == 0
            checked += 1
    assert checked >= 8


def test_a_key_that_moves_nothing_is_stop_on_every_page(tmp_path, monkeypatch):
    with (
        Store.open(tmp_path / "home") as store,
        open_window(monkeypatch, tablet("1280x800")) as (window, clock),
    ):
        clinic = Clinic(store, window, clock, monkeypatch, PLAN)
        once = set()
        somebody = Somebody()

        def choose(state):
            keys = {b["key"] for b in state["buttons"]}
            if "stop" in keys and state["page"] not in once:
                once.add(state["page"])
                window.reader.add((clock.now + 400_000_000, Key("f")))
                return None
            return somebody(state)

        pages = [state["page"] for state in clinic.visit(choose)]
    assert len(once) >= 25
    for page in once:
        after = pages[pages.index(page) :]
        assert next(p for p in after if p != page) == "stopped", page
