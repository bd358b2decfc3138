"""Spoilt bundles: each is refused in one line or does no harm, whoever signed it.

Three layers are spoilt: the sealed file; what is inside the seal, as if the clinic's public key
had been used by anybody; and what is signed, as if an accepted tablet had gone mad.
"""

import io
import json
import resource
import sys
import warnings
import zipfile

import pyrage
import pytest

from battery.errors import BatteryError
from battery.handover import bundle, keys
from battery.handover.folder_files import sha256
from battery.handover.receiving import receive
from battery.store import Store
from battery.store.arrival import Beside
from tests import handover_kit as hand
from tests import mutations
from tests import store_kit as kit

MAX_MEMORY_KB = 400_000  # beyond what the program needs anyway
AMENDMENT = {
    "amendment_id": kit.identifier("a"), "visit_id": kit.visit(sequence=2).visit_id,
    "block_id": None, "field": "excluded", "old": "no", "new": "yes", "author": "AB",
    "reason": "r", "at_utc": "2026-05-01T10:00:00+00:00",
}  # fmt: skip


class Field:
    """A clinic with one visit, and bundles of the tablet to be spoilt."""

    def __init__(self, folder):
        self.folder = folder
        self.inbox = folder / "inbox"
        self.inbox.mkdir()
        (folder / "secret").write_text("outside")
        self.store = Store.open(folder / "clinic")
        self.store.people.add(kit.person())
        mark = keys.make_clinic_keys(self.store, folder / "cards")
        assert mark
        self.keys = keys.clinic_keys(self.store)
        self.signer = hand.key("tablet")
        hand.accept_key(self.store, self.signer.public_key().public_bytes_raw())
        self.contents = [
            hand.packed(
                hand.whole(kit.visit(sequence=number), seed=number), number=number,
                beside=Beside(visit={"amendments": [AMENDMENT]} if number == 2 else {}),
            )
            for number in (1, 2, 3)
        ]  # fmt: skip
        self.sealed = [self.seal(content) for content in self.contents]
        (self.inbox / "1.cbundle").write_bytes(self.sealed[0])
        assert self.receive().outcomes == {"new": 1}
        self.known = self.raw()
        self.tree = self.outside()

    def seal(self, content, *, signed=None):
        signed = bundle.signed_bytes(content, self.signer) if signed is None else signed
        return bytes(pyrage.encrypt(signed, [self.keys.identities[0].to_public()]))

    def receive(self):
        return receive(self.store, self.inbox, wall=hand.wall)

    def raw(self):
        visit = kit.visit(sequence=1)
        return [
            (b.sha256, self.store.records.load(b.header.block_id).sha256)
            for b in self.store.records.of_visit(visit.visit_id)
        ]

    def outside(self):
        """All files but those of the store and the receipts."""
        return {
            str(p.relative_to(self.folder)): p.stat().st_size
            for p in self.folder.rglob("*")
            if not p.name.startswith("battery.sqlite")
            and p.suffix not in (".receipt", ".cbundle")
        }

    def try_one(self, sealed):
        (self.inbox / "1.cbundle").write_bytes(sealed)
        report = self.receive()  # anything but an error of ours comes up here
        assert all("\n" not in line for line in report.refused)
        return report

    def check(self):
        assert self.store.problems() == []
        held = self.raw()
        waiting = {w.visit_id for w in self.store.transfer.quarantine()}
        assert held == self.known or kit.visit(sequence=1).visit_id in waiting
        assert self.outside() == self.tree


