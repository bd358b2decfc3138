"""Enrolment: a person under a random code, with a picture to know oneself by."""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType
from typing import TYPE_CHECKING, get_args

from battery.errors import UsageError
from battery.moments import utc_text
from battery.recording import HANDS, Hand
from battery.store import AffectedSide, Person

if TYPE_CHECKING:
    from battery.store import Store

# No letter or digit that is taken for another (0 O, 1 I L, 2 Z, 5 S, 6 G, 8 B), no vowel, so
# that no code is a word.
CODE_ALPHABET = "3479CDFHJKMNPQRTVWXY"
CODE_LENGTH = 4
NO_NAMES: Mapping[str, str] = MappingProxyType({})
PICTURE = "picture"
PICTURES = ("house", "boat", "tree", "cup", "key", "star", "fish", "sun")


def new_code() -> str:
    """Draw a code at random; it says nothing about the person."""
    return "".join(secrets.choice(CODE_ALPHABET) for _ in range(CODE_LENGTH))


def new_person(
    store: Store,
    *,
    dominant_hand: str,
    affected_side: str,
    first_hand: str | None,
    now: datetime,
    n_familiarisation: int = 2,
    n_baseline: int = 4,
) -> Person:
    """Enrol a person and return the record.

    Raises
    ------
    UsageError
        If a hand or side is not one of the words.
    """
    _one_of("dominant hand", dominant_hand, HANDS)
    _one_of("affected side", affected_side, get_args(AffectedSide))
    if first_hand is not None:
        _one_of("first hand", first_hand, HANDS)
    less_affected = {"left": "right", "right": "left"}.get(affected_side, dominant_hand)
    taken = {person.code for person in store.people.all()}
    taken |= {tombstone.code for tombstone in store.erasure.tombstones()}
    code = new_code()
    while code in taken:
        code = new_code()
    person = Person(
        code=code,
        dominant_hand=_hand(dominant_hand),
        affected_side=affected_side,  # type: ignore[arg-type]  # checked above
        first_hand=_hand(first_hand or less_affected),
        enrolled_utc=utc_text(now, "seconds"),
        n_familiarisation=n_familiarisation,
        n_baseline=n_baseline,
    )
    picture = free_picture(store)
    store.people.add(person)
    store.setup.put_setting(f"{PICTURE}:{code}", picture)
    return person


def person_label(person: Person, names: Mapping[str, str] = NO_NAMES) -> str:
    """Return how a person is named on screens and pages: by the code, and where known by name.

    The only reader of names. What leaves the clinic (pages, exports, bundles) and what is typed
    (commands) goes by the code itself.

    Parameters
    ----------
    person : Person
    names : mapping of str to str
        By code; none but where somebody has opened the file of names.
    """
    name = names.get(person.code)
    return f"{name} ({person.code})" if name else person.code


def picture_of(store: Store, code: str) -> str:
    """Return the name of a person's picture; who has none is given one that is free.

    It belongs to the person and goes with them: nobody's changes when another is erased.
    """
    held = picture_held(store, code)
    if held:
        return held
    picture = free_picture(store)
    store.setup.put_setting(f"{PICTURE}:{code}", picture)
    return picture


def picture_held(store: Store, code: str) -> str:
    """Return the name of the picture a person was given; empty before that."""
    held = store.setup.setting(f"{PICTURE}:{code}")
    return str(held) if held in PICTURES else ""


def free_picture(store: Store) -> str:
    """Return the picture that the fewest people of this store have, the first of several."""
    held = Counter(
        store.setup.setting(f"{PICTURE}:{person.code}") for person in store.people.all()
    )
    return min(PICTURES, key=lambda name: held[name])


def _one_of(what: str, value: str, words: tuple[str, ...]) -> None:
    if value not in words:
        msg = f"{what} {value!r}: say {' or '.join(words)}"
        raise UsageError(msg, field=what.replace(" ", "_"))


def _hand(word: str) -> Hand:
    return "left" if word == "left" else "right"
