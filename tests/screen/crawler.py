"""Who walks every page, story by story: presses what was not pressed yet, notes what comes."""

import ast
import re
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import battery.stage
from battery.comfort import keep_comfort
from battery.looks import Comfort
from battery.moments import utc_text
from battery.plan import Plan, PlannedTask
from battery.stage import visit as visit_module
from battery.stage.drawing.places import DEFAULT
from battery.stage.pages.page import SAY_AGAIN
from battery.stage.screen.pointer import Key, Report
from battery.store import Store
from tests.screen.layout import check_page
from tests.screen.manners import Person as Somebody
from tests.screen.pilot import Pilot

BRIEF = Plan(
    name="brief",
    hands="right",
    tasks=(PlannedTask(task="tapping", options={"duration_s": 5.0}),),
    rest_s=0.0,
)
MAX_VISITS = 60
MOST_TRIES = 3  # of one way towards what is open still, in one visit
MOST_DETOURS = 6  # by Stop or Help, in one visit
# Ways that end a visit, or lead into home practice, which ends without one.
FINAL = {("start", "other"), ("start", "practised"), ("red flags", "yes"), ("staff", "leave")}
# Pages after which there is nothing to stop: the way out is their only button, or one of few.
NO_STOP = {
    "stopped", "thanks", "numbers", "ended", "nothing done", "other", "urgent", "enough",
    "staff", "parked", "sound",
}  # fmt: skip
NO_HELP = {"staff"}
STAYS = ("minus", "plus", "softer", "louder")  # and the page with it
# Pages that only some visits pass: of these one way on is enough.
BESIDE = (
    "settled", "not settled", "stop ", "pause", "unwell", "again", "once more", "left out",
    "after ", "nothing done", "as ", "staff", "parked", "card ", "sound",
)  # fmt: skip
# Pages that no visit passes, and where they are shown by a test.
ELSEWHERE = {
    "turn": "test_a_visit_can_be_done_on_every_screen: upright",
    "other screen": "test_turning: another display",
    "trouble": "test_pages: a page that fails",
    "no sound": "test_practice: a tablet without sound",
    # Pages around visits, on the tablet's own start page and behind the staff's code.
    **dict.fromkeys(
        (
            "people",
            "person",
            "nobody",
            "staff menu",
            "went wrong",
            "home plan",
            "home days",
            "reminder",
            "no stick",
            "which stick",
            "sending",
            "sent",
            "not sent",
        ),
        "test_tablet, test_tablet_around",
    ),
    **dict.fromkeys(
        ("which card", "card picture", "compare clinic", "paired"), "test_from_clinic"
    ),
}


@dataclass
class Story:
    """What happens in one visit beside walking about.

    Parameters
    ----------
    answers : dict of page to key
        Given every time the page comes.
    worse : tuple of int
        What pain is said to be, each time it is asked for after a stop.
    cut : bool
        The program is closed at the first rest; the next visit is on the same day.
    idle : bool
        Nobody does the practices.
    endings : tuple of str
        Of the blocks.
    final : bool
        Ways that end the visit may be taken too.
    staff : str
        What is typed after the lower corners were tapped, once.
    """

    answers: dict[str, str] = field(default_factory=dict)
    worse: tuple[int, ...] = ()
    cut: bool = False
    idle: bool = False
    endings: tuple[str, ...] = ()
    final: bool = False
    staff: str = ""


UNWELL = {"rest": "unwell", "unwell": "pain"}
LEFT_OUT = {"stopped": "next", "posture": "go"}
STORIES = (
    Story(),
    Story({"stop pain": "go"}, staff="1"),
    Story(),  # as last time
    Story({"as last time": "no", "as before": "no"}),
    Story(idle=True),
    Story(endings=("finished", "stopped", "stopped")),
    Story(LEFT_OUT, endings=("stopped", "stopped")),
    Story(UNWELL, worse=(2, 0)),
    Story({"settled": "no", "not settled": "go"}),
    Story(UNWELL, worse=(3,)),
    Story({"settled": "no", "not settled": "end"}, final=True),
    Story({**UNWELL, "pause": "end"}, worse=(2,)),
    Story(cut=True),
    Story(),
    Story(staff="2468"),
)


