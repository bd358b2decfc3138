"""Makes the pages of a visit alike: profile, side, Stop, help and the staff's way out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from battery.recording import Hand
from battery.stage.drawing.demonstration import Demonstration
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.language.languages import Text
from battery.stage.pages.page import Page, Picture, TextPage
from battery.stage.pages.rating import ScalePage
from battery.stage.pages.watching import WatchPage
from battery.stage.pages.which_hand import WhichHandPage

After = Callable[[str], Page | None]
Next = Callable[[], Page | None]
Step = Callable[[Next, Next | None], Page | None]

BACK = Button("back", texts.BACK, "left", main=False)


@dataclass
class Maker:
    """What all pages of a visit share.

    Parameters
    ----------
    large : bool
        The large profile.
    side : {"left", "right"}
        Hand that presses where none is asked for.
    stopped : callable
        Gets a way back and returns the page after Stop.
    help_page, staff_page : callable
        Get a page and return the one that comes back to it.
    brief : bool
        Only titles are spoken when a page opens: for who has heard them twice.
    where : callable
        Says how far the visit is; by default nothing.
    """

    large: bool
    side: Hand
    stopped: Callable[[Next], Page | None]
    help_page: Callable[[Page], Page] | None
    staff_page: Callable[[Page], Page] | None
    brief: bool = False
    where: Callable[[], str] = str

    def text(
        self,
        name: str,
        title: Text,
        lines: Sequence[Text],
        buttons: tuple[Button, ...],
        after: After,
        *,
        hand: Hand | None = None,
        picture: Picture | None = None,
        choices: tuple[Button, ...] = (),
        answers: tuple[str, ...] = (),
        full: bool = False,
        stop: bool = True,
        wait_s: float = 0.0,
        sign: str = "",
    ) -> TextPage:
        """Make a page with words, and a picture or choices; `full` is always read out whole."""
        page = TextPage(
            name,
            title,
            tuple(lines),
            buttons,
            after,
            picture=picture,
            choices=choices,
            answers=answers,
            wait_s=wait_s,
            wait_line=texts.REST_WAIT,
            sign=sign,
            **self.shared(hand, stop=stop) | ({"brief": False} if full else {}),
        )
        return self.with_stop(page)

    def watch(
        self, name: str, title: Text, picture: Demonstration, after: After, *, hand: Hand
    ) -> TextPage:
        """Make a page on which a task is shown in its own size."""
        ways = (Button("go", texts.GO_ON, "right"),)
        shared = self.shared(hand, stop=True) | {"brief": False}
        return self.with_stop(
            WatchPage(name, title, (), ways, after, picture=picture, **shared)
        )

    def scale(
        self,
        name: str,
        title: Text,
        line: Text,
        after: Callable[[int], Page | None],
        *,
        back: Next | None,
        given: int | None = None,
        earlier: int | None = None,
        sign: str = "",
    ) -> ScalePage:
        """Make a question from 0 to 10; `after` gets the number."""
        ways = (*((BACK,) if back is not None else ()), Button("go", texts.GO_ON, "right"))

        def done(key: str) -> Page | None:
            if key == "back" and back is not None:
                return back()
            return after(page.value if page.value is not None else 0)

        shown = () if earlier is None else (texts.EARLIER_LINE.format(number=earlier),)
        page = ScalePage(
            name,
            title,
            (line, *shown),
            ways,
            done,
            value=given,
            earlier=earlier,
            sign=sign,
            **self.shared(None, stop=True),
        )
        self.with_stop(page)
        return page

    def choice(
        self,
        name: str,
        title: Text,
        lines: Sequence[Text],
        choices: Sequence[tuple[str, Text]],
        after: Callable[[str], Page | None],
        *,
        back: Next | None,
        full: bool = False,
    ) -> TextPage:
        """Make a question with up to five answers; `after` gets the one that was pressed."""

        def done(key: str) -> Page | None:
            return back() if key == "back" and back is not None else after(key)

        return self.text(
            name,
            title,
            lines,
            (BACK,) if back is not None else (),
            done,
            choices=tuple(Button(key, word, main=False) for key, word in choices),
            full=full,
        )

    def yes_no(
        self,
        name: str,
        title: Text,
        lines: Sequence[Text],
        answers: tuple[tuple[str, Text], tuple[str, Text]],
        after: Callable[[str], Page | None],
        *,
        back: Next | None,
    ) -> TextPage:
        """Make a question with two answers at the foot, the usual one last.

        It follows pages whose answers stand higher, so that no answer lies under another.
        """
        (rare, rarely), (usual, usually) = answers
        buttons = (
            Button(rare, rarely, "centre" if back is not None else "left", main=False),
            Button(usual, usually, "right", main=False),
        )

        def done(key: str) -> Page | None:
            return back() if key == "back" and back is not None else after(key)

        return self.text(
            name,
            title,
            lines,
            (*((BACK,) if back is not None else ()), *buttons),
            done,
            answers=(rare, usual),
        )

    def which_hand(self, name: str, title: Text, after: After) -> WhichHandPage:
        """Ask for a hand; `after` gets left, right or not_sure."""
        page = WhichHandPage(
            name,
            title,
            (),
            (Button("not_sure", texts.NOT_SURE, "centre", main=False),),
            after,
            **self.shared(None, stop=True),
        )
        self.with_stop(page)
        return page

    def shared(self, hand: Hand | None, *, stop: bool) -> dict[str, Any]:
        """Return what all pages are made with."""
        return {
            "hand": hand,
            "side": self.side,
            "stop": stop,
            "help_page": self.help_page,
            "staff_page": self.staff_page,
            "large": self.large,
            "brief": self.brief,
            "where": self.where(),
        }

    def with_stop(self, page: TextPage) -> TextPage:
        """Let Stop lead to the stopped page, from where the way leads back to this one."""
        own = page.after
        page.after = lambda key: self.stopped(lambda: page) if key == "stop" else own(key)
        return page


def chain(steps: Sequence[Step], done: Next, *, back: Next | None = None) -> Page | None:
    """Return the first of some pages of which each leads to the next and back.

    Parameters
    ----------
    steps : sequence of callable
    done : callable
        Returns what follows the last one.
    back : callable or None
        Returns what stands before the first one.
    """

    def at(number: int) -> Page | None:
        if number == len(steps):
            return done()
        before = (lambda: at(number - 1)) if number else back
        return steps[number](lambda: at(number + 1), before)

    return at(0)


def together(words: Sequence[Text]) -> Text:
    """Put words one after another, with commas."""
    said = words[0]
    for word in words[1:]:
        said = texts.DONE_TWO.format(first=said, second=word)
    return said
