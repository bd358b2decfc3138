"""The pages of a visit, one after another, around the blocks of its plan."""

from __future__ import annotations

import json
import platform
import random
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

import platformdirs

from battery.errors import StoreError
from battery.people import CODE_ALPHABET
from battery.plan import Plan, PlannedBlock, check_fits
from battery.recording import Block, Device, Hand, Screen
from battery.stage import texts
from battery.stage.canvas import Button, Place
from battery.stage.demonstration import demonstration
from battery.stage.live import LiveSource
from battery.stage.pages import Page, Picture, TextPage, hand_picture, run_pages
from battery.stage.window import Window, versions
from battery.store import Person, Store
from battery.visits import VisitRun, Wall, begin_visit

DEVICE_FILE = "device.json"


class VisitFlow:
    """Makes the pages of a visit and does its blocks."""

    def __init__(
        self, window: Window, visit: VisitRun, *, rest_s: float, large: bool, seed: int
    ) -> None:
        self._window = window
        self._visit = visit
        self._rest_s = rest_s
        self._large = large
        self._seed = seed
        self._done = 0

    def first(self) -> Page:
        """Return the first page."""
        code = self._visit.header.person
        return self._text(
            "start",
            texts.START_TITLE,
            tuple(line.format(code=code) for line in texts.START_LINES),
            (
                Button("other", texts.NOT_ME, "left"),
                Button("go", texts.GO_ON, "right"),
            ),
            lambda key: self._cautions() if key == "go" else self._other(),
            stop=False,
        )

    def _other(self) -> Page:
        return self._text(
            "other",
            texts.OTHER_TITLE,
            texts.OTHER_LINES,
            (Button("end", texts.END),),
            lambda _: None,
            stop=False,
        )

    def _cautions(self) -> Page:
        return self._text(
            "cautions",
            texts.CAUTION_TITLE,
            texts.CAUTION_LINES,
            (Button("go", texts.GO_ON, "right"),),
            lambda key: self._stopped() if key == "stop" else self._next(),
            small=True,
        )

    def _next(self) -> Page:
        """Return the page before the next block, or the last page."""
        if not self._visit.todo:
            return self._thanks()
        planned = self._visit.todo[0]
        return self._hand(planned) if planned.phase == "practice" else self._ready(planned)

    def _hand(self, planned: PlannedBlock) -> Page:
        hand = planned.hand
        word = texts.HANDS[hand]
        return self._text(
            f"hand {hand}",
            word,
            (texts.USE_HAND.format(hand=word),),
            (Button("go", texts.GO_ON, _side(hand)),),
            self._or_stop(lambda: self._demonstration(planned)),
            hand=hand,
            picture=hand_picture(hand, word),
        )

    def _demonstration(self, planned: PlannedBlock) -> Page:
        hand = planned.hand
        self._seed += 1
        return self._text(
            f"demonstration {planned.task}",
            texts.DEMO_TITLE.format(name=texts.NAMES[planned.task]),
            texts.WHAT_TO_DO[planned.task],
            (Button("go", texts.GO_ON, _side(hand)),),
            self._or_stop(lambda: self._ready(planned)),
            hand=hand,
            picture=demonstration(planned, self._seed),
            moving=True,
        )

    def _ready(self, planned: PlannedBlock) -> Page:
        """Return the page with the start button, on the side of the hand that is to be used."""
        word = texts.HANDS[planned.hand]
        practice = planned.phase == "practice"
        title = texts.PRACTICE_TITLE if practice else texts.TEST_TITLE
        line = texts.PRACTICE_LINE if practice else texts.TEST_LINE
        return self._text(
            f"ready {planned.task} {planned.phase}",
            title.format(name=texts.NAMES[planned.task]),
            (line.format(hand=word), texts.ACCURACY),
            (Button("go", texts.START, _side(planned.hand)),),
            self._or_stop(lambda: BlockPage(self, planned)),
            hand=planned.hand,
            picture=hand_picture(planned.hand, word),
        )

    def do_block(self, window: Window, planned: PlannedBlock) -> Block:
        """Do one block from the window."""
        name = f"block {planned.task} {planned.phase}"
        source = LiveSource(window, hand=planned.hand, name=name, large=self._large)
        block = self._visit.run(planned, source, window.audit)
        if block.ending == "finished":
            self._done += 1
        return block

    def after_block(self, planned: PlannedBlock, block: Block) -> Page:
        """Return the page that follows a block."""
        if block.ending != "finished":
            return self._stopped(planned)
        if planned.phase == "practice":
            return self._next()
        return self._rest() if self._visit.todo else self._thanks()

    def _rest(self, wait_s: float | None = None) -> Page:
        def after(key: str) -> Page | None:
            if key == "more":
                return self._rest(20.0)
            return self._stopped() if key == "stop" else self._next()

        return self._text(
            "rest",
            texts.REST_TITLE,
            texts.REST_LINES,
            (Button("more", texts.MORE, "left"), Button("go", texts.GO_ON, "right")),
            after,
            wait_s=self._rest_s if wait_s is None else wait_s,
        )

    def _stopped(self, planned: PlannedBlock | None = None) -> Page:
        """After a stop: go on with the block that was broken off once more, or end."""
        again = planned is None or self._visit.may_repeat(planned)
        if not again and planned is not None:
            self._visit.skip(planned)

        def after(key: str) -> Page | None:
            return self._next() if key == "go" else self._ended()

        return self._text(
            "stopped",
            texts.STOPPED_TITLE,
            texts.STOPPED_LINES,
            (Button("end", texts.END, "left"), Button("go", texts.GO_ON, "right")),
            after,
            stop=False,
        )

    def _ended(self) -> Page:
        self._visit.end("stopped")
        return self._text(
            "ended",
            texts.THANKS_TITLE,
            texts.ENDED_LINES,
            (Button("end", texts.GO_ON),),
            lambda _: None,
            stop=False,
        )

    def _thanks(self) -> Page:
        self._visit.end("finished")
        return self._text(
            "thanks",
            texts.THANKS_TITLE,
            tuple(line.format(n=self._done) for line in texts.THANKS_LINES),
            (Button("end", texts.GO_ON),),
            lambda _: None,
            stop=False,
        )

    def _or_stop(self, page: Callable[[], Page]) -> Callable[[str], Page | None]:
        return lambda key: self._stopped() if key == "stop" else page()

    def _text(
        self,
        name: str,
        title: str,
        lines: tuple[str, ...],
        buttons: tuple[Button, ...],
        after: Callable[[str], Page | None],
        *,
        hand: Hand | None = None,
        picture: Picture | None = None,
        stop: bool = True,
        moving: bool = False,
        small: bool = False,
        wait_s: float = 0.0,
    ) -> TextPage:
        return TextPage(
            name,
            title,
            lines,
            buttons,
            after,
            hand=hand,
            picture=picture,
            stop=stop,
            large=self._large,
            small=small,
            wait_s=wait_s,
            wait_line=texts.REST_WAIT,
            moving=moving,
        )


