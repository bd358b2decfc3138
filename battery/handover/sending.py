"""The tablet hands over: one bundle for every visit, until the clinic's receipt names it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

from battery.errors import HandoverError, RecordError, StoreError
from battery.files import inside
from battery.handover.bundle import pack, sign_and_seal
from battery.handover.folder_files import read_plain, sha256, write_whole
from battery.handover.keys import clinics_of, fingerprint, tablet_key
from battery.handover.person_card import refresh
from battery.handover.receipts import acknowledge
from battery.moments import utc_text
from battery.recording import Device
from battery.store import Person, Store, VisitRecord
from battery.store.arrival import Beside, WholeVisit
from battery.store.handing import Sent, rows_sha256

BUNDLE = ".cbundle"
FOLDERS = "handover.folders"  # where bundles were sent to or received from, for erasure
MAY_GO_ON = timedelta(hours=12)  # a visit that was cut off may be continued as long
FINE = "microseconds"  # of two rows with one key the later one holds
MAX_FILE_BYTES = 128_000_000

Wall = Callable[[], datetime]


@dataclass
class SendReport:
    """What became of a hand-over."""

    n_sent: int = 0
    n_again: int = 0
    n_acknowledged: int = 0
    n_waiting: int = 0
    not_yet: int = 0
    problems: list[str] = field(default_factory=list)
    unsent: list[str] = field(default_factory=list)
    news: list[str] = field(default_factory=list)  # from the clinic's cards

    def lines(self) -> list[str]:
        """Say it, one line each."""
        again = f", {self.n_again} of them again" if self.n_again else ""
        told = [
            f"{self.n_sent} bundles written{again}; {self.n_acknowledged} newly acknowledged "
            f"by the clinic; {self.n_waiting} wait for its receipt",
            f"{self.not_yet} visits are not yet handed over; everything stays on this tablet",
        ]
        return told + self.news + self.problems + [f"not sent: {line}" for line in self.unsent]


def send(store: Store, folder: Path, *, wall: Wall) -> SendReport:
    """Write what the clinic has not acknowledged into a folder. Safe to repeat.

    A visit that is under way, or was cut off and may be continued, waits for the next time.

    Parameters
    ----------
    store : Store
    folder : Path
        A stick, a shared or a synchronised folder.
    wall : callable
        Returns the time with its zone.

    Returns
    -------
    SendReport

    Raises
    ------
    HandoverError
        If this tablet has no keys yet.
    StoreError
        If the folder cannot be written. What was written before stays there.
    """
    key = tablet_key(store)
    clinics = clinics_of(store)
    if not clinics:
        msg = "this tablet knows no clinic; run 'battery keys tablet FOLDER' first"
        raise HandoverError(msg)
    if not folder.is_dir():
        msg = f"'{folder}' is not a folder; plug the stick in or name another. Nothing was sent"
        raise StoreError(msg)
    remember(store, folder)
    own = fingerprint(key.public_key().public_bytes_raw())
    report = SendReport()
    report.n_acknowledged, report.problems = acknowledge(
        store, folder, clinics, own, at_utc=utc_text(wall(), FINE)
    )
    sender = _Sender(store, folder, wall, report)
    sender.recipients = [card.seal for card in clinics]
    sender.key = key
    sender.name = own.replace(" ", "")
    with store.records.lock():  # nothing runs while it is read, and one sends at a time
        store.records.recover()
        sender.send_all()
    report.news = refresh(store, folder)
    report.n_waiting = sum(
        b.receipt_utc is None and b.number not in sender.replaced for b in store.bundles.all()
    )
    report.not_yet = store.bundles.not_handed_over() or 0
    report.unsent += store.unreadable()
    return report


def remember(store: Store, folder: Path) -> None:
    """Remember a folder that bundles lie in."""
    where = str(folder.resolve())
    if where not in store.setup.setting(FOLDERS, []):
        store.setup.add_to_setting(FOLDERS, where)


class _Sender:
    def __init__(self, store: Store, folder: Path, wall: Wall, report: SendReport) -> None:
        self._store, self._folder, self._wall, self._report = store, folder, wall, report
        self.recipients: list[str] = []
        self.name = ""
        self.key = tablet_key(store)
        self._made = store.bundles.all()
        self.replaced: set[int] = set()

    def send_all(self) -> None:
        devices = {device.alias: device for device in self._store.setup.devices()}
        people = {person.code: person for person in self._store.people.all()}
        for visit in sorted(self._store.visits.all(), key=_when):
            if self._may_go(visit) and visit.header.person in people:
                try:
                    person = people[visit.header.person]
                    self._send_visit(visit, person, visit.header.device)
                except RecordError as error:  # it stays here; the others go
                    where = f"visit {visit.header.sequence} of {visit.header.person}"
                    self._report.unsent.append(f"{where}: {error}")
        latest = max(self._store.visits.all(), key=_when, default=None)
        device_ = latest.header.device if latest else next(iter(devices.values()), None)
        if device_ is not None:
            for person in people.values():
                self._send_beside(person, device_)

    def _may_go(self, visit: VisitRecord) -> bool:
        blocks = self._store.records.of_visit(visit.header.visit_id)
        if any(block.ending is None for block in blocks):
            return False
        age = self._wall() - datetime.fromisoformat(visit.header.started_utc)
        return visit.ending is not None or age > MAY_GO_ON

    def _send_visit(self, visit: VisitRecord, person: Person, device: Device) -> None:
        visit_id = visit.header.visit_id
        content = self._store.transfer.visit_sha256(visit_id)
        beside = self._store.bundles.beside_visit(visit_id, device.alias)
        told = rows_sha256(beside.visit)
        earlier = [b for b in self._made if b.visit_id == visit_id]
        same = [b for b in earlier if (b.content_sha256, b.beside_sha256) == (content, told)]
        if not self._is_there(same):
            whole = self._store.transfer.whole_visit(visit_id)
            self._write(same, earlier, person, device, whole, beside, told)

    def _send_beside(self, person: Person, device: Device) -> None:
        beside = self._store.bundles.beside_person(person.code)
        told = rows_sha256(beside.person)
        earlier = [b for b in self._made if b.visit_id is None and b.person == person.code]
        same = [b for b in earlier if b.beside_sha256 == told]
        if beside.person and not self._is_there(same):
            self._write(same, earlier, person, device, None, beside, told)

    def _is_there(self, same: list[Sent]) -> bool:
        """Whether the clinic has it, or its file lies in the folder as it was written."""
        if any(b.receipt_utc is not None for b in same):
            return True
        for sent in same:
            try:
                data = read_plain(
                    inside(self._folder, sent.file_name), most_bytes=MAX_FILE_BYTES
                )
            except HandoverError:
                continue
            if sha256(data) == sent.file_sha256:
                if sent.sent_utc is None:  # the program was ended before it could note it
                    self._store.bundles.mark_sent(
                        sent.number, at_utc=utc_text(self._wall(), FINE)
                    )
                return True
        return False

    def _write(
        self,
        same: list[Sent],
        earlier: list[Sent],
        person: Person,
        device: Device,
        visit: WholeVisit | None,
        beside: Beside,
        told: str,
    ) -> None:
        lost = [b for b in earlier if b.receipt_utc is None and not self._is_there([b])]
        number = 1 + self._store.bundles.last_number()
        made_utc = utc_text(self._wall(), FINE)
        content = pack(
            number=number,
            previous_sha256=self._made[-1].sha256 if self._made else "",
            replaces=sorted(b.number for b in lost),
            made_utc=made_utc,
            device=device,
            person=person,
            visit=visit,
            beside=beside,
        )
        sealed = sign_and_seal(content, self.key, self.recipients)
        sent = Sent(
            number=number,
            file_name=f"{self.name}_{number:06d}{BUNDLE}",
            file_sha256=sha256(sealed),
            sha256=sha256(content),
            person=person.code,
            visit_id=None if visit is None else visit.header.visit_id,
            content_sha256=None if visit is None else visit.content_sha256,
            beside_sha256=told,
            made_utc=made_utc,
        )
        self._store.bundles.add(sent)
        self._made.append(sent)
        self.replaced |= {b.number for b in lost}
        write_whole(inside(self._folder, sent.file_name), sealed)
        self._store.bundles.mark_sent(number, at_utc=utc_text(self._wall(), FINE))
        self._made[-1] = replace(sent, sent_utc=made_utc)
        self._report.n_sent += 1
        self._report.n_again += bool(same)


def _when(visit: VisitRecord) -> tuple[str, str]:
    return visit.header.started_utc, visit.header.visit_id
