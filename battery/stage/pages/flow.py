"""The pages of a visit, one after another, around the blocks of its plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from battery.machine import ClinicSettings
from battery.people import PICTURES
from battery.plan import PlannedBlock
from battery.recording import Block, Hand
from battery.stage.drawing.demonstration import Demonstration
from battery.stage.drawing.hands import HandsPicture
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.pages.builder import BACK, Maker
from battery.stage.pages.closing import LastPages
from battery.stage.pages.first_pages import FirstPages, Practised
from battery.stage.pages.live import HELP_TAPPED, LiveSource
from battery.stage.pages.page import Page
from battery.stage.pages.questions import EXPERIENCED, GO, Asking
from battery.stage.pages.staff import staff_page
from battery.stage.pages.stopping import Stopping
from battery.stage.screen.window import Window
from battery.visits import VisitRun

MORE_REST_S = 20.0


class VisitFlow:
    """Makes the pages of a visit and does its blocks.

    Parameters
    ----------
    window : Window
    code : str
        Whose visit it is.
    today : date
    begin : callable
        Begins the visit; called when the person has said that it is theirs, so that
        opening the program by mistake leaves nothing behind.
    rest_s : float
        Least rest between two test blocks.
    large : bool
        The large profile.
    seed : int
        Where the layouts of demonstrations are drawn from.
    side : {"left", "right"}
        Hand that presses where none is asked for; pages are mirrored for the left.
    picture : str
        Name of the person's picture.
    minutes : int
        About how long the visit takes.
    clinic : ClinicSettings
    warned : sequence of str
        What is to be put right before the start; see `kiosk.warnings`.
    practised : callable or None
        Returns the first page of home exercise; gets the pages' maker and what follows.
    waiting : int
        Visits on this tablet that the clinic has not acknowledged; 0 shows nothing.
    comes_back : bool
        Closing leads back to the tablet's start page: out of these pages, with any staff code.
    """

    def __init__(
        self,
        window: Window,
        *,
        code: str,
        today: date,
        begin: Callable[[], VisitRun],
        rest_s: float,
        large: bool,
        seed: int,
        side: Hand = "right",
        picture: str = PICTURES[0],
        minutes: int = 20,
        clinic: ClinicSettings | None = None,
        warned: Sequence[str] = (),
        practised: Practised | None = None,
        waiting: int = 0,
        comes_back: bool = False,
    ) -> None:
        self._window = window
        self._begin = begin
        self._rest_s = rest_s
        self._large = large
        self._seed = seed
        self._warned = warned
        clinic = clinic or ClinicSettings()
        self._minutes = minutes
        self._protected = bool(clinic.staff_code) and not comes_back
        self._between = False  # a part is over, and the next one not begun
        self._shown: set[str] = set()  # tasks whose demonstration was shown in this visit
        self._asking: Asking | None = None
        self.make = Maker(
            large=large,
            side=side,
            stopped=lambda back: self.stopping.stopped(back),
            help_page=lambda page: self.stopping.emergency(lambda: page),
            staff_page=lambda page: staff_page(page, clinic.staff_code, side=side),
            where=self._where,
        )
        self.stopping = Stopping(
            self.make,
            emergency_number=clinic.emergency_number,
            ended=self.ended,
            following=self.following,
            away=self.away,
        )
        self.opening = FirstPages(
            self.make,
            code=code,
            today=today,
            picture=picture,
            warned=warned,
            practised=practised,
            waiting=waiting,
            begun=self._begun,
            away=self.away,
        )
        self._last = LastPages(
            self.make, show_scores=clinic.show_scores, away=self.away, again=self._go_on
        )

    @property
    def visit(self) -> VisitRun | None:
        """The visit, once it is begun."""
        return self.stopping.visit

    def first(self) -> Page:
        """Return the first page: what to put right, else who is here."""
        return self.opening.first()

    def away(self) -> Page | None:
        """Return what closing leads to: the end, or where staff leave with a code, a page."""
        if not self._protected:
            return None
        visit = self.visit
        over = (
            visit is not None
            and visit.store.visits.get(visit.header.visit_id).ending is not None
        )
        return self.make.text(
            "parked",
            texts.PARKED_TITLE,
            texts.PARKED_LINES,
            () if over else (BACK,),
            lambda _: self.opening.start(),
            stop=False,
        )

    def _go_on(self) -> Page | None:
        """Take up a visit that was ended early a moment ago."""
        if self.visit is not None:
            self.visit.reopen()
        return self._asking.before(self.following) if self._asking else self.opening.start()

    def _begun(self) -> Page | None:
        visit = self.stopping.visit = self._begin()
        self.make.brief = visit.header.sequence >= EXPERIENCED
        asking = self._asking = Asking(
            self.make,
            visit,
            urgent=self.stopping.urgent,
            ended=self.ended,
            enough=self.stopping.enough,
            minutes=self._minutes,
        )
        if "clock" in self._warned:
            visit.answer("before", "clock", "odd")
        if visit.resumed:
            return self._again(visit, asking)
        return asking.before(self.following)

    def _again(self, visit: VisitRun, asking: Asking) -> Page:
        """Return the page of a visit that goes on; what was not answered yet is asked."""
        open_block = visit.unanswered_block()

        def forward() -> Page | None:
            if open_block is None:
                return asking.before(self.following)
            return asking.hand_used(open_block, self.following)

        return self.make.text(
            "again", texts.AGAIN_TITLE, texts.AGAIN_LINES, (GO,), lambda _: forward()
        )

    @property
    def _todo(self) -> list[PlannedBlock]:
        return self.visit.todo if self.visit is not None else []

    def following(self) -> Page | None:
        """Return the page before the next block, or what comes after the last one."""
        if self.visit is None or self._asking is None:
            return self.opening.start()
        self._between = False
        if not self._todo:
            return self._asking.after(self._thanks)
        planned = self._todo[0]
        if planned.phase == "test":
            return self._ready(planned)
        shown = planned.task in self._shown or self.visit.header.sequence >= EXPERIENCED
        return self._hand(planned) if shown else self._demonstration(planned)

    def _hand(self, planned: PlannedBlock) -> Page:
        """Return the page before a try: which hand, and a way to watch first."""
        hand = planned.hand

        def after(key: str) -> Page | None:
            return self._demonstration(planned) if key == "watch" else BlockPage(self, planned)

        words = {"name": texts.NAMES[planned.task], "hand": texts.HANDS[hand]}
        return self.make.text(
            f"hand {hand} {planned.task}",
            texts.PRACTICE_TITLE.format(**words),
            (texts.PRACTICE_LINE.format(**words), texts.HAND_LINE),
            (
                Button("go", texts.START, "right"),
                Button("watch", texts.WATCH, "left", main=False),
            ),
            after,
            hand=hand,
            picture=HandsPicture(hand),
        )

    def _demonstration(self, planned: PlannedBlock) -> Page:
        """Return the page that says what is to be done; a page that shows it follows."""
        self._shown.add(planned.task)
        return self.make.text(
            f"what to do {planned.task}",
            texts.WHAT_TITLE.format(name=texts.NAMES[planned.task]),
            texts.WHAT_TO_DO[planned.task],
            (GO,),
            lambda _: self._watch(planned),
            hand=planned.hand,
            full=True,
        )

    def _watch(self, planned: PlannedBlock) -> Page:
        self._seed += 1
        return self.make.watch(
            f"demonstration {planned.task}",
            texts.DEMO_TITLE.format(name=texts.NAMES[planned.task]),
            Demonstration(planned, self._seed),
            lambda _: self._hand(planned),
            hand=planned.hand,
        )

    def _ready(self, planned: PlannedBlock) -> Page:
        """Return the page before a test, its start button on the side of the hand."""
        words = {"name": texts.NAMES[planned.task], "hand": texts.HANDS[planned.hand]}
        return self.make.text(
            f"ready {planned.task} test",
            texts.TEST_TITLE.format(**words),
            (texts.TEST_LINE.format(**words), texts.ACCURACY),
            (Button("go", texts.START, "right"),),
            lambda _: BlockPage(self, planned),
            hand=planned.hand,
            picture=HandsPicture(planned.hand),
        )

    def do_block(self, window: Window, planned: PlannedBlock) -> Page | None:
        """Do one block from the window and return the page that follows."""
        visit = self.visit
        if visit is None:
            return None
        source = LiveSource(
            window,
            hand=planned.hand,
            name=block_name(planned),
            reminder=texts.REMINDERS[planned.task],
            large=self._large,
        )
        block = visit.run(planned, source, window.audit)
        return self._after_block(visit, planned, block)

    def _after_block(self, visit: VisitRun, planned: PlannedBlock, block: Block) -> Page | None:
        if block.ending != "finished":
            if block.reason == HELP_TAPPED:
                return self.stopping.emergency(lambda: self.stopping.stopped(planned=planned))
            return self.stopping.stopped(planned=planned)
        if planned.phase == "practice":
            return self._after_practice(visit, planned, block)
        self._between = True
        following = self._rest if self._todo else self.following
        return self._asking.hand_used(planned.hand, following) if self._asking else following()

    def _after_practice(
        self, visit: VisitRun, planned: PlannedBlock, block: Block
    ) -> Page | None:
        from battery.scoring.gate import practice_passed

        passed = practice_passed(block)
        visit.answer("block", "practice", "yes" if passed else "no", block.header.block_id)
        if passed:
            return self.following()
        name = texts.NAMES[planned.task]
        if visit.practise_again(planned):
            return self.make.text(
                f"once more {planned.task}",
                texts.GATE_TITLE.format(name=name),
                texts.GATE_LINES,
                (GO,),
                lambda _: self._demonstration(planned),
                hand=planned.hand,
            )
        return self.make.text(
            f"left out {planned.task}",
            texts.LEFT_OUT_TITLE.format(name=name),
            texts.LEFT_OUT_LINES,
            (GO,),
            lambda _: self.following(),
        )

    def _rest(self, wait_s: float | None = None) -> Page:
        words = dict(zip(("done", "all"), self._parts(), strict=True))

        def after(key: str) -> Page | None:
            if key == "more":
                return self._rest(MORE_REST_S)
            return self.stopping.unwell(self._rest) if key == "unwell" else self.following()

        return self.make.text(
            "rest",
            texts.REST_TITLE,
            tuple(line.format(**words) for line in texts.REST_LINES),
            (
                Button("unwell", texts.UNWELL, "left", main=False),
                Button("more", texts.MORE, "centre", main=False),
                GO,
            ),
            after,
            wait_s=self._rest_s if wait_s is None else wait_s,
            sign="rest",
        )

    def _parts(self) -> tuple[int, int]:
        """How many parts are behind, done or left out, and how many there are."""
        planned = self.visit.n_planned if self.visit is not None else 0
        left = sum(block.phase == "test" for block in self._todo)
        return planned - left, planned

    def _where(self) -> str:
        """Say how far the visit is."""
        if self.visit is None:
            return ""
        done, planned = self._parts()
        if not done and self.visit.answered("before", "weight") is None:
            return texts.WHERE_BEFORE
        if self._between:
            return texts.WHERE_PART.format(number=done, all=planned)
        if done == planned:
            return texts.WHERE_AFTER
        return texts.WHERE_PART.format(number=done + 1, all=planned)

    def ended(self) -> Page:
        """End the visit early and return its last page."""
        return self._last.ended(self.visit)

    def _thanks(self) -> Page | None:
        return self._last.thanks(self.visit)


class BlockPage:
    """A block as a page: it is done, then the flow says what follows."""

    def __init__(self, flow: VisitFlow, planned: PlannedBlock) -> None:
        self._flow = flow
        self._planned = planned
        self.name = block_name(planned)

    def run(self, window: Window) -> Page | None:
        """Do the block."""
        return self._flow.do_block(window, self._planned)


def block_name(planned: PlannedBlock) -> str:
    """Name a block while it is shown."""
    return f"block {planned.task} {planned.phase}"
