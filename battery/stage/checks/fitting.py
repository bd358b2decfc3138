"""Whether the screen is fit for a visit, at its start and after it was turned or changed.

A visit is recorded at one scale: its blocks are compared in millimetres. So it waits until the
tablet stands as it stood, and carries on by itself then.
"""

from __future__ import annotations

from collections.abc import Callable

from battery.errors import PlanError
from battery.plan import Plan, check_fits
from battery.recording import Screen
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.pages.builder import Next
from battery.stage.pages.card import CardPage
from battery.stage.pages.flow import VisitFlow
from battery.stage.pages.page import Page
from battery.stage.screen.window import Window


class Fitting:
    """Puts a page before another while the screen does not fit.

    Parameters
    ----------
    window : Window
    plan : Plan
    flow : VisitFlow
        Whose visit waits.
    card : callable
        Gets what follows and returns the first page that measures the screen.

    Attributes
    ----------
    refused : PlanError or None
        Why no visit was begun, after the person has closed the page that says so.
    """

    def __init__(
        self, window: Window, plan: Plan, flow: VisitFlow, card: Callable[[Next], Page]
    ) -> None:
        self._window, self._plan, self._flow, self._card = window, plan, flow, card
        self._asked: set[tuple[int, int]] = set()  # screens that a card was asked for
        self._shown: Page | None = None
        self._waiting: Page | None = None  # behind the page that was put before it
        self.refused: PlanError | None = None

    def moved(self, page: Page) -> Page | None:
        """Return what stands before a page now that the screen is another one."""
        if isinstance(page, CardPage):
            self._asked.clear()
        if self._waiting is not None and (page is self._shown or isinstance(page, CardPage)):
            page = self._waiting
        return self.before(page)

    def before(self, page: Page) -> Page | None:
        """Return what stands before a page; the page itself if nothing does."""
        screen, desktop_px = self._window.screen, self._window.desktop_px
        upright = screen.height_px > screen.width_px
        self._waiting = page
        if screen.scale_source == "guess" and not upright and desktop_px not in self._asked:
            self._asked.add(desktop_px)
            return self._card(lambda: self.before(page))
        try:
            check(self._plan, screen)
        except PlanError as error:
            self._shown = self._unfit(error, upright=upright)
            return self._shown
        if not self._is_own(screen):
            self._shown = self._other()
            return self._shown
        self._waiting = None
        return page

    def _is_own(self, screen: Screen) -> bool:
        """Whether what is recorded here can stand in the visit that was begun."""
        visit = self._flow.visit
        return visit is None or visit.header.device.screen.has_scale_of(screen)

    def _unfit(self, error: PlanError, *, upright: bool) -> Page:
        begun = self._flow.visit is not None
        lines = texts.TURN_LINES if upright else texts.TOO_SMALL_LINES
        kept = texts.ENDED_LINES[0] if begun else texts.NOTHING_RECORDED

        def closed(_: str) -> Page | None:
            if begun:
                return self._flow.ended()
            self.refused = error
            return None

        return self._flow.make.text(
            "turn",
            texts.TURN_TITLE if upright else texts.TOO_SMALL_TITLE,
            (*lines, kept),
            (Button("end", texts.END if begun else texts.CLOSE, "right", main=not begun),),
            closed,
            stop=False,
        )

    def _other(self) -> Page:
        return self._flow.make.text(
            "other screen",
            texts.OTHER_SCREEN_TITLE,
            (*texts.OTHER_SCREEN_LINES, texts.ENDED_LINES[0]),
            (Button("end", texts.END, "right", main=False),),
            lambda _: self._flow.ended(),
            stop=False,
        )


def check(plan: Plan, screen: Screen) -> None:
    """Refuse a screen that a plan does not fit.

    Nothing is known of an unmeasured screen but its shape; upright, the card pages do not fit.

    Raises
    ------
    PlanError
        With both sizes.
    """
    if screen.scale_source != "guess":
        check_fits(plan, screen)
    elif screen.height_px > screen.width_px:
        msg = (
            f"this screen stands upright ({screen.width_px} x {screen.height_px} px); turn the "
            "tablet. Nothing was recorded"
        )
        raise PlanError(msg)
