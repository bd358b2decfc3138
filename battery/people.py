"""Who is enrolled, under which code, and who is due."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, get_args

from battery.errors import UsageError
from battery.recording import HANDS, Hand
from battery.store import AffectedSide, Person

if TYPE_CHECKING:
    from battery.store import Store

# No letter or digit that is taken for another (0 O, 1 I L, 2 Z, 5 S, 6 G, 8 B), no vowel, so
# that no code is a word.
CODE_ALPHABET = "3479CDFHJKMNPQRTVWXY"
CODE_LENGTH = 4
WEEK_DAYS = 7
TOLERANCE_DAYS = 2


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
    taken = {person.code for person in store.list_people()}
    code = new_code()
    while code in taken:
        code = new_code()
    person = Person(
        code=code,
        dominant_hand=_hand(dominant_hand),
        affected_side=affected_side,  # type: ignore[arg-type]  # checked above
        first_hand=_hand(first_hand or less_affected),
        enrolled_utc=now.astimezone(UTC).isoformat(timespec="seconds"),
    )
    store.add_person(person)
    return person


@dataclass(frozen=True, slots=True)
class CaseloadRow:
    """One line of the list of people."""

    code: str
    n_visits: int
    last_visit: str
    days_ago: str
    state: str


def caseload(store: Store, *, now: datetime) -> list[CaseloadRow]:
    """List everybody, those who wait longest first.

    A visit is due after a week, give or take two days, and overdue after that.
    """
    rows: list[tuple[float, CaseloadRow]] = []
    for person in store.list_people():
        visits = store.visits(person.code)
        if not visits:
            row = CaseloadRow(person.code, 0, "", "", "no visit yet")
            rows.append((float("inf"), row))
            continue
        last = max(datetime.fromisoformat(v.header.started_utc) for v in visits)
        days = (now - last).total_seconds() / 86_400
        if days > WEEK_DAYS + TOLERANCE_DAYS:
            state = "overdue"
        elif days >= WEEK_DAYS - TOLERANCE_DAYS:
            state = "due"
        else:
            state = "not due yet"
        row = CaseloadRow(
            person.code,
            len(visits),
            last.astimezone().strftime("%Y-%m-%d"),
            f"{days:.0f}",
            state,
        )
        rows.append((days, row))
    return [row for _, row in sorted(rows, key=lambda pair: -pair[0])]


def _one_of(what: str, value: str, words: tuple[str, ...]) -> None:
    if value not in words:
        msg = f"{what} {value!r}: say {' or '.join(words)}"
        raise UsageError(msg)


def _hand(word: str) -> Hand:
    return "left" if word == "left" else "right"