def spoil(field, random_source):
    """Return the bytes of a spoilt file."""
    number = random_source.randrange(1, 3)
    layer = random_source.randrange(10)
    if layer == 0:
        return mutations.bytes_changed(field.sealed[number], random_source)
    if layer == 1:
        other = field.sealed[(number + 1) % 3]
        cut = random_source.randrange(len(other))
        return field.sealed[number][:cut] + other[cut:]
    signed = bundle.signed_bytes(field.contents[number], field.signer)
    if layer == 2:
        return field.seal(b"", signed=mutations.bytes_changed(signed, random_source))
    if layer == 3:
        return field.seal(mutations.bytes_changed(field.contents[number], random_source))
    parts = parts_of(field.contents[number])
    name = random_source.choice(sorted(parts))
    if layer == 4:
        return field.seal(zipped(parts, odd=random_source))
    if layer == 5:
        other = parts_of(field.contents[(number + 1) % 3])
        parts[name] = other.get(name, b"")
    elif layer == 6 or not name.endswith(".json"):
        parts[name] = mutations.bytes_changed(parts[name], random_source)
    else:
        told = mutations.json_changed(json.loads(parts[name]), random_source)
        parts[name] = json.dumps(told).encode("utf-8", "surrogatepass")
    if random_source.random() < 0.7:
        put_right(parts)
    return field.seal(zipped(parts))


def parts_of(content):
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        return {name: packed.read(name) for name in packed.namelist()}


def put_right(parts):
    """Make the manifest agree with the parts, as a careful forger would."""
    try:
        manifest = json.loads(parts["manifest.json"])
        manifest["parts"] = [
            {"name": name, "bytes": len(data), "sha256": sha256(data)}
            for name, data in parts.items()
            if name != "manifest.json"
        ]
        parts["manifest.json"] = json.dumps(manifest).encode()
    except (ValueError, TypeError, KeyError):
        pass


def zipped(parts, odd=None):
    """Pack parts; with a source of choices, as somebody would who means harm."""
    sink = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as packed:
        warnings.simplefilter("ignore", UserWarning)  # two parts of one name
        for name, data in parts.items():
            packed.writestr(name, data)
        if odd is not None:
            how = odd.randrange(6)
            if how == 0:
                packed.writestr("../../secret", "inside")
            elif how == 1:
                packed.writestr("/etc/battery-was-here", "inside")
            elif how == 2:
                packed.writestr("bomb", bytes(90_000_000))
            elif how == 3:
                packed.writestr("manifest.json", parts["manifest.json"])
            elif how == 4:
                for number in range(1200):
                    packed.writestr(f"{number}.samples", b"")
            else:
                nested = b"[" * 200_000 + b"]" * 200_000
                packed.writestr("manifest.json", nested)
    data = sink.getvalue()
    if odd is not None and odd.random() < 0.3:  # a size that is not true
        at = data.rindex(b"PK\x01\x02")
        data = data[: at + 24] + odd.randbytes(4) + data[at + 28 :]
    return data


def loop(folder, n, seed):
    field = Field(folder)
    random_source = mutations.source(seed)
    refused = harmless = 0
    before_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for count in range(n):
        sealed = spoil(field, random_source)
        try:
            with mutations.limited_memory():
                report = field.try_one(sealed)
        except BatteryError as error:
            pytest.fail(f"one bundle stopped the others: {error}")
        refused += len(report.refused)
        harmless += not report.refused
        if count % 500 == 499:
            field.check()
    field.check()
    grown_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before_kb
    field.store.close()
    assert refused + harmless == n
    assert refused > n / 2
    assert grown_kb < MAX_MEMORY_KB
    return refused, harmless, grown_kb


def test_a_number_far_ahead_is_refused_and_names_no_million_others(tmp_path):
    field = Field(tmp_path)
    far = hand.packed(hand.whole(kit.visit(sequence=2)), number=10**12)
    assert "number" in field.try_one(field.seal(far)).refused[0]
    ahead = hand.packed(hand.whole(kit.visit(sequence=2)), number=999_999)
    notes = field.try_one(field.seal(ahead)).notes
    assert any("bundles 2 to 999998 have not been received" in note for note in notes)
    field.store.close()


def test_a_hundred_spoilt_bundles_do_no_harm(tmp_path):
    loop(tmp_path, 100, seed=1)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_twenty_thousand_spoilt_bundles_do_no_harm(tmp_path):
    refused, harmless, grown_kb = loop(tmp_path, 20_000, seed=2)
    told = f"{refused} refused, {harmless} harmless, {grown_kb} kB of memory more"
    sys.stdout.write(f"\n{told}\n")
