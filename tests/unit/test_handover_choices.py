"""What was changed is refused; what is unknown or contradicts waits for a person."""

import pyrage
import pytest

from battery.errors import HandoverError, UsageError
from battery.handover import bundle, keys, leave_out
from battery.handover.folder_files import write_whole
from battery.handover.receiving import admit
from battery.verify import verify
from tests import handover_kit as hand
from tests import store_kit as kit
from tests.property.test_fuzz_bundles import parts_of, put_right, zipped

# Provable: whatever was changed is refused.


def test_a_changed_bundle_is_refused_and_the_others_are_taken(pair):
    pair.send()
    path = pair.bundles()[0]
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)
    report = pair.receive()
    assert report.outcomes == {"new": 1}
    assert len(report.refused) == 1
    assert path.name in report.refused[0]
    assert pair.tablet.bundles.not_handed_over() == 2
    pair.send()  # the file is not what was written, so it is written again
    assert pair.receive().outcomes["new"] == 1


@pytest.mark.parametrize("at", [30, 60, 130, 300, -1])
def test_what_lies_inside_the_seal_must_be_what_was_signed(pair, at):
    """Anybody can seal to the clinic's public key: key, signature and content are changed."""
    content = hand.packed(hand.whole(kit.visit(sequence=9)))
    signed = bytearray(bundle.signed_bytes(content, keys.tablet_key(pair.tablet)))
    signed[at] ^= 1
    recipient = keys.clinic_keys(pair.clinic).identities[0].to_public()
    (pair.stick / "x.cbundle").write_bytes(pyrage.encrypt(bytes(signed), [recipient]))
    (line,) = pair.receive().refused
    assert "signature does not hold" in line


@pytest.mark.parametrize(
    ("part", "told"),
    [
        ("000.samples", "does not have the hash it was stored with"),
        ("000.events", "does not have the hash it was stored with"),
        ("record.json", "does not have the hash its manifest states"),
    ],
)
def test_a_tablet_that_altered_a_record_after_it_was_stored_is_refused(pair, part, told):
    """Signed as it should be, and the manifest agrees with its parts."""
    parts = parts_of(hand.packed(hand.whole(kit.visit(sequence=9))))
    data = parts[part]
    if part == "000.samples":
        data = bytes([data[0] ^ 1]) + data[1:]  # the first stamp, by a nanosecond
    elif part == "000.events":
        data = data.replace(b'"cue"', b'"end"', 1)
    else:
        data = data.replace(b'"ending":"finished"', b'"ending":"stopped"', 1)
    assert data != parts[part]
    parts[part] = data
    put_right(parts)
    signer = keys.tablet_key(pair.tablet)
    with pytest.raises(HandoverError, match=told):
        hand.arrival(zipped(parts), signer)


def test_a_bundle_signed_with_another_key_waits_for_a_person(pair):
    stranger = hand.key("stranger")
    sealed = bundle.sign_and_seal(
        hand.packed(hand.whole(kit.visit(sequence=9))), stranger,
        [keys.clinic_keys(pair.clinic).card.seal],
    )  # fmt: skip
    write_whole(pair.stick / "x_000001.cbundle", sealed)
    assert pair.receive().outcomes == {"device": 1}
    assert pair.clinic.visits.all() == []
    (item,) = pair.clinic.transfer.quarantine()
    assert "is not known" in pair.waiting()[0]
    pair.take(item)
    assert [v.header.sequence for v in pair.clinic.visits.all()] == [9]
    assert pair.clinic.transfer.quarantine() == []


def test_an_unknown_person_waits_and_is_enrolled_by_a_choice(tmp_path):
    pair = hand.Pair(tmp_path, accepted=False)
    public = keys.tablet_key(pair.tablet).public_key().public_bytes_raw()
    hand.accept_key(pair.clinic, public)
    pair.send()
    assert pair.receive().outcomes == {"person": 2}
    assert pair.clinic.people.all() == []
    assert "2 bundles  K7QF is not enrolled here" in pair.waiting()[0]
    pair.take(pair.clinic.transfer.quarantine()[0])
    assert len(pair.clinic.visits.all()) == 2
    assert hand.hashes(pair.clinic) == hand.hashes(pair.tablet)
    pair.close()


