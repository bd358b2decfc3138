"""The last pages: thanks in plain words, the numbers for who wants them, an early end."""

from __future__ import annotations

import math
from collections.abc import Sequence

from battery.recording import Hand
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.language.languages import Text
from battery.stage.pages.builder import BACK, Maker, Next, together
from battery.stage.pages.page import Page
from battery.visits import VisitRun

CLOSE = Button("end", texts.CLOSE, "right")
UNITS = {"1": "", "{count}": ""}  # units that nobody says


class LastPages:
    """Ends visits.

    Parameters
    ----------
    make : Maker
    show_scores : bool
        Whether the numbers are offered.
    away : callable
        Returns what closing leads to.
    again : callable
        Goes on with the visit that was just ended early.
    """

    def __init__(self, make: Maker, *, show_scores: bool, away: Next, again: Next) -> None:
        self._make = make
        self._show_scores = show_scores
        self._away = away
        self._again = again

    def ended(self, visit: VisitRun | None) -> Page:
        """End a visit early, if there is one."""
        if visit is not None:
            visit.end("stopped")
        lines = texts.ENDED_LINES if visit is not None else (texts.OTHER_LINES[1],)
        return self._make.text(
            "ended",
            texts.ENDED_TITLE,
            lines,
            (CLOSE, Button("back", texts.AFTER_ALL, "left", main=False)),
            lambda key: self._again() if key == "back" else self._away(),
            stop=False,
        )

    def thanks(self, visit: VisitRun | None) -> Page:
        """End a visit that is done and say what was done in it."""
        if visit is not None:
            visit.end("finished")
        tasks = tested(visit)
        if not tasks:
            return self._nothing(visit)
        done = (texts.DONE_LINE.format(tasks=together(tasks)),)
        numbers = self._number_lines(visit) if self._show_scores else ()
        more = (Button("numbers", texts.NUMBERS, "left", main=False),) if numbers else ()
        return self._make.text(
            "thanks",
            texts.THANKS_TITLE,
            (*done, *texts.THANKS_LINES),
            (CLOSE, *more),
            lambda key: self._numbers(visit, numbers) if key == "numbers" else self._away(),
            sign="done",
            stop=False,
        )

    def _nothing(self, visit: VisitRun | None) -> Page:
        """Say that no part was done, so that nobody takes the visit for done."""
        again = visit is not None and bool(visit.todo)
        more = (Button("back", texts.AFTER_ALL, "left", main=False),) if again else ()
        return self._make.text(
            "nothing done",
            texts.THANKS_TITLE,
            texts.NOTHING_LINES,
            (CLOSE, *more),
            lambda key: self._again() if key == "back" else self._away(),
            stop=False,
        )

    def _numbers(self, visit: VisitRun | None, lines: Sequence[Text]) -> Page:
        return self._make.text(
            "numbers",
            texts.NUMBERS_TITLE,
            (*lines, texts.NUMBERS_NOTE),
            (BACK,),
            lambda _: self.thanks(visit),
            stop=False,
        )

    def _number_lines(self, visit: VisitRun | None) -> tuple[Text, ...]:
        """Say the main measure of each task of the visit, on one line a hand."""
        if visit is None:
            return ()
        from battery.scoring.measures import PRIMARY

        numbers: dict[Hand, list[Text]] = {}
        for record in visit.store.records.of_visit(visit.header.visit_id):
            header = record.header
            measure = PRIMARY[header.task]
            for row in visit.store.scores.of_block(header.block_id):
                if row.measure == measure.name and not math.isnan(row.value):
                    numbers.setdefault(header.hand, []).append(
                        texts.NUMBER.format(
                            task=texts.NAMES[header.task],
                            value=texts.number_words(f"{row.value:.3g}"),
                            unit=UNITS.get(measure.unit, measure.unit),
                        )
                    )
        return tuple(
            texts.NUMBERS_LINE.format(hand=texts.HANDS[hand], numbers=together(told))
            for hand, told in numbers.items()
        )


def tested(visit: VisitRun | None) -> list[Text]:
    """List the tasks of which a block was finished, in the order in which they were done."""
    if visit is None:
        return []
    records = visit.store.records.of_visit(visit.header.visit_id)
    done = [
        r.header.task for r in records if r.header.phase == "test" and r.ending == "finished"
    ]
    return [texts.NAMES[task] for task in dict.fromkeys(done)]
