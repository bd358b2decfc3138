"""A person's card from the clinic to a tablet: who it is, and what is to be done.

The clinic signs it, as it does receipts. It holds the code, the picture, hands, plans, how
pages look and sound, and no name; whoever finds the stick can read it. What a tablet has
already is never overwritten: a person who is enrolled there as somebody else is refused, and a
plan that contradicts is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from battery import forms
from battery.comfort import latest_of, said_words
from battery.errors import HandoverError, NewerFormatError
from battery.files import inside
from battery.handover.folder_files import files_in, read_plain
from battery.handover.keys import Card, clinic_keys, clinics_of
from battery.handover.signed import FormatForm, Signed
from battery.moments import utc_text
from battery.own_plan import contradiction_words, own_plan, plan_words
from battery.people import PICTURE, PICTURES, picture_of
from battery.store import Person, Store
from battery.store.arrival import Rows
from battery.store.fitting import hold_row
from battery.store.form import complete
from battery.store.reach import tables_beside
from tasks.plain import to_plain

PERSON_CARD = ".person"
FORMAT = 1
SIGNED_AS = b"coordination-battery person 1\n"
MAX_BYTES = 1_000_000
MAX_ROWS = 500
TRAVELS = ("person_plans", "home_plans", "comforts")  # tables whose rows go to the tablet
NEWER = (
    "a later program of the clinic wrote it; nothing was changed here. Update the program of "
    "this tablet, then try again"
)


class _CardForm(FormatForm):
    made_utc: forms.Moment
    person: forms.PersonForm
    picture: Literal[PICTURES]  # type: ignore[valid-type]
    rows: dict[str, Annotated[list[dict[str, Any]], Field(max_length=MAX_ROWS)]]


SIGNED = Signed(
    _CardForm,
    FORMAT,
    SIGNED_AS,
    what="card of a person",
    unharmed="nothing was changed",
    newer=NEWER,
)


@dataclass(frozen=True, slots=True)
class PersonCard:
    """What a card says."""

    person: Person
    picture: str
    rows: Rows

    @property
    def code(self) -> str:
        """Of the person."""
        return self.person.code


def write_person_card(store: Store, code: str, folder: Path, *, now: datetime) -> Path:
    """Write the card of a person into a folder, in place of an earlier one.

    Raises
    ------
    UsageError
        If nobody has the code.
    HandoverError
        If the clinic has no keys yet.
    StoreError
        If it cannot be written.
    """
    person = store.people.get(code)
    picture = picture_of(store, code)
    beside = store.bundles.beside_person(code).person
    body = {
        "made_utc": utc_text(now, "seconds"),
        "person": to_plain(person),
        "picture": picture,
        "rows": {name: beside[name] for name in TRAVELS if name in beside}
        | _comforts(store, code),
    }
    path = inside(folder, f"{code}{PERSON_CARD}")
    return SIGNED.write(path, body, clinic_keys(store).signer)


def person_cards(store: Store, folder: Path) -> tuple[list[PersonCard], list[str]]:
    """Read the cards of a folder that this tablet's clinic has signed.

    Returns
    -------
    cards : list of PersonCard
        In order of the code.
    problems : list of str
        Cards that could not be used, one line each.

    Raises
    ------
    HandoverError
        If this tablet knows no clinic, or the folder cannot be read.
    """
    clinics = clinics_of(store)
    if not clinics:
        msg = "this tablet knows no clinic; pair it first. Nothing was changed"
        raise HandoverError(msg)
    found: list[PersonCard] = []
    problems = []
    for path in files_in(folder, PERSON_CARD):
        try:
            found.append(_read(read_plain(path, most_bytes=MAX_BYTES), clinics))
        except HandoverError as error:
            problems.append(f"{path.name!r}: {error}")
    return sorted(found, key=lambda card: card.code), problems


def take_person_card(store: Store, card: PersonCard) -> list[str]:
    """Enrol a person as the card says, or take what is new in it; say what happened.

    Raises
    ------
    HandoverError
        If the code is enrolled here as somebody else, or was erased here.
    """
    code = card.code
    known = {person.code: person for person in store.people.all()}
    if code in known and asdict(known[code]) != asdict(card.person):
        msg = (
            f"{code} is enrolled differently here; nothing was overwritten. Ask the clinic "
            "which enrolment holds"
        )
        raise HandoverError(msg)
    if code in {tombstone.code for tombstone in store.erasure.tombstones()}:
        msg = f"{code} was erased here; nothing was taken in"
        raise HandoverError(msg)
    before = {row.entry_id for row in store.care.plans(code)}
    looked = latest_of(store.care.comforts(code))
    n_changed = store.transfer.take_rows(None if code in known else card.person, card.rows)
    lines = [] if code in known else [f"{code} is enrolled here by the clinic's card"]
    if code not in known:
        store.setup.put_setting(f"{PICTURE}:{code}", card.picture)
    held = own_plan(store, code)
    if held is not None and held.row.entry_id not in before and n_changed:
        lines.append(f"{code}: {plan_words(held.row)}")
    for name, entry in latest_of(store.care.comforts(code)).items():
        was = looked.get(name)
        if was is None or was.value != entry.value:
            own = " as the person had chosen" if was and was.author == code else ""
            instead = f" in place of {was.value}{own}" if was else ""
            lines.append(f"{code}: {said_words(entry)}, set by {entry.author}{instead}")
    if held is not None and held.against:
        lines.append(contradiction_words(code, held))
    return lines


def refresh(store: Store, folder: Path) -> list[str]:
    """Take what is new in the cards of people who are enrolled here; say what happened."""
    known = {person.code for person in store.people.all()}
    cards, lines = person_cards(store, folder)
    for card in cards:
        if card.code in known:
            try:
                lines += take_person_card(store, card)
            except HandoverError as error:
                lines.append(str(error))
    return lines


def _comforts(store: Store, code: str) -> Rows:
    """Return the latest word on each thing; what was said before it stays at the clinic."""
    latest = {entry.name: asdict(entry) for entry in store.care.comforts(code)}
    return {"comforts": list(latest.values())} if latest else {}


def _read(data: bytes, clinics: Sequence[Card]) -> PersonCard:
    told = SIGNED.read(data, clinics)
    person = Person(**told.person.model_dump())
    return PersonCard(person, told.picture, _rows(told.rows, person.code))


def _rows(rows: Rows, code: str) -> Rows:
    """Hold the rows to their tables and to the person."""
    tables = {table.name: table for table in tables_beside()}
    for name, listed in rows.items():
        if name not in TRAVELS:
            raise NewerFormatError(NEWER)
        for row in listed:
            try:
                complete(tables[name], row)
                hold_row(name, row)
            except (ValueError, KeyError, TypeError) as error:
                msg = f"its {name} cannot be: {error}; nothing was changed"
                raise HandoverError(msg) from error
            if row["person"] != code:
                msg = f"its {name} speak of somebody else; nothing was changed"
                raise HandoverError(msg)
    return rows
