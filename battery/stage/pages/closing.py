"""The last pages: thanks in plain words, the numbers for who wants them, an early end."""

from __future__ import annotations

import math
from collections.abc import Sequence

from battery.stage.drawing.canvas import Button
from battery.stage.language import texts
from battery.stage.language.languages import Text
from battery.stage.pages.builder import BACK, Maker
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
    """

    def __init__(self, make: Maker, *, show_scores: bool) -> None:
        self._make = make
        self._show_scores = show_scores

    def ended(self, visit: VisitRun | None) -> Page:
        """End a visit early, if there is one."""
        if visit is not None:
            visit.end("stopped")
        lines = texts.ENDED_LINES if visit is not None else (texts.OTHER_LINES[1],)
        return self._make.text(
            "ended",
            texts.THANKS_TITLE,
            lines,
            (CLOSE,),
            lambda _: None,
            sign="done",
            stop=False,
        )

    def thanks(self, visit: VisitRun | None) -> Page:
        """End a visit that is done and say what was done in it."""
        if visit is not None:
            visit.end("finished")
        tasks = tested(visit)
        done = (texts.DONE_LINE.format(tasks=together(tasks)),) if tasks else ()
        numbers = self._number_lines(visit) if self._show_scores else ()
        more = (Button("numbers", texts.NUMBERS, "left", main=False),) if numbers else ()
        return self._make.text(
            "thanks",
            texts.THANKS_TITLE,
            (*done, *texts.THANKS_LINES),
            (CLOSE, *more),
            lambda key: self._numbers(visit, numbers) if key == "numbers" else None,
            sign="done",
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
        """Say the main measure of each task and hand of the visit."""
        if visit is None:
            return ()
        from battery.scoring.measures import PRIMARY

        lines = []
        for record in visit.store.blocks(visit.header.visit_id):
            header = record.header
            measure = PRIMARY[header.task]
            for row in visit.store.block_scores(header.block_id):
                if row.measure == measure.name and not math.isnan(row.value):
                    lines.append(
                        texts.NUMBERS_LINE.format(
                            task=texts.NAMES[header.task],
                            hand=texts.HANDS[header.hand],
                            value=f"{row.value:.3g}",
                            unit=UNITS.get(measure.unit, measure.unit),
                        )
                    )
        return tuple(lines)


def tested(visit: VisitRun | None) -> list[Text]:
    """List the tasks of which a block was finished, in the order in which they were done."""
    if visit is None:
        return []
    records = visit.store.blocks(visit.header.visit_id)
    done = [
        r.header.task for r in records if r.header.phase == "test" and r.ending == "finished"
    ]
    return [texts.NAMES[task] for task in dict.fromkeys(done)]


def together(words: Sequence[Text]) -> Text:
    """Put words one after another, with commas."""
    said = words[0]
    for word in words[1:]:
        said = texts.DONE_TWO.format(first=said, second=word)
    return said
