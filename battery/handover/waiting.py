"""What waits for a person's choice, and what follows from it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from battery.errors import FalseFieldError, HandoverError, RecordError, UsageError
from battery.handover.both_sides import both_sides
from battery.handover.folder_files import files_in
from battery.handover.keys import clinic_keys, keys_folder
from battery.handover.marks import mark_words
from battery.handover.opening import opened
from battery.handover.person_card import PERSON_CARD
from battery.handover.receiving import admit, open_bundle, outcome_lines, scored, utc
from battery.handover.sending import BUNDLE, FOLDERS
from battery.handover.tablets import accept_tablet
from battery.store import Store
from battery.store.arrival import Outcome
from battery.store.merging import Waiting

Wall = Callable[[], datetime]


@dataclass(frozen=True, slots=True)
class Choice:
    """Bundles that wait for the same choice.

    Parameters
    ----------
    item : Waiting
        The first of them.
    n_bundles : int
    is_enrolled : bool
        Whether the person has that code here.
    """

    item: Waiting
    n_bundles: int
    is_enrolled: bool

    @property
    def name(self) -> str:
        """What it is called by."""
        return self.item.item_id[:8]


def choices(store: Store) -> list[Choice]:
    """List what waits, once for each choice, as it came; versions of one visit together."""
    enrolled = {person.code for person in store.people.all()}
    groups: dict[tuple[str, ...], list[Waiting]] = {}
    subject: tuple[str, ...]
    for item in store.transfer.quarantine():
        if item.reason == "device":
            subject = ("device", item.fingerprint)
        elif item.reason == "person":
            subject = ("person", item.person)
        elif item.reason == "false":
            subject = ("false", item.item_id)
        else:
            subject = ("visit", str(item.visit_id), str(item.content_sha256))
        groups.setdefault(subject, []).append(item)
    first: dict[tuple[str, ...], int] = {}
    for place, subject in enumerate(groups):
        first.setdefault(subject[:2], place)
    together = sorted(groups, key=lambda subject: first[subject[:2]])
    return [
        Choice(groups[subject][0], len(groups[subject]), groups[subject][0].person in enrolled)
        for subject in together
    ]


def list_waiting(store: Store) -> list[str]:
    """Say what waits and what the choice is, one line each; below it, what differs."""
    lines = []
    for choice in choices(store):
        item = choice.item
        bundles = "1 bundle" if choice.n_bundles == 1 else f"{choice.n_bundles} bundles"
        when = f"{item.arrived_utc[:16]}  {bundles}"
        if item.reason == "false":
            whose = f" of {item.person}" if item.person else ""
            what = f"from {item.fingerprint}{whose} says what cannot be: {item.why}"
        elif item.reason == "device":
            words = mark_words(item.fingerprint)
            what = f"tablet key {item.fingerprint} ({words}; {item.device}) is not known"
        elif item.reason == "person":
            what = f"{item.person} " + (
                "is enrolled differently here, or it speaks of somebody unknown"
                if choice.is_enrolled
                else "is not enrolled here"
            )
        else:
            what = (
                f"visit {str(item.visit_id)[:8]} of {item.person}, "
                f"version {str(item.content_sha256)[:8]}, differs from another"
            )
        lines.append(f"{choice.name}  {when}  {what}")
        sides = both_sides(store, item)
        lines += [] if sides is None else [f"    {line}" for line in sides.lines()]
    return lines


def take(store: Store, name: str, *, author: str, why: str, wall: Wall) -> list[str]:
    """Accept what an item waits for: its tablet, its person, or its version of a visit.

    Returns
    -------
    list of str
        What followed, one line each.

    Raises
    ------
    UsageError
        If no single waiting item has this name, or author or reason is empty.
    """
    item = _meant(store, name, author, why)
    if item.reason == "false":
        return _take_again(store, item, wall)
    if item.reason == "device":
        _, public_key = store.transfer.quarantined_content(item.item_id)
        accept_tablet(
            store, item.fingerprint, public_key, item.device, author=author, at_utc=utc(wall)
        )
        done = [f"tablet {item.fingerprint} is accepted"]
        return done + _release(
            store, lambda w: w.reason == "device" and w.fingerprint == item.fingerprint, wall
        )
    if item.reason == "person":
        arrival = opened(store, item)
        code = arrival.person.code
        if code in {p.code for p in store.people.all()}:
            store.transfer.let_pass(code, item.fingerprint)
            done = [f"{code}: taken as the same person; the enrolment here holds"]
        else:
            store.transfer.enrol_arrived(arrival.person)
            done = [f"{code} is enrolled as on the tablet"]
        return done + _release(store, lambda w: w.reason == "person", wall)
    return _choose(store, item, author=author, why=why, wall=wall)


def _take_again(store: Store, item: Waiting, wall: Wall) -> list[str]:
    """Try the gate again: a later program may know what an earlier one took for false.

    Raises
    ------
    HandoverError
        If it still says what cannot be; it goes on waiting.
    """
    try:
        arrival = opened(store, item)
        outcome = admit(store, arrival, wall=wall, item=item.item_id)
    except HandoverError as error:
        msg = (
            f"it still waits, and nothing of it was taken in: {error}. If a later program made "
            "it, update this one; if not, 'battery quarantine leave' sets it aside"
        )
        raise HandoverError(msg) from error
    return outcome_lines({outcome: 1})


def leave_out(store: Store, name: str, *, author: str, why: str, wall: Wall) -> list[str]:
    """Leave an item aside for good; it is kept, with who said so and why.

    Raises
    ------
    UsageError
        If no single waiting item has this name, or author or reason is empty.
    """
    item = _meant(store, name, author, why)
    others = [
        w
        for w in store.transfer.quarantine()
        if w.reason == item.reason == "conflict" and w.visit_id == item.visit_id
    ]
    same = [w for w in others if w.content_sha256 == item.content_sha256]
    if others and len(same) == len(others):
        msg = f"{name} is the last version of its visit; take it, or amend it once it is taken"
        raise UsageError(msg)
    items = [w.item_id for w in same] or [item.item_id]
    store.transfer.decide(items, "left out", author=author, why=why, at_utc=utc(wall))
    return [f"{name} is left out; it stays in the store"]


def clear_folder(
    store: Store, folder: Path, code: str, *, own: Collection[str] = ()
) -> list[str]:
    """Delete the bundles of a person from a folder.

    Parameters
    ----------
    own : collection of str
        Names of the person's bundles that this store has written itself. A tablet cannot open
        what it sealed; a clinic opens all the others.

    Returns
    -------
    list of str
        What could not be cleared, one line each.
    """
    try:
        paths = files_in(folder, BUNDLE)
    except HandoverError as error:
        return [f"bundles in '{folder}' could not be looked through: {error}"]
    left = []
    for path in files_in(folder, PERSON_CARD):
        if path.name == f"{code}{PERSON_CARD}":
            left += _deleted(path)
    for path in [path for path in paths if path.name in own]:
        paths.remove(path)
        left += _deleted(path)
    if not (keys_folder(store) / "clinic.json").exists():
        return left
    keys = clinic_keys(store)
    for path in paths:
        try:
            arrival = open_bundle(path, keys)
            whose = arrival.person.code
        except FalseFieldError as error:
            whose = error.code
        except HandoverError as error:
            left.append(f"{path.name!r} in '{folder}' cannot be read and was left: {error}")
            continue
        if whose == code:
            left += _deleted(path)
    return left


def erase_everywhere(
    store: Store, code: str, *, author: str, at_utc: str, folders: Iterable[Path] = ()
) -> tuple[int, list[str]]:
    """Take a person out for good: from the store and from the folders of bundles.

    Parameters
    ----------
    folders : iterable of Path
        To be cleared beside those that this store has sent to or received from.

    Returns
    -------
    n_rows : int
        Rows that are gone.
    left : list of str
        What could not be cleared, one line each.

    Raises
    ------
    UsageError
        If there is no such person, or the author is empty.
    StoreError
        If a visit is being recorded, or another program keeps the store busy.
    """
    with store.records.lock():
        own = {bundle.file_name for bundle in store.bundles.all() if bundle.person == code}
        n_rows = store.erasure.erase(code, author=author, at_utc=at_utc)
        known = {folder.resolve(): None for folder in (*known_folders(store), *folders)}
        left = [line for folder in known for line in clear_folder(store, folder, code, own=own)]
    return n_rows, left


def _deleted(path: Path) -> list[str]:
    try:
        path.unlink()
    except OSError as error:
        return [f"'{path}' could not be deleted: {error.strerror or error}"]
    return []


def known_folders(store: Store) -> list[Path]:
    """Return the folders bundles were sent to or received from."""
    return [Path(text) for text in store.setup.setting(FOLDERS, [])]


def _choose(store: Store, item: Waiting, *, author: str, why: str, wall: Wall) -> list[str]:
    versions = [
        w
        for w in store.transfer.quarantine()
        if w.reason == "conflict" and w.visit_id == item.visit_id
    ]
    chosen = [w for w in versions if w.content_sha256 == item.content_sha256]
    others = [w.item_id for w in versions if w.content_sha256 != item.content_sha256]
    versions_opened = []
    for version in chosen:
        arrival = opened(store, version)
        versions_opened.append((version.item_id, scored(arrival)))
    store.transfer.choose_version(
        versions_opened, others, author=author, why=why, at_utc=utc(wall)
    )
    return [f"this version of the visit holds; {len(others)} others are left out, and kept"]


def _release(store: Store, which: Callable[[Waiting], bool], wall: Wall) -> list[str]:
    outcomes: Counter[Outcome] = Counter()
    problems = []
    for item in store.transfer.quarantine():
        if not which(item):
            continue
        try:
            outcome = admit(store, opened(store, item), wall=wall, item=item.item_id)
        except (HandoverError, RecordError) as error:
            problems.append(f"bundle {item.number} of {item.fingerprint} still waits: {error}")
        else:
            outcomes[outcome] += 1
    return outcome_lines(outcomes) + problems


def _meant(store: Store, name: str, author: str, why: str) -> Waiting:
    found = [w for w in store.transfer.quarantine() if w.item_id.startswith(name)]
    if len(found) != 1 or not name:
        msg = f"{len(found)} waiting items begin with {name!r}; 'battery quarantine' lists them"
        raise UsageError(msg)
    if not author.strip() or not why.strip():
        msg = "a choice needs an author and a reason; nothing was changed"
        raise UsageError(msg)
    return found[0]
