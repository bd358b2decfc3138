"""What is asked before the blocks and after them, one question a page."""

from __future__ import annotations

from collections.abc import Callable

from battery.answers import ASKED_TWICE, PAUSE_RISE, STOP_RISE, Moment, rises
from battery.recording import HANDS, Hand
from battery.stage.drawing.canvas import Button
from battery.stage.drawing.hands import HandsPicture
from battery.stage.drawing.posture import PosturePicture
from battery.stage.language import texts
from battery.stage.language.languages import Text
from battery.stage.pages.builder import BACK, Maker, Next, Step, chain
from battery.stage.pages.page import Page
from battery.visits import VisitRun

GO = Button("go", texts.GO_ON, "right")


class Asking:
    """The questions of one visit.

    Parameters
    ----------
    make : Maker
    visit : VisitRun
        Keeps the answers.
    urgent : callable
        Returns the page for somebody with a sign of an emergency; gets the way back.
    ended : callable
        Returns the page of a visit that is ended early.
    enough : callable
        Returns the page for somebody who is worse by three or more.
    """

    def __init__(
        self,
        make: Maker,
        visit: VisitRun,
        *,
        urgent: Callable[[Next], Page],
        ended: Next,
        enough: Next,
    ) -> None:
        self._make = make
        self._visit = visit
        self._urgent = urgent
        self._ended = ended
        self._enough = enough

    def before(self, done: Next) -> Page | None:
        """Return the first page before the blocks, or what follows if all is answered."""
        if self._visit.answered("before", "weight") is not None:
            return done()
        steps: list[Step] = [self._cautions, self._red_flags]
        if self._rose_last_time():
            steps.append(self._settled)
        steps.append(self._posture)
        steps += [self._symptom("before", name) for name in ASKED_TWICE]
        steps += [self._medication, self._weight]
        return chain(steps, done)

    def after(self, done: Next) -> Page | None:
        """Return the first page after the blocks, or what follows if all is answered."""
        if self._visit.answered("after", "helped") is not None:
            return done()
        steps = [self._symptom("after", name) for name in ASKED_TWICE]
        steps += [self._effort, self._helped]
        return chain(steps, lambda: self._how_it_went(done))

    def hand_used(self, hand: Hand, done: Next) -> Page:
        """Ask which hand did the last block; another one than asked for is made sure of."""
        block_id = self._visit.last_block

        def said(key: str) -> Page | None:
            if key in HANDS and key != hand:
                return self._sure("left" if key == "left" else "right", hand, done)
            self._visit.answer("block", "hand_used", key, block_id)
            return done()

        return self._make.which_hand("hand used", texts.USED_TITLE, said)

    def _sure(self, used: Hand, asked: Hand, done: Next) -> Page:
        block_id = self._visit.last_block

        def said(key: str) -> Page | None:
            if key == "back":
                return self.hand_used(asked, done)
            self._visit.answer("block", "hand_used", used, block_id)
            return done()

        return self._make.text(
            "hand sure",
            texts.SURE_TITLE.format(hand=texts.HANDS[used]),
            texts.SURE_LINES,
            (Button("go", texts.YES, "right"), BACK),
            said,
            picture=HandsPicture(used),
        )

    def _cautions(self, forward: Next, back: Next | None) -> Page:
        del back
        return self._make.text(
            "stop now",
            texts.STOP_NOW_TITLE,
            texts.STOP_NOW_LINES,
            (GO,),
            lambda _: forward(),
            sign="stop",
        )

    def _red_flags(self, forward: Next, back: Next | None) -> Page:
        def said(key: str) -> Page | None:
            self._visit.answer("before", "red_flags", key)
            if key == "yes":
                return self._urgent(lambda: self._red_flags(forward, back))
            return forward()

        return self._make.choice(
            "red flags",
            texts.RED_FLAGS_TITLE,
            (texts.SIGNS, texts.HEAD_SIGNS),
            (("yes", texts.YES), ("no", texts.NO)),
            said,
            back=back,
        )

    def _rose_last_time(self) -> bool:
        """Whether a symptom rose by two or more in the person's visit before this one."""
        header = self._visit.header
        earlier = [
            visit.header.visit_id
            for visit in self._visit.store.visits(header.person)
            if visit.header.sequence == header.sequence - 1
        ]
        said = self._visit.store.answers(earlier[0]) if earlier else []
        return max(rises(said).values(), default=0) >= PAUSE_RISE

    def _settled(self, forward: Next, back: Next | None) -> Page:
        def said(key: str) -> Page | None:
            self._visit.answer("before", "settled", key)
            return forward() if key == "yes" else unsettled()

        def unsettled() -> Page:
            return self._make.text(
                "not settled",
                texts.SETTLED_TITLE,
                texts.SETTLED_NO_LINES,
                (Button("end", texts.END, "left", main=False), GO),
                lambda key: self._ended() if key == "end" else forward(),
            )

        return self._make.choice(
            "settled",
            texts.SETTLED_TITLE,
            texts.SETTLED_LINES,
            (("yes", texts.YES), ("no", texts.NO)),
            said,
            back=back,
        )

    def _posture(self, forward: Next, back: Next | None) -> Page:
        return self._make.text(
            "posture",
            texts.POSTURE_TITLE,
            texts.POSTURE_LINES,
            (GO,),
            lambda _: forward(),
            picture=PosturePicture(),
        )

    def _symptom(self, moment: Moment, name: str) -> Step:
        def page(forward: Next, back: Next | None) -> Page:
            def said(value: int) -> Page | None:
                self._visit.answer(moment, name, str(value))
                return forward()

            start = self._visit.answered("before", name)
            is_after = moment == "after"
            given = self._visit.answered(moment, name)
            return self._make.scale(
                f"{moment} {name}",
                texts.SYMPTOM_TITLES[name],
                texts.SCALE_AFTER if is_after else texts.SCALE_NOW,
                said,
                back=back,
                given=None if given is None else int(given),
                short=texts.AS_BEFORE if is_after and start else texts.NONE_AT_ALL,
                short_value=int(start or 0) if is_after else 0,
                sign=name,
            )

        return page

    def _medication(self, forward: Next, back: Next | None) -> Page:
        return self._kept(
            "medication",
            texts.MEDICATION_TITLE,
            texts.MEDICATION_LINES,
            tuple(texts.MEDICATION.items()),
            forward,
            back,
        )

    def _weight(self, forward: Next, back: Next | None) -> Page:
        return self._kept(
            "weight",
            texts.WEIGHT_TITLE,
            texts.WEIGHT_LINES,
            (("on", texts.WEIGHT_ON), ("off", texts.WEIGHT_OFF)),
            forward,
            back,
        )

    def _kept(
        self,
        question: str,
        title: Text,
        lines: tuple[Text, ...],
        choices: tuple[tuple[str, Text], ...],
        forward: Next,
        back: Next | None,
        *,
        moment: Moment = "before",
    ) -> Page:
        def said(key: str) -> Page | None:
            self._visit.answer(moment, question, key)
            return forward()

        return self._make.choice(question, title, lines, choices, said, back=back)

    def _effort(self, forward: Next, back: Next | None) -> Page:
        def said(value: int) -> Page | None:
            self._visit.answer("after", "effort", str(value))
            return forward()

        given = self._visit.answered("after", "effort")
        return self._make.scale(
            "effort",
            texts.EFFORT_TITLE,
            texts.EFFORT_LINE,
            said,
            back=back,
            given=None if given is None else int(given),
        )

    def _helped(self, forward: Next, back: Next | None) -> Page:
        return self._kept(
            "helped",
            texts.HELPED_TITLE,
            texts.HELPED_LINES,
            (("yes", texts.YES), ("no", texts.NO)),
            forward,
            back,
            moment="after",
        )

    def _how_it_went(self, done: Next) -> Page | None:
        worst = max(rises(self._visit.answers).values(), default=0)
        return self._enough() if worst >= STOP_RISE else done()