class Crawler(Pilot):
    """Presses on every page what it has not pressed there yet.

    Parameters
    ----------
    by_keys : bool
        Moves with Tab and presses with Return instead of tapping.
    pressed : dict of (page, key) to int
        How often each control was pressed, over all visits; numbers of a scale are one.
    leads : dict of (page, key) to set of page
        What was seen after it before its page came again, over all visits.
    """

    def __init__(self, window, clock, story, *, by_keys, pressed, leads):
        super().__init__(window, clock, self._pick)
        self._story = story
        self._by_keys = by_keys
        self._steady = Somebody()
        self._worse = list(story.worse)
        self._kept: str | None = None  # where the keys are on a page that stayed
        self._type = list(story.staff)
        self.pressed, self._leads = pressed, leads
        self._behind = {}  # page to the way that was last taken from it, this visit
        self._tries = Counter()
        self.presses = []  # (page, key, rectangle)

    def _pick(self, state):
        page = state["page"]  # to have it said again changes nothing that is shown
        keys = [b["key"] for b in state["buttons"] if b["key"] != SAY_AGAIN]
        if set(keys) <= {"stop", "help"}:  # the others come later
            if page == "parked":
                self.add((self.clock.now + self.settle_ns, "quit"))
            return None
        for key in keys:
            self.pressed.setdefault((page, _kind(key)), 0)
        self._behind.pop(page, None)
        for way in self._behind.items():
            self._leads.setdefault(way, set()).add(page)
        if self._story.cut and page == "rest":
            self.add((self.clock.now, "quit"))
            return None
        if self._type and page == "posture":
            self._corners()
            return None
        if page.startswith(("timer runs", "head turns")) and self._pressed_all(page, keys):
            return None  # until the minute is over
        key = self._of_story(page, keys) or self._fresh(page, keys) or self._steady(state)
        if key is not None:
            self.pressed[page, _kind(key)] += 1
            self._behind[page] = _kind(key)
        return key

    def _of_story(self, page, keys):
        if "turn" in keys:
            return None  # what is asked comes after the leaf
        if page == "staff" and self._type:
            return self._type.pop(0)
        if page == "stop pain" and self._worse and "go" not in keys:
            return str(self._worse[0])
        if page == "stop pain" and self._worse:
            self._worse.pop(0)
            return "go"
        if page in UNWELL and self._story.worse and not self._worse:
            return None  # it has been said
        given = self._story.answers.get(page)
        return given if given in keys else None

    def _fresh(self, page, keys):
        if {"0", "10"} <= set(keys) and "go" not in keys:
            return None  # a number first
        if not self._story.final:
            keys = [key for key in keys if (page, key) not in FINAL and key != "end"]
        fresh = [key for key in keys if not self.pressed[page, _kind(key)]]
        if fresh:
            return next((key for key in fresh if not key.isdecimal()), fresh[0])
        return self._towards_open(page, keys)

    def _towards_open(self, page, keys):
        """Return the way that leads to a page with a control never pressed, if one is known."""
        open_still = {where for where, _ in unpressed(self.pressed)} - {page}
        ways = [
            (key in ("stop", "help"), len(seen), key)
            for key in keys
            if (seen := self._leads.get((page, _kind(key)), set())) & open_still
            and self._tries[page, key] < MOST_TRIES
        ]
        if not ways:
            return None
        detour, _, key = min(ways)  # the one that leads to little else
        few = MOST_DETOURS if self._story.final else 0
        if detour and ("turn" in keys or self._tries["detours"] >= few):
            return None
        self._tries[page, key] += 1
        self._tries["detours"] += detour
        return key

    def _pressed_all(self, page, keys):
        return all(self.pressed[page, _kind(key)] for key in keys)

    def _corners(self):
        """Tap the lower corners left, right, left."""
        screen = self._window.screen
        for number, side in enumerate((-1, 1, -1)):
            x_mm = side * (screen.width_mm / 2 - 4)
            at_ns = self.clock.now + self.settle_ns + number * 500_000_000
            for kind, later_ns in (("down", 0), ("up", self.hold_ns)):
                t_ns = at_ns + later_ns
                place = (x_mm, 4 - screen.height_mm / 2)
                self.add((t_ns, Report(t_ns, 0, kind, *place, 1)))

    def press(self, state, key, at_ns, pointer=1):
        rect = next(b["rect_px"] for b in state["buttons"] if b["key"] == key)
        self.presses.append((state["page"], key, rect))
        keys = [b["key"] for b in state["buttons"]]
        of_many = {"0", "9"} <= set(keys)  # a scale, or the staff's pad
        stays = (key.isdecimal() and of_many) or key in STAYS
        if not self._by_keys:
            super().press(state, key, at_ns, pointer)
            return
        order = [k for k in keys if k not in ("stop", "help")]
        order += [k for k in ("help", "stop") if k in keys]
        last, self._kept = self._kept, key if stays else None
        moves = order.index(key) + 1 if last is None else order.index(key) - order.index(last)
        for step in range(moves % len(order) if last else moves):
            self.add((at_ns + step * 20_000_000, Key("tab")))
        self.add((at_ns + (len(order) + 1) * 20_000_000, Key("return")))


