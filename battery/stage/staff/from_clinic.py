"""What staff take from the clinic's drive by touch: a person by the card, the clinic's keys."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

import pygame

from battery.drives import drives
from battery.errors import BatteryError
from battery.people import CODE_ALPHABET, PICTURES
from battery.stage.drawing.avatars import Token, token_picture
from battery.stage.drawing.canvas import Canvas
from battery.stage.drawing.places import Button
from battery.stage.language import texts
from battery.stage.language.languages import Text
from battery.stage.pages.builder import BACK, Maker, Next
from battery.stage.pages.pad import PadPage, code_allowed, pad_page
from battery.stage.pages.page import Page
from battery.store import Store

if TYPE_CHECKING:
    from battery.handover import PersonCard
    from battery.handover.keys import Card

AT_ONCE = 4  # cards to choose from; with more of them the code is typed
AGAIN = Button("again", texts.AGAIN, "right")
CLOSE = Button("end", texts.CLOSE, "right")
GO = Button("go", texts.GO_ON, "right")


class Row:
    """Pictures side by side, to be compared; they do not move.

    Parameters
    ----------
    names : tuple of str
        Of `battery.people.PICTURES`.
    """

    beside = False

    def __init__(self, names: tuple[str, ...]) -> None:
        self._names = names

    def begin(self, canvas: Canvas, room: pygame.Rect) -> None:
        """Draw them in one row, above the buttons even where there is room between these."""
        body = canvas.body
        room = pygame.Rect(body.left, room.top, body.width, body.bottom - room.top)
        n_names = len(self._names)
        gap = canvas.px(4)
        side = min((room.width - (n_names - 1) * gap) // n_names, room.height, canvas.px(26))
        left = room.centerx - (n_names * (side + gap) - gap) // 2
        for place, name in enumerate(self._names):
            picture = token_picture(canvas, PICTURES.index(name), side)
            at = (left + place * (side + gap), room.centery - side // 2)
            canvas.surface.blit(picture, at)

    def step(self, shown_s: float) -> list[pygame.Rect]:
        """Nothing moves."""
        del shown_s
        return []


class FromClinic:
    """The pages behind “New person” and “Pair with the clinic”.

    Parameters
    ----------
    store : Store
    make : Maker
    told : callable
        Gets lines for staff.
    """

    def __init__(self, store: Store, make: Maker, *, told: Callable[[str], None]) -> None:
        self._store, self._make, self._told = store, make, told

    def new_person(self, done: Next) -> Page | None:
        """Look for cards of people who are not here yet, and ask whose it is."""
        from battery.handover import person_cards
        from battery.handover.person_card import PERSON_CARD

        here = {person.code for person in self._store.people.all()}
        found: dict[str, PersonCard] = {}
        for drive in drives(PERSON_CARD):
            try:
                cards, problems = person_cards(self._store, drive.folder)
            except BatteryError as error:
                self._told(f"card: {error}")
                continue
            for line in problems:
                self._told(f"card: {line}")
            found |= {card.code: card for card in cards if card.code not in here}
        if not found:
            return self._none("no card", texts.NO_CARD_FOUND_TITLE, self.new_person, done)
        ask = partial(self._is_it, found, done)
        if len(found) > AT_ONCE:
            return self._typed(found, ask, done)
        return self._make.text(
            "which card",
            texts.WHICH_CARD_TITLE,
            (),
            (BACK,),
            lambda key: ask(key) if key in found else done(),
            choices=tuple(Button(code, code, main=False) for code in found),
            stop=False,
        )

    def _typed(
        self, found: dict[str, PersonCard], ask: Callable[[str], Page], done: Next
    ) -> Page:
        def after(page: PadPage, key: str) -> Page | None:
            return ask(page.typed) if key == "go" else done()

        return pad_page(
            "card code", texts.CARD_CODE_TITLE, (BACK, GO), after, keys=CODE_ALPHABET,
            least=4, most=4, allowed=code_allowed(found),
        )  # fmt: skip

    def _is_it(self, found: dict[str, PersonCard], done: Next, code: str) -> Page:
        card = found[code]
        return self._make.text(
            "card picture",
            texts.CARD_PICTURE_TITLE.format(code=code),
            (texts.CARD_PICTURE_LINE,),
            (
                Button("other", texts.CARD_OTHER, "left", main=False),
                Button("same", texts.CARD_SAME, "right"),
            ),
            lambda key: self._take(card, done) if key == "same" else self.new_person(done),
            picture=Token(card.picture),
            stop=False,
        )

    def _take(self, card: PersonCard, done: Next) -> Page:
        from battery.handover import take_person_card

        try:
            for line in take_person_card(self._store, card):
                self._told(f"card: {line}")
        except BatteryError as error:
            self._told(f"card: {error}")
            return self._said("card refused", texts.CARD_REFUSED_TITLE, done, sign="")
        return self._said("card taken", texts.CARD_TAKEN_TITLE.format(code=card.code), done)

    def pair(self, done: Next) -> Page | None:
        """Look for the clinic's card and have its fingerprint compared."""
        from battery.handover.keys import CARD, found_cards

        for drive in drives(CARD):
            try:
                cards = found_cards(drive.folder)
            except BatteryError as error:
                self._told(f"pairing: {error}")
                continue
            return self._compare(cards, 0, done)
        return self._none("no clinic", texts.NO_CLINIC_TITLE, self.pair, done)

    def _compare(self, cards: list[Card], place: int, done: Next) -> Page:
        """Show each key of the clinic, the spare one included."""
        from battery.handover import mark_pictures, mark_words

        mark = cards[place].fingerprint

        def after(key: str) -> Page | None:
            if key != "same":
                return self._said("not paired", texts.NOT_PAIRED_TITLE, done, sign="")
            if place + 1 < len(cards):
                return self._compare(cards, place + 1, done)
            return self._paired(cards, done)

        return self._make.text(
            "compare clinic",
            texts.COMPARE_TITLE,
            (texts.MARK_LINE.format(words=mark_words(mark), digits=mark),),
            (
                Button("other", texts.MARK_OTHER, "left", main=False),
                Button("same", texts.MARK_SAME, "right"),
            ),
            after,
            picture=Row(mark_pictures(mark)),
            stop=False,
        )

    def _paired(self, cards: list[Card], done: Next) -> Page:
        from battery.handover import make_tablet_keys, mark_pictures, mark_words

        own = make_tablet_keys(self._store, cards, [card.fingerprint for card in cards])
        self._told(f"paired; tablet key {own}")
        return self._make.text(
            "paired",
            texts.PAIRED_TITLE,
            (texts.PAIRED_LINE, texts.MARK_LINE.format(words=mark_words(own), digits=own)),
            (CLOSE,),
            lambda _: done(),
            picture=Row(mark_pictures(own)),
            stop=False,
        )

    def _none(
        self, name: str, title: Text, again: Callable[[Next], Page | None], done: Next
    ) -> Page:
        return self._make.text(
            name,
            title,
            (texts.NO_CARD_FOUND_LINE,),
            (BACK, AGAIN),
            lambda key: again(done) if key == "again" else done(),
            stop=False,
        )

    def _said(self, name: str, title: Text, done: Next, *, sign: str = "done") -> Page:
        lines = () if sign else (texts.NOT_CHANGED_LINE,)
        return self._make.text(
            name, title, lines, (CLOSE,), lambda _: done(), stop=False, sign=sign
        )
