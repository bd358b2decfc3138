"""The clinic takes bundles in from a folder, and answers with receipts. Safe to repeat."""

from __future__ import annotations

import base64
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path

from battery.errors import (
    BatteryError,
    ChangedMeanwhileError,
    FalseFieldError,
    HandoverError,
    NewerFormatError,
    RecordError,
    StoreError,
)
from battery.handover.bundle import pack, unseal
from battery.handover.bundle_reading import MAX_BUNDLE_BYTES, open_signed
from battery.handover.folder_files import files_in, read_plain, sha256
from battery.handover.keys import ClinicKeys, clinic_keys, fingerprint
from battery.handover.person_card import PERSON_CARD, write_person_card
from battery.handover.receipts import write_receipt
from battery.handover.sending import BUNDLE, remember
from battery.moments import length_words, utc_text
from battery.own_plan import OwnPlan, contradicting_plans, contradiction_words
from battery.scoring.score import Score
from battery.store import Store
from battery.store.arrival import Arrival, Outcome
from battery.store.base import ascii_only
from battery.store.merging import Received
from battery.store.trial_rows import TrialRow

TRIES = 4  # of one bundle, while another program receives into the same store
CLOCK_AHEAD = timedelta(minutes=5)
Wall = Callable[[], datetime]

# What became of one bundle, and of several.
OUTCOMES: Mapping[Outcome, tuple[str, str]] = {
    "new": ("1 new visit", "{n} new visits"),
    "added": (
        "1 bundle brought something new beside visits",
        "{n} bundles brought something new beside visits",
    ),
    "same": ("1 bundle was known already", "{n} bundles were known already"),
    "conflict": (
        "1 visit came in another version than before; both wait",
        "{n} visits came in another version than before; all versions wait",
    ),
    "device": (
        "1 bundle waits, as its tablet is not known here",
        "{n} bundles wait, as their tablet is not known here",
    ),
    "person": (
        "1 bundle waits, as its person is not known here or is enrolled differently",
        "{n} bundles wait, as their person is not known here or is enrolled differently",
    ),
    "erased": (
        "1 bundle of an erased person was not kept",
        "{n} bundles of erased people were not kept",
    ),
    "left out": (
        "1 bundle stays left out, as was chosen before",
        "{n} bundles stay left out, as was chosen before",
    ),
    "false": (
        "1 bundle waits, as it says what cannot be",
        "{n} bundles wait, as they say what cannot be",
    ),
    "refused": ("1 bundle was not kept", "{n} bundles were not kept"),
}


def outcome_lines(outcomes: Mapping[Outcome, int]) -> list[str]:
    """Say what became of bundles, one line each."""
    return [OUTCOMES[word][n != 1].format(n=n) for word, n in sorted(outcomes.items())]


@dataclass
class ReceiveReport:
    """What became of the bundles of a folder."""

    outcomes: Counter[Outcome] = field(default_factory=Counter)
    refused: list[str] = field(default_factory=list)
    n_newer: int = 0
    n_waiting: int = 0
    notes: list[str] = field(default_factory=list)
    new_keys: list[str] = field(default_factory=list)
    contradicting: list[tuple[str, OwnPlan]] = field(default_factory=list)

    def lines(self) -> list[str]:
        """Say it, one line each."""
        told = outcome_lines(self.outcomes)
        told = told or ["no bundle was taken in"]
        if self.n_waiting:
            told.append(f"{self.n_waiting} wait for a choice: battery quarantine")
        keys = [
            f"tablet key {mark}: compare it with 'battery keys show' on the tablet, then "
            "battery quarantine take"
            for mark in self.new_keys
        ]
        against = [contradiction_words(*both) for both in self.contradicting]
        refused = [f"refused: {line}" for line in self.refused]
        return told + refused + self.notes + against + keys