def _kind(key):
    return "number" if key.isdecimal() and len(key) <= 2 else key


def crawl(home, monkeypatch, *, by_keys=False, most=MAX_VISITS, stories=STORIES):
    """Do the stories, then visits until no control is left; returns crawlers and presses."""
    pressed, leads, crawlers = {}, {}, []
    for number in range(most):
        felt = {"felt": "3"} if number % 2 else {}  # strong every other time
        story = stories[number] if number < len(stories) else Story(felt, final=True)
        found = [] if number else ["battery"]
        monkeypatch.setattr(visit_module, "warnings", lambda *_, found=found: found)

        def hand(window, clock, _choose, story=story):
            return Crawler(window, clock, story, by_keys=by_keys, pressed=pressed, leads=leads)

        _, crawler = home.visit(
            monkeypatch, None, pilot=hand, idle=story.idle, endings=story.endings
        )
        crawler.screen, crawler._window = crawler._window.screen, None  # let the picture go
        crawlers.append(crawler)
        with Store.open(home.folder) as store:  # who was silenced hears again
            keep_comfort(
                store, home.code, author="AB", at_utc=utc_text(home.now),
                volume_percent=Comfort().volume_percent, voice=True,
            )  # fmt: skip
        if not story.cut:
            home.week_later()
        if number >= len(stories) - 1 and not unpressed(pressed):
            break
    return crawlers, pressed


def unpressed(pressed):
    """List what no visit pressed, but on pages of which one way on is enough."""
    return sorted(w for w, count in pressed.items() if not (count or w[0].startswith(BESIDE)))


def check_states(states, screen, sizes):
    """Everything that every page of a walk must hold to."""
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
            check_page(state, screen, DEFAULT if page == "staff" else sizes)


def pages_of_the_source():
    """A pattern for the name of every page that the source makes."""
    makers = {"text", "scale", "choice", "yes_no", "which_hand", "_kept", "_timed"}
    found = {}
    for path in sorted(Path(battery.stage.__file__).parent.rglob("*.py")):
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(call, ast.Call) or not call.args:
                continue
            name = getattr(call.func, "attr", getattr(call.func, "id", ""))
            if name in makers or name.endswith("Page"):
                pattern = _pattern(call.args[0])
                if pattern:
                    found[pattern] = path.name
    return found


def _pattern(node):
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return re.escape(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(
            re.escape(part.value) if isinstance(part, ast.Constant) else r"\w+"
            for part in node.values
        )
    return ""
