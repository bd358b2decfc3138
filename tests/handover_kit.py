"""A tablet, a clinic and the folder between them, for the tests of the hand-over."""

from datetime import UTC, datetime
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from battery.handover import keys, list_waiting, receive, send, take
from battery.handover.bundle import pack
from battery.handover.bundle_reading import open_content
from battery.store import Store
from battery.store.arrival import WholeVisit
from tests import store_kit as kit

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
SAID = {"author": "AB", "reason": "so it was", "at_utc": "2026-05-01T10:00:00+00:00"}


def wall():
    return NOW


class Pair:
    """A tablet with visits and a clinic that has accepted it and knows its people."""

    def __init__(self, folder, *, n_visits=2, clinic=None, accepted=True):
        self.stick = Path(folder) / "stick"
        self.stick.mkdir(parents=True)
        self.tablet = Store.open(Path(folder) / "tablet")
        self.clinic = Store.open(clinic or Path(folder) / "clinic")
        mark = keys.make_clinic_keys(self.clinic, self.stick)
        keys.make_tablet_keys(self.tablet, keys.found_cards(self.stick), [mark])
        record_visits(self.tablet, n_visits)
        if accepted:
            self.accept()

    def accept(self):
        self.clinic.people.add(kit.person())
        public = keys.tablet_key(self.tablet).public_key().public_bytes_raw()
        accept_key(self.clinic, public)

    def send(self):
        return send(self.tablet, self.stick, wall=wall)

    def receive(self, **options):
        return receive(self.clinic, self.stick, wall=wall, **options)

    def bundles(self):
        return sorted(self.stick.glob("*.cbundle"))

    def waiting(self):
        return list_waiting(self.clinic)

    def take(self, item):
        return take(self.clinic, item.item_id, author="AB", why="compared", wall=wall)

    def close(self):
        self.tablet.close()
        self.clinic.close()


def accept_key(store, public):
    store.transfer.accept_tablet(
        keys.fingerprint(public), keys._text(public), "T-03", author="AB",
        at_utc="2026-05-01T08:00:00+00:00",
    )  # fmt: skip


def record_visits(store, n_visits, *, first=1, device=kit.DEVICE):
    if not store.people.all():
        kit.enrol(store)
    for sequence in range(first, first + n_visits):
        header = kit.visit(sequence=sequence, device=device)
        store.visits.begin(header)
        for index in range(2):
            kit.record(store, kit.block_header(header, index), seed=10 * sequence + index)
        store.visits.end(header.visit_id, "finished")


def key(name):
    """The same key for the same name."""
    return Ed25519PrivateKey.from_private_bytes(name.encode().ljust(32, b".")[:32])


def packed(visit=None, *, number=1, previous="", replaces=(), person=None, device=kit.DEVICE,
           beside=None):  # fmt: skip
    """What a tablet would sign."""
    from battery.store.arrival import Beside

    return pack(
        number=number, previous_sha256=previous, replaces=replaces,
        made_utc="2026-05-01T09:00:00+00:00", device=device, person=person or kit.person(),
        visit=visit, beside=beside or Beside(),
    )  # fmt: skip


def whole(header, *, seed=0, n_blocks=1):
    """A visit as it would arrive."""
    blocks = [
        kit.made_up_block(kit.block_header(header, index), seed + index)
        for index in range(n_blocks)
    ]
    return WholeVisit(header, "finished", kit.PLAN_JSON, blocks)


def arrival(content, signer):
    return open_content(content, signer.public_key().public_bytes_raw())


def hashes(store):
    """Every block's hash as stored, and as its record gives it."""
    return {
        b.header.block_id: (b.sha256, store.records.load(b.header.block_id).sha256)
        for v in store.visits.all()
        for b in store.records.of_visit(v.header.visit_id)
    }


TIMES = {"received_utc", "arrived_utc", "decided_utc", "applied_utc", "accepted_utc", "item_id"}


APART = ("migrations", "quarantine", "settings", "revisions", "kept_readings")


def state(store):
    """Everything in a store that must not depend on when or in which order it came."""
    from sqlalchemy import select

    from battery.store import schema

    dump = {}
    with store._engine.connect() as connection:
        for table in schema.metadata.sorted_tables:
            if table.name in (
                "migrations",
                "quarantine",
                "settings",
                "revisions",
                "kept_readings",
            ):
                continue
            rows = connection.execute(select(table)).mappings()
            dump[table.name] = sorted(
                repr(sorted((k, v) for k, v in row.items() if k not in TIMES)) for row in rows
            )
        waiting = connection.execute(select(schema.quarantine)).mappings().all()
    # Of a visit in conflict each version is kept, whole, however many bundles brought it.
    dump["quarantine"] = sorted(
        {(w["reason"], w["person"], str(w["visit_id"]), str(w["content_sha256"]),
          str(w["decision"])) for w in waiting}
    )  # fmt: skip
    return dump
