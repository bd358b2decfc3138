"""Stop, feeling worse, and the emergency page: the same from everywhere."""

from __future__ import annotations

from battery.answers import PAUSE_RISE, STOP_RISE
from battery.plan import PlannedBlock
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.language.languages import Text
from battery.stage.pages.builder import Maker, Next
from battery.stage.pages.page import Page
from battery.visits import VisitRun

PAUSE_S = 60.0
END = Button("end", texts.END, "left", main=False)
END_BESIDE = Button("end", texts.END, "centre", main=False)
UNWELL = ("dizziness", "vision", "pain", "fatigue", "sickness")


class Stopping:
    """Ways out of a visit.

    Parameters
    ----------
    make : Maker
    emergency_number : str
        As the clinic has set it; empty if it has not.
    ended : callable
        Ends the visit and returns its last page.
    following : callable
        Returns the page before the next block.
    away : callable
        Returns what closing leads to.
    """

    def __init__(
        self,
        make: Maker,
        *,
        emergency_number: str,
        ended: Next,
        following: Next,
        away: Next,
    ) -> None:
        self._make = make
        self._number = emergency_number
        self._ended = ended
        self._following = following
        self._away = away
        self.visit: VisitRun | None = None

    def emergency(self, back: Next) -> Page:
        """Say when to call and which number."""
        return self._make.text(
            "emergency",
            texts.EMERGENCY_TITLE,
            (self.call_line, texts.SIGNS, texts.HEAD_SIGNS, texts.NOBODY_TOLD),
            (Button("back", texts.BACK, "left", main=False),),
            lambda _: back(),
        )

    @property
    def call_line(self) -> Text:
        """The number to call."""
        if not self._number:
            return texts.CALL_ANY
        return texts.CALL_NUMBER.format(number=self._number)

    def urgent(self, back: Next) -> Page:
        """For somebody with a new sign: call now. Few words, so that they stand on one leaf.

        The answer is kept already; the way back is for a slip of the finger.
        """

        def after(key: str) -> Page | None:
            if key == "back":
                return back()
            self._close("stopped")
            return self._away()

        number = texts.URGENT_NUMBER.format(number=self._number)
        return self._make.text(
            "urgent",
            texts.URGENT_TITLE,
            (number if self._number else texts.URGENT_ANY, texts.NOBODY_TOLD),
            (
                Button("back", texts.BACK, "left", main=False),
                Button("end", texts.CLOSE, "right"),
            ),
            after,
            stop=False,
        )

    def enough(self) -> Page:
        """For somebody who is worse by three or more: what to do next."""
        self._close("stopped")
        return self._make.text(
            "enough",
            texts.ENOUGH_TITLE,
            texts.ENOUGH_LINES,
            (Button("end", texts.CLOSE, "right"),),
            lambda _: self._away(),
            stop=False,
            sign="rest",
        )

    def stopped(self, back: Next | None = None, planned: PlannedBlock | None = None) -> Page:
        """After a stop: go on, try again once, leave the part out, feel worse, or end.

        Parameters
        ----------
        back : callable, optional
            Where going on leads; by default to the next block's pages.
        planned : PlannedBlock or None
            The block that was broken off; None when it was a page.
        """
        visit = self.visit
        buttons: tuple[Button, ...] = (END,)
        choices: tuple[Button, ...] = ()
        if visit is not None:
            buttons = (Button("unwell", texts.UNWELL, "left", main=False), END_BESIDE)
        if planned is None or visit is None:
            buttons += (Button("go", texts.GO_ON, "right"),)
        elif visit.may_repeat(planned):
            buttons += (Button("go", texts.AGAIN, "right"),)
            choices = (Button("next", texts.NEXT, main=False),)
        else:
            buttons += (Button("next", texts.NEXT, "right"),)

        def after(key: str) -> Page | None:
            if key == "unwell":
                return self.unwell(lambda: self.stopped(back, planned))
            if key == "next" and planned is not None and visit is not None:
                visit.leave_out(planned)
            return self._ended() if key == "end" else (back or self._following)()

        return self._make.text(
            "stopped",
            texts.STOPPED_TITLE,
            texts.STOPPED_LINES,
            buttons,
            after,
            choices=choices,
            stop=False,
        )

    def unwell(self, back: Next) -> Page:
        """Keep that the person feels worse, and ask what it is."""
        visit = self.visit
        if visit is not None:
            visit.answer("stop", "unwell", "yes", visit.last_block)
        return self._make.choice(
            "unwell",
            texts.UNWELL_TITLE,
            texts.UNWELL_LINES,
            [(name, texts.SYMPTOM_NAMES[name]) for name in UNWELL],
            lambda name: self._how_much(name, back),
            back=back,
        )

    def _how_much(self, name: str, back: Next) -> Page:
        visit = self.visit
        start = int((visit.answered("before", name) if visit else None) or 0)

        def said(value: int) -> Page | None:
            if visit is not None:
                visit.answer("stop", name, str(value), visit.last_block)
            if value - start >= STOP_RISE:
                return self.enough()
            return self._pause(name, back) if value - start >= PAUSE_RISE else back()

        return self._make.scale(
            f"stop {name}",
            texts.SYMPTOM_TITLES[name],
            texts.SCALE_NOW,
            said,
            back=back,
            earlier=start or None,
            sign=name,
        )

    def _pause(self, name: str, back: Next) -> Page:
        """Rest for a minute at least, then ask again; so on until it is less, or the end."""
        return self._make.text(
            "pause",
            texts.PAUSE_TITLE,
            texts.PAUSE_LINES,
            (END, Button("go", texts.GO_ON, "right")),
            lambda key: self._ended() if key == "end" else self._how_much(name, back),
            wait_s=PAUSE_S,
            sign="rest",
        )

    def _close(self, ending: str) -> None:
        if self.visit is not None:
            self.visit.end(ending)