class BlockPage:
    """A block as a page: it is done, then the flow says what follows."""

    def __init__(self, flow: VisitFlow, planned: PlannedBlock) -> None:
        self._flow = flow
        self._planned = planned
        self.name = f"block {planned.task} {planned.phase}"

    def run(self, window: Window) -> Page | None:
        """Do the block."""
        block = self._flow.do_block(window, self._planned)
        return self._flow.after_block(self._planned, block)


def _side(hand: Hand) -> Place:
    return "left" if hand == "left" else "right"


def visit_on_screen(
    store: Store,
    person: Person,
    plan: Plan,
    *,
    windowed: bool,
    large: bool,
    wall: Wall,
    random_source: random.Random,
) -> str:
    """Do a visit in a window and say in one line how it went.

    Raises
    ------
    BatteryError
        No screen, a plan that does not fit it, or a store that cannot be written.
    """
    alias, known = load_device(store)
    with Window(windowed=windowed, known=known) as window:
        check_fits(plan, window.screen)
        device = Device(alias, window.screen, f"{platform.system()} {platform.machine()}")
        visit = begin_visit(store, person, plan, device, wall=wall, random_source=random_source)
        visit.versions.update(versions())
        flow = VisitFlow(
            window,
            visit,
            rest_s=plan.rest_s,
            large=large,
            seed=random_source.randrange(2**31),
        )
        run_pages(window, flow.first())
    left = sum(block.phase == "test" for block in visit.todo)
    state = "complete" if not left else f"{left} blocks were not done"
    return f"visit {visit.header.sequence} of {person.code}: {state}; stored"