def test_a_person_who_is_enrolled_differently_waits(pair):
    other = hand.packed(hand.whole(kit.visit()), person=kit.person(first_hand="left"))
    signer = keys.tablet_key(pair.tablet)
    assert admit(pair.clinic, hand.arrival(other, signer), wall=hand.wall) == "person"
    assert "enrolled differently" in pair.waiting()[0]
    pair.take(pair.clinic.transfer.quarantine()[0])
    assert len(pair.clinic.visits.all()) == 1
    assert pair.clinic.people.get("K7QF").first_hand == "right"  # the enrolment here holds


def test_a_later_form_is_refused_and_the_file_is_kept(pair):
    pair.send()
    path = pair.bundles()[0]
    identities = keys.clinic_keys(pair.clinic).identities
    signed = pyrage.decrypt(path.read_bytes(), list(identities))
    later = signed.replace(b"bundle 2\n", b"bundle 3\n", 1)
    sealed = pyrage.encrypt(later, [identities[0].to_public()])
    path.write_bytes(sealed)
    report = pair.receive()
    assert report.n_newer == 1
    assert "Update the program of this clinic" in report.refused[0]
    assert path.read_bytes() == sealed


# Contradictions: both are kept, and a person chooses.


@pytest.fixture
def conflict(pair):
    """The clinic has a visit; another version of it comes from the same tablet."""
    pair.send()
    pair.receive()
    header = pair.tablet.visits.all()[0].header
    pair.clinic.annotations.amend("visit", header.visit_id, "note", "seen", **hand.SAID)
    other = hand.packed(hand.whole(header, seed=99, n_blocks=2), number=9)
    signer = keys.tablet_key(pair.tablet)
    assert admit(pair.clinic, hand.arrival(other, signer), wall=hand.wall) == "conflict"
    return pair


def test_two_versions_of_a_visit_are_kept_and_neither_counts(conflict):
    assert len(conflict.clinic.visits.all()) == 1  # the other visit
    versions = conflict.clinic.transfer.quarantine()
    assert len({v.content_sha256 for v in versions}) == len(versions) == 2
    assert verify(conflict.clinic).n_visits == 1


@pytest.mark.parametrize("which", ["stored", "arrived"])
def test_the_version_that_is_taken_holds_and_the_other_is_kept(conflict, which):
    header = conflict.tablet.visits.all()[0].header
    original = conflict.tablet.transfer.visit_sha256(header.visit_id)
    (item,) = [
        w for w in conflict.clinic.transfer.quarantine()
        if (w.content_sha256 == original) == (which == "stored")
    ]  # fmt: skip
    conflict.take(item)
    assert conflict.clinic.transfer.visit_sha256(header.visit_id) == item.content_sha256
    assert conflict.clinic.transfer.quarantine() == []
    kept = {w.decision: w for w in conflict.clinic.transfer.quarantine(decided=True)}
    assert set(kept) == {"taken", "left out"}
    assert (kept["left out"].author, kept["left out"].why) == ("AB", "compared")
    # What was said about the stored one comes back with it.
    assert len(conflict.clinic.annotations.amendments()) == (which == "stored")
    # The one that was left out does not come back by being received again.
    before = hand.state(conflict.clinic)
    conflict.receive()
    assert hand.state(conflict.clinic)["blocks"] == before["blocks"]


def test_the_last_version_cannot_be_left_out(conflict):
    first, second = conflict.clinic.transfer.quarantine()
    leave_out(conflict.clinic, first.item_id, author="AB", why="old", wall=hand.wall)
    with pytest.raises(UsageError, match="last version"):
        leave_out(conflict.clinic, second.item_id, author="AB", why="old", wall=hand.wall)


def test_visits_of_two_tablets_with_the_same_numbers_both_stay(pair):
    second = hand.key("second tablet")
    hand.accept_key(pair.clinic, second.public_key().public_bytes_raw())
    pair.send()
    pair.receive()
    header = kit.visit(sequence=2, visit_id=kit.identifier("other"),
                       started_utc="2026-01-05T20:00:00.000+00:00")  # fmt: skip
    content = hand.packed(hand.whole(header))
    assert admit(pair.clinic, hand.arrival(content, second), wall=hand.wall) == "new"
    visits = pair.clinic.visits.all("K7QF")
    assert [v.header.sequence for v in visits] == [1, 2, 2]
    starts = [v.header.started_utc for v in visits]
    assert starts == sorted(starts)
    pair.clinic.visits.begin(kit.visit(sequence=3))  # and one more can be recorded here


