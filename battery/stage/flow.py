"""The pages of a visit, one after another, around the blocks of its plan."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from battery.plan import PlannedBlock
from battery.recording import Block, Hand
from battery.stage import texts
from battery.stage.canvas import Button, Place
from battery.stage.demonstration import Demonstration
from battery.stage.hands import HandsPicture
from battery.stage.live import LiveSource
from battery.stage.pages import Page, Picture, TextPage
from battery.stage.window import Window
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
    ) -> None:
        self._window = window
        self._code = code
        self._today = today
        self._begin = begin
        self._rest_s = rest_s
        self._large = large
        self._seed = seed
        self._parts = 0
        self.visit: VisitRun | None = None

    def first(self) -> Page:
        """Return the first page."""
        words = {"code": self._code, "day": texts.day_words(self._today)}
        return self._text(
            "start",
            texts.START_TITLE.format(**words),
            tuple(line.format(**words) for line in texts.START_LINES),
            (
                Button("other", texts.NOT_ME, "left", main=False),
                Button("go", texts.GO_ON, "right"),
            ),
            lambda key: self._begun() if key == "go" else self._other(),
            stop=False,
        )

    def _other(self) -> Page:
        return self._text(
            "other",
            texts.OTHER_TITLE,
            texts.OTHER_LINES,
            (Button("end", texts.CLOSE),),
            lambda _: None,
            stop=False,
        )

    def _begun(self) -> Page:
        visit = self.visit = self._begin()
        self._parts = sum(block.phase == "test" for block in visit.todo)
        return self._again() if visit.resumed else self._stop_now()

    def _again(self) -> Page:
        return self._text(
            "again",
            texts.AGAIN_TITLE,
            texts.AGAIN_LINES,
            (Button("go", texts.GO_ON, "right"),),
            self._or_stop(self._stop_now, back=self._again),
        )

    def _stop_now(self) -> Page:
        return self._text(
            "stop now",
            texts.STOP_NOW_TITLE,
            texts.STOP_NOW_LINES,
            (Button("go", texts.GO_ON, "right"),),
            self._or_stop(self._emergency, back=self._stop_now),
        )

    def _emergency(self) -> Page:
        return self._text(
            "emergency",
            texts.EMERGENCY_TITLE,
            texts.EMERGENCY_LINES,
            (Button("go", texts.GO_ON, "right"),),
            self._or_stop(self._next, back=self._emergency),
        )

    @property
    def _todo(self) -> list[PlannedBlock]:
        return self.visit.todo if self.visit is not None else []

    def _next(self) -> Page:
        """Return the page before the next block, or the last page."""
        if not self._todo:
            return self._thanks()
        planned = self._todo[0]
        return self._hand(planned) if planned.phase == "practice" else self._ready(planned)

    def _hand(self, planned: PlannedBlock) -> Page:
        hand = planned.hand
        return self._text(
            f"hand {hand}",
            texts.HAND_TITLE.format(hand=texts.HANDS[hand]),
            (texts.HAND_LINE,),
            (Button("go", texts.GO_ON, side(hand)),),
            self._or_stop(lambda: self._demonstration(planned)),
            hand=hand,
            picture=HandsPicture(hand),
        )

    def _demonstration(self, planned: PlannedBlock) -> Page:
        self._seed += 1
        return self._text(
            f"demonstration {planned.task}",
            texts.DEMO_TITLE.format(name=texts.NAMES[planned.task]),
            texts.WHAT_TO_DO[planned.task],
            (Button("go", texts.GO_ON, side(planned.hand)),),
            self._or_stop(lambda: self._ready(planned)),
            hand=planned.hand,
            picture=Demonstration(planned, self._seed),
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
            (Button("go", texts.START, side(planned.hand)),),
            self._or_stop(lambda: BlockPage(self, planned)),
            hand=planned.hand,
            picture=HandsPicture(planned.hand),
        )

    def do_block(self, window: Window, planned: PlannedBlock) -> Page | None:
        """Do one block from the window and return the page that follows."""
        visit = self.visit
        if visit is None:
            return None
        source = LiveSource(
            window, hand=planned.hand, name=block_name(planned), large=self._large
        )
        block = visit.run(planned, source, window.audit)
        return self._after_block(planned, block)

    def _after_block(self, planned: PlannedBlock, block: Block) -> Page:
        if block.ending != "finished":
            return self._stopped(planned)
        if planned.phase == "practice":
            return self._next()
        return self._rest() if self._todo else self._thanks()

    def _rest(self, wait_s: float | None = None) -> Page:
        left = sum(block.phase == "test" for block in self._todo)
        words = {"done": self._parts - left, "all": self._parts}

        def after(key: str) -> Page | None:
            if key == "more":
                return self._rest(MORE_REST_S)
            return self._stopped() if key == "stop" else self._next()

        return self._text(
            "rest",
            texts.REST_TITLE,
            tuple(line.format(**words) for line in texts.REST_LINES),
            (
                Button("more", texts.MORE, "left", main=False),
                Button("go", texts.GO_ON, "right"),
            ),
            after,
            wait_s=self._rest_s if wait_s is None else wait_s,
        )

    def _stopped(
        self,
        planned: PlannedBlock | None = None,
        back: Callable[[], Page] | None = None,
    ) -> Page:
        """After a stop: try the part again once, go on with the next one, or end.

        Parameters
        ----------
        planned : PlannedBlock or None
            The block that was broken off; None when it was a page.
        back : callable, optional
            Where going on leads; by default to the next block's pages.
        """
        visit = self.visit
        end = Button("end", texts.END, "left", main=False)
        if planned is None or visit is None:
            buttons: tuple[Button, ...] = (end, Button("go", texts.GO_ON, "right"))
        elif visit.may_repeat(planned):
            buttons = (
                end,
                Button("next", texts.NEXT, "centre", main=False),
                Button("go", texts.AGAIN, "right"),
            )
        else:
            buttons = (end, Button("next", texts.NEXT, "right"))

        def after(key: str) -> Page | None:
            if key == "next" and planned is not None:
                self._leave_out(planned)
            return self._ended() if key == "end" else (back or self._next)()

        return self._text(
            "stopped",
            texts.STOPPED_TITLE,
            texts.STOPPED_LINES,
            buttons,
            after,
            stop=False,
        )

    def _leave_out(self, planned: PlannedBlock) -> None:
        """Leave out this task with this hand, practice and test."""
        if self.visit is None:
            return
        for block in list(self._todo):
            if (block.task, block.hand) == (planned.task, planned.hand):
                self.visit.skip(block)

    def _ended(self) -> Page:
        if self.visit is not None:
            self.visit.end("stopped")
        return self._last("ended", texts.ENDED_LINES)

    def _thanks(self) -> Page:
        if self.visit is not None:
            self.visit.end("finished")
        return self._last("thanks", texts.THANKS_LINES)

    def _last(self, name: str, lines: tuple[str, ...]) -> Page:
        return self._text(
            name,
            texts.THANKS_TITLE,
            lines,
            (Button("end", texts.CLOSE, "right"),),
            lambda _: None,
            stop=False,
        )

    def _or_stop(
        self, page: Callable[[], Page], *, back: Callable[[], Page] | None = None
    ) -> Callable[[str], Page | None]:
        return lambda key: self._stopped(back=back) if key == "stop" else page()

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
            wait_s=wait_s,
            wait_line=texts.REST_WAIT,
        )


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


def side(hand: Hand) -> Place:
    """Place the buttons of a hand."""
    return "left" if hand == "left" else "right"