def device_path(store: Store) -> Path:
    """Return the file that knows this machine: its alias and its measured screens."""
    folder = store.folder or platformdirs.user_data_path(
        "coordination-battery", appauthor=False
    )
    return folder / DEVICE_FILE


def load_device(store: Store) -> tuple[str, dict[tuple[int, int], Screen]]:
    """Return this machine's alias, made at random once, and the screens measured on it."""
    path = device_path(store)
    try:
        if path.is_file():
            values = json.loads(path.read_text(encoding="utf-8"))
            screens = [Screen(**screen) for screen in values["screens"]]
            return values["alias"], {(s.width_px, s.height_px): s for s in screens}
    except (ValueError, KeyError, TypeError) as error:
        msg = f"'{path}' cannot be read ({error}); move it away and measure the screen again"
        raise StoreError(msg) from error
    letters = random.SystemRandom().choices(CODE_ALPHABET, k=4)
    alias = "T-" + "".join(letters)
    save_device(store, alias, {})
    return alias, {}


def save_device(store: Store, alias: str, screens: dict[tuple[int, int], Screen]) -> None:
    """Write this machine's file, all or nothing."""
    path = device_path(store)
    values = {"alias": alias, "screens": [asdict(s) for s in screens.values()]}
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_suffix(".part")
        part.write_text(json.dumps(values, indent=1), encoding="utf-8")
        part.replace(path)
    except OSError as error:
        msg = f"cannot write '{path}': {error.strerror or error}; nothing was changed"
        raise StoreError(msg) from error


def measure_screen(
    store: Store, *, width_mm: float | None, height_mm: float | None
) -> list[str]:
    """Say what is known of this screen; with both sizes, store them as measured by ruler.

    Raises
    ------
    StoreError
        If only one size is given, or a size is no screen's.
    """
    alias, known = load_device(store)
    if (width_mm is None) != (height_mm is None):
        msg = "give both --width-mm and --height-mm; nothing was changed"
        raise StoreError(msg)
    with Window(windowed=False, known=known) as window:
        size_px = window.desktop_px
        audit = window.audit
        screen = window.screen
    if width_mm is not None and height_mm is not None:
        screen = Screen(*size_px, width_mm / size_px[0], height_mm / size_px[1], "ruler")
        ratio = screen.mm_per_px_x / screen.mm_per_px_y
        if not (50 < width_mm < 2000 and 0.95 < ratio < 1.05):
            msg = (
                f"{width_mm:g} x {height_mm:g} mm for {size_px[0]} x {size_px[1]} pixels gives "
                f"pixels {ratio:.2f} times as wide as high; measure again. Nothing was changed."
            )
            raise StoreError(msg)
        known[size_px] = screen
        save_device(store, alias, known)
    source = {"ruler": "measured with a ruler", "card": "measured with a card"}
    return [
        f"device {alias}, screen {size_px[0]} x {size_px[1]} pixels",
        f"scale {1 / screen.mm_per_px_x:.2f} pixels a mm "
        f"({source.get(screen.scale_source, 'a guess: measure it')}), "
        f"{screen.width_mm:.0f} x {screen.height_mm:.0f} mm",
        f"showing a small change takes {audit.flip_p99_ms:.1f} ms (99th percentile)"
        + ("; above 4 ms: stamps will be less exact" if (audit.flip_p99_ms or 0) > 4 else ""),
    ]