def receive(
    store: Store,
    folder: Path,
    *,
    wall: Wall,
    spare: Path | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> ReceiveReport:
    """Take in every bundle of a folder, in any order, any number of times.

    Files are left where they are. One that cannot be used is named and changes nothing.

    Parameters
    ----------
    store : Store
    folder : Path
    wall : callable
        Returns the time with its zone.
    spare : Path, optional
        The clinic's second secret key.
    progress : callable, optional
        Called with (files done, files in all).

    Raises
    ------
    HandoverError
        If the clinic has no keys yet, or the folder cannot be read.
    StoreError
        If the store or a receipt cannot be written.
    """
    keys = clinic_keys(store, spare=spare)
    report = ReceiveReport()
    paths = files_in(folder, BUNDLE)
    ahead: dict[str, timedelta] = {}
    seen = {path.stem for path in files_in(folder, PERSON_CARD)}
    known_tablets = {tablet.fingerprint for tablet in store.transfer.tablets()}
    for done, path in enumerate(paths, start=1):
        try:
            arrival = open_bundle(path, keys)
            report.outcomes[_admitted(store, arrival, wall=wall)] += 1
            seen.add(arrival.person.code)
            ahead[arrival.fingerprint] = max(
                datetime.fromisoformat(arrival.made_utc) - wall(),
                ahead.get(arrival.fingerprint, timedelta()),
            )
        except (HandoverError, RecordError) as error:
            report.n_newer += isinstance(error, NewerFormatError)
            told = " ".join(ascii_only(str(error)).split())  # one line, whatever is in the file
            if isinstance(error, FalseFieldError):
                outcome = _set_aside(store, error, told, wall)
                report.outcomes[outcome] += outcome != "refused"
                if outcome == "left out":
                    continue
            report.refused.append(f"{path.name!r}: {told[:300]}")
        except StoreError as error:
            told = str(error).replace("; nothing was changed", "")
            msg = (
                f"{told}; at {path.name!r}, {done} of {len(paths)}. Bundles before it are "
                "taken in and stay so; run 'battery receive' again"
            )
            raise StoreError(msg) from error
        if progress is not None:
            progress(done, len(paths))
    remember(store, folder)
    write_receipts(store, folder, keys, wall=wall)
    planned = {row.person for row in store.care.plans()}
    planned |= {entry.person for entry in store.care.home_plans()}
    planned |= {entry.person for entry in store.care.comforts()}
    for code in sorted(seen & planned):
        write_person_card(store, code, folder, now=wall())
    report.notes += missing_lines(store.transfer.received())
    report.contradicting = contradicting_plans(store)
    report.notes += [
        f"tablet {mark}: its clock is {length_words(by)} ahead of this one; set one of them "
        "right, dates of visits depend on it"
        for mark, by in sorted(ahead.items())
        if by > CLOCK_AHEAD
    ]
    report.n_waiting = len(store.transfer.quarantine())
    new = {
        w.fingerprint for w in store.transfer.quarantine() if w.reason == "device"
    } - known_tablets
    report.new_keys = sorted(new)
    return report


def open_bundle(path: Path, keys: ClinicKeys) -> Arrival:
    """Read, open and check one file.

    Raises
    ------
    HandoverError
        If it cannot be used; the line says why.
    """
    sealed = read_plain(path, most_bytes=MAX_BUNDLE_BYTES)
    return open_signed(unseal(sealed, keys.identities))


def _admitted(store: Store, arrival: Arrival, *, wall: Wall) -> Outcome:
    """Take an arrival in; what it says wrongly about what is here is a false field too."""
    for _ in range(TRIES - 1):
        try:
            return admit(store, arrival, wall=wall)
        except ChangedMeanwhileError:  # two receive at once; what is stored is read again
            continue
        except HandoverError:
            break  # it is said below
    try:
        return admit(store, arrival, wall=wall)
    except NewerFormatError:
        raise
    except HandoverError as error:
        raise FalseFieldError(
            str(error),
            content=arrival.content,
            public=base64.b64decode(arrival.public_key),
            code=arrival.person.code,
        ) from error


def _set_aside(store: Store, error: FalseFieldError, told: str, wall: Wall) -> Outcome:
    return store.transfer.set_aside_false(
        fingerprint=fingerprint(error.public),
        public_key=base64.b64encode(error.public).decode(),
        person=error.code,
        sha256=sha256(error.content),
        content=error.content,
        why=told[:300],
        at_utc=utc(wall),
    )


def admit(store: Store, arrival: Arrival, *, wall: Wall, item: str | None = None) -> Outcome:
    """Take an arrival in, with its scores; `item` names it if it waited until now."""
    stored = None
    if arrival.visit is not None:
        held = store.transfer.visit_sha256(arrival.visit.header.visit_id)
        if held is not None and held != arrival.visit.content_sha256:
            stored = _packed_now(store, arrival.visit.header.visit_id, held, wall)
        elif held is None:
            arrival = scored(arrival)
    now_utc = utc(wall)
    if item is not None:
        return store.transfer.release(item, arrival, at_utc=now_utc, stored=stored)
    return store.transfer.admit(arrival, at_utc=now_utc, stored=stored)


def scored(arrival: Arrival) -> Arrival:
    """Score the test blocks; a block that cannot be scored has no scores and no trials."""
    if arrival.visit is None:
        return arrival
    # What only lists or sends does not wait for the libraries of computing.
    from battery.scoring import score_block
    from battery.scoring.trials import rows_to_keep

    screen = arrival.visit.header.device.screen
    scores: dict[str, Sequence[Score]] = {}
    trials: dict[str, Sequence[TrialRow] | None] = {}
    for block in arrival.visit.blocks:
        test = block.header.phase == "test"
        try:
            found = score_block(block, screen=screen) if test else []
        except (BatteryError, ValueError, ArithmeticError, LookupError, TypeError):
            continue  # 'battery rescore' says what is wrong with it; the record is kept
        scores[block.header.block_id] = found
        trials[block.header.block_id] = rows_to_keep(block)
    return replace(arrival, scores=scores, trials=trials)


def _packed_now(store: Store, visit_id: str, held: str, wall: Wall) -> Arrival:
    """Pack a stored visit; where another program takes it away meanwhile, say that."""
    try:
        return _packed(store, visit_id, wall)
    except BatteryError as error:
        if store.transfer.visit_sha256(visit_id) == held:
            raise
        msg = f"visit {visit_id} was changed by another program; nothing was changed here"
        raise ChangedMeanwhileError(msg) from error


def _packed(store: Store, visit_id: str, wall: Wall) -> Arrival:
    """Pack a stored visit with what lies beside it, as it would have come."""
    whole = store.transfer.whole_visit(visit_id)
    header = whole.header
    person = store.people.get(header.person)
    beside = store.bundles.beside_visit(visit_id, header.device.alias)
    content = pack(
        number=0,
        previous_sha256="",
        replaces=(),
        made_utc=utc(wall),
        device=header.device,
        person=person,
        visit=whole,
        beside=beside,
    )
    return Arrival(
        fingerprint="",
        public_key="",
        number=0,
        sha256=sha256(content),
        previous_sha256="",
        replaces=(),
        made_utc=utc(wall),
        device=header.device,
        person=person,
        visit=whole,
        beside=beside,
        content=content,
    )


def write_receipts(store: Store, folder: Path, keys: ClinicKeys, *, wall: Wall) -> None:
    """Write a receipt for every accepted tablet.

    Where another program received meanwhile they are written again, so that the last one
    written names all.
    """
    received = store.transfer.received()
    while True:
        for tablet in store.transfer.tablets():
            taken = [r for r in received if r.fingerprint == tablet.fingerprint]
            if taken:
                write_receipt(
                    folder,
                    keys.card,
                    keys.signer,
                    tablet.fingerprint,
                    taken,
                    made_utc=utc(wall),
                )
        now = store.transfer.received()
        if now == received:
            return
        received = now


def missing_lines(received: Sequence[Received]) -> list[str]:
    """Name the numbers of each tablet that did not come, and chains that do not hold."""
    lines = []
    for tablet in sorted({r.fingerprint for r in received}):
        taken = [r for r in received if r.fingerprint == tablet]
        numbers = {r.number for r in taken}
        gone = {n for r in taken for n in r.replaces}
        gaps = _gaps(sorted(numbers | gone))
        if gaps:
            told = ", ".join(gaps[:12]) + (" ..." if len(gaps) > 12 else "")
            lines.append(f"tablet {tablet}: bundles {told} have not been received")
        shas: dict[int, set[str]] = {}
        for r in taken:
            shas.setdefault(r.number, set()).add(r.sha256)
        lines += [
            f"tablet {tablet}: bundle {number} came with {len(each)} different contents"
            for number, each in sorted(shas.items())
            if len(each) > 1
        ]
        lines += [
            f"tablet {tablet}: bundle {r.number} does not follow the {r.number - 1} received"
            for r in taken
            if r.number - 1 in shas and r.previous_sha256 not in shas[r.number - 1]
        ]
    return lines


def _gaps(numbers: Sequence[int]) -> list[str]:
    """Name what lies between numbers in order, from 1: single ones, or from-to."""
    gaps = []
    for before, after in pairwise([0, *numbers]):
        first, last = before + 1, after - 1
        if first == last:
            gaps.append(str(first))
        elif first < last:
            gaps.append(f"{first} to {last}")
    return gaps


def utc(wall: Wall) -> str:
    """Return the wall's time in UTC."""
    return utc_text(wall(), "microseconds")
