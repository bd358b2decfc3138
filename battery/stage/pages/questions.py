"""What is asked before the blocks and after them, one question a page."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from battery.answers import ASKED_TWICE, PAUSE_RISE, STOP_RISE, Moment, rises, taken_over
from battery.recording import HANDS, Hand, VisitHeader
from battery.stage.drawing.hands import HandsPicture
from battery.stage.drawing.places import Button
from battery.stage.drawing.posture import PosturePicture
from battery.stage.language import texts
from battery.stage.language.languages import Text
from battery.stage.pages.builder import BACK, Maker, Next, Step, chain, together
from battery.stage.pages.page import Page
from battery.visits import VisitRun

GO = Button("go", texts.GO_ON, "right")
EXPERIENCED = 3  # from this visit on, the pages are known
DAY_S = 86_400.0


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
    minutes : int
        About how long the visit takes.
    """

    def __init__(
        self,
        make: Maker,
        visit: VisitRun,
        *,
        urgent: Callable[[Next], Page],
        ended: Next,
        enough: Next,
        minutes: int,
    ) -> None:
        self._make = make
        self._visit = visit
        self._urgent = urgent
        self._ended = ended
        self._enough = enough
        self._minutes = minutes

    def before(self, done: Next) -> Page | None:
        """Return the first page before the blocks, or what follows if all is answered.

        No question of which an answer is stored at once follows another one in the same places:
        a page to read, or one with its answers at the foot, stands between.
        """
        if self._visit.answered("before", "weight") is not None:
            return done()
        steps: list[Step] = [self._welcome, self._red_flags, self._posture]
        if self._rose_last_time():
            steps.append(self._settled)
        offered = self._offered()
        if offered is not None:
            return chain([*steps, self._as_last(offered, done)], done)
        return chain([*steps, *self._one_by_one()], done)

    def after(self, done: Next) -> Page | None:
        """Return the first page after the blocks, or what follows if all is answered."""
        if all(self._visit.answered("after", name) is not None for name in ASKED_TWICE):
            return done()
        return chain([self._effort, self._helped, self._as_before(done)], done)

    def _one_by_one(self) -> list[Step]:
        return [
            *(self._symptom("before", name) for name in ASKED_TWICE),
            self._medication,
            self._weight,
        ]

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

    def _welcome(self, forward: Next, back: Next | None) -> Page:
        del back
        count = self._visit.n_planned
        line = texts.WELCOME_LINE.format(count=count, minutes=self._minutes)
        return self._make.text(
            "welcome",
            texts.WELCOME_TITLE,
            (texts.WELCOME_ONE if count == 1 else line, *texts.STOP_NOW_LINES),
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
            full=True,
        )

    def _visit_before(self) -> VisitHeader | None:
        header = self._visit.header
        earlier = [
            visit.header
            for visit in self._visit.store.visits.all(header.person)
            if visit.header.sequence == header.sequence - 1
        ]
        return earlier[0] if earlier else None

    def _rose_last_time(self) -> bool:
        """Whether a symptom rose by two or more in the person's visit before this one."""
        last = self._visit_before()
        said = self._visit.store.visits.answers(last.visit_id) if last else []
        return max(rises(said).values(), default=0) >= PAUSE_RISE

    def _offered(self) -> dict[str, str] | None:
        """Return what may be taken over from the visit before, from the third visit on."""
        last = self._visit_before()
        header = self._visit.header
        if last is None or header.sequence < EXPERIENCED:
            return None
        ago = datetime.fromisoformat(header.started_utc) - datetime.fromisoformat(
            last.started_utc
        )
        answers = self._visit.store.visits.answers(last.visit_id)
        return taken_over(answers, days_ago=ago.total_seconds() / DAY_S)

    def _as_last(self, offered: dict[str, str], done: Next) -> Step:
        """Show what was said last time; one press says it again."""

        def page(forward: Next, back: Next | None) -> Page:
            def here() -> Page:
                return page(forward, back)

            def said(key: str) -> Page | None:
                self._visit.answer("before", "as_last", key)
                if key == "no":
                    return chain(self._one_by_one(), done, back=here)
                for name, value in offered.items():
                    self._visit.answer("before", name, value)
                return done()

            medicine = texts.MEDICATION.get(offered["medication"], texts.MEDICATION["none"])
            return self._make.choice(
                "as last time",
                texts.AS_LAST_TITLE,
                (
                    *self._told({name: offered[name] for name in ASKED_TWICE}),
                    texts.AS_LAST_MEDICINE.format(when=medicine),
                    texts.AS_LAST_WEIGHT,
                ),
                (("no", texts.DIFFERENT), ("yes", texts.AS_LAST)),
                said,
                back=back,
            )

        return page

    def _as_before(self, done: Next) -> Step:
        """Show what was said before the blocks; one press says it again."""

        def page(forward: Next, back: Next | None) -> Page | None:
            del forward
            held = {name: self._visit.answered("before", name) for name in ASKED_TWICE}
            known = {name: value for name, value in held.items() if value is not None}

            def here() -> Page | None:
                return page(done, back)

            def said(key: str) -> Page | None:
                self._visit.answer("after", "as_before", key)
                if key == "no":
                    return one_by_one(here)
                for name, value in known.items():
                    self._visit.answer("after", name, value)
                return self._how_it_went(done)

            def one_by_one(back: Next | None) -> Page | None:
                steps = [self._symptom("after", name) for name in ASKED_TWICE]
                return chain(steps, lambda: self._how_it_went(done), back=back)

            if len(known) < len(held):
                return one_by_one(back)
            return self._make.yes_no(
                "as before",
                texts.AS_BEFORE_TITLE,
                self._told(known),
                (("no", texts.DIFFERENT), ("yes", texts.AS_BEFORE)),
                said,
                back=back,
            )

        return page

    @staticmethod
    def _told(values: dict[str, str]) -> tuple[Text, ...]:
        """Say what was answered, a symptom after the other on one line."""
        said = [
            texts.TOLD.format(name=texts.SYMPTOM_NAMES[name], value=value)
            for name, value in values.items()
        ]
        return (together(said),)

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
            (GO, *((BACK,) if back is not None else ())),
            lambda key: back() if key == "back" and back is not None else forward(),
            picture=PosturePicture(),
        )

    def _symptom(self, moment: Moment, name: str) -> Step:
        def page(forward: Next, back: Next | None) -> Page:
            def said(value: int) -> Page | None:
                self._visit.answer(moment, name, str(value))
                return forward()

            is_after = moment == "after"
            start = self._visit.answered("before", name) if is_after else None
            given = self._visit.answered(moment, name)
            return self._make.scale(
                f"{moment} {name}",
                texts.SYMPTOM_TITLES[name],
                texts.SCALE_AFTER if is_after else texts.SCALE_NOW,
                said,
                back=back,
                given=None if given is None else int(given),
                earlier=None if start is None else int(start),
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
        def said(key: str) -> Page | None:
            self._visit.answer("before", "weight", key)
            return forward()

        return self._make.yes_no(
            "weight",
            texts.WEIGHT_TITLE,
            texts.WEIGHT_LINES,
            (("on", texts.WEIGHT_ON), ("off", texts.WEIGHT_OFF)),
            said,
            back=back,
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