def test_an_amendment_that_names_somebody_unknown_waits(pair):
    pair.tablet.people.add(kit.person("M4WX"))
    visit = pair.tablet.visits.all()[0].header.visit_id
    pair.tablet.annotations.amend("visit", visit, "person", "M4WX", **hand.SAID)
    pair.send()
    assert pair.receive().outcomes == {"new": 1, "person": 1}


def test_a_visit_that_was_altered_after_it_was_received_is_named(pair):
    pair.send()
    pair.receive()
    assert verify(pair.clinic).n_visits == 2
    assert not [f for f in verify(pair.clinic).findings if "signed" in f.what]
    visit = pair.clinic.visits.all()[0].header.visit_id
    pair.clinic.visits.end(visit, "stopped")
    (found,) = [f for f in verify(pair.clinic).findings if "signed" in f.what]
    assert visit in found.where


def test_a_stranger_who_was_left_out_does_not_wait_again(pair):
    content = hand.packed(hand.whole(kit.visit(sequence=9)))
    stranger = hand.arrival(content, hand.key("stranger"))
    assert admit(pair.clinic, stranger, wall=hand.wall) == "device"
    (item,) = pair.clinic.transfer.quarantine()
    leave_out(pair.clinic, item.item_id, author="AB", why="not ours", wall=hand.wall)
    assert admit(pair.clinic, stranger, wall=hand.wall) == "left out"
    assert pair.clinic.transfer.quarantine() == []


def test_a_lost_tablet_is_no_longer_believed(pair):
    """What it signed before stays; what it signs from then on waits."""
    pair.send()
    pair.receive()
    public = keys.tablet_key(pair.tablet).public_key().public_bytes_raw()
    pair.clinic.transfer.drop_tablet(keys.fingerprint(public))
    hand.record_visits(pair.tablet, 1, first=3)
    pair.send()
    assert pair.receive().outcomes == {"same": 2, "device": 1}
    assert len(pair.clinic.visits.all()) == 2


# Erasure reaches the folder and the quarantine.


def test_an_erased_person_is_not_received_again(pair):
    pair.send()
    pair.receive()
    pair.clinic.erasure.erase("K7QF", author="AB", at_utc=hand.SAID["at_utc"])
    assert pair.receive().outcomes == {"same": 2}
    other = hand.packed(hand.whole(kit.visit(sequence=7)), number=7)
    signer = keys.tablet_key(pair.tablet)
    assert admit(pair.clinic, hand.arrival(other, signer), wall=hand.wall) == "erased"
    assert pair.clinic.visits.all() == []
    assert all(r.person is None and r.visit_id is None for r in pair.clinic.transfer.received())


def test_erasing_clears_the_bundles_of_that_person_from_the_folder(conflict):
    from typer.testing import CliRunner

    from battery.cli import app

    home = conflict.clinic.folder
    conflict.clinic.close()
    words = ["erase", "K7QF", "--by", "AB", "--yes", "--home", str(home)]
    result = CliRunner().invoke(app, words)
    assert result.exit_code == 0, result.exception
    assert conflict.bundles() == []
    left = b"".join(p.read_bytes() for p in home.rglob("*") if p.is_file())
    assert conflict.tablet.visits.all()[0].header.visit_id.encode() not in left


def test_erasing_on_the_tablet_clears_the_bundles_it_wrote(pair):
    """It cannot open them; it knows their names."""
    from typer.testing import CliRunner

    from battery.cli import app

    pair.send()
    assert len(pair.bundles()) == 2
    home = pair.tablet.folder
    pair.tablet.close()
    result = CliRunner().invoke(
        app, ["erase", "k7qf", "--by", "AB", "--yes", "--home", str(home)]
    )
    assert result.exit_code == 0, result.exception
    assert pair.bundles() == []
