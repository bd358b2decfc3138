"""From tablet to clinic: whole, private, provable, and safe to repeat."""

import contextlib
import json
import os
import resource
import shutil
import stat
import subprocess
from dataclasses import replace
from datetime import timedelta

import pyrage
import pytest

from battery.errors import HandoverError, StoreError, UsageError
from battery.export import export_tidy
from battery.handover import bundle, keys, leave_out, make_clinic_keys, receive, send, take
from battery.handover.files import write_whole
from battery.handover.receiving import admit, missing_lines, open_bundle
from battery.rescoring import rescore_all
from battery.store import Store
from battery.verify import verify
from tests import handover_kit as hand
from tests import store_kit as kit


@pytest.fixture
def pair(tmp_path):
    made = hand.Pair(tmp_path)
    yield made
    made.close()


def hashes(store):
    return {
        b.header.block_id: (b.sha256, store.load_block(b.header.block_id).sha256)
        for v in store.visits()
        for b in store.blocks(v.header.visit_id)
    }


def test_what_was_recorded_arrives_bit_for_bit_with_what_lies_beside(pair):
    visit = pair.tablet.visits()[0].header
    block = pair.tablet.blocks(visit.visit_id)[0].header
    pair.tablet.amend("block", block.block_id, "hand", "left", **hand.SAID)
    pair.tablet.add_marker("K7QF", "fall", at_utc=hand.SAID["at_utc"])
    assert pair.send().n_sent == 3  # two visits, and what lies beside them
    assert pair.receive().outcomes == {"new": 2, "added": 1}
    assert hashes(pair.clinic) == hashes(pair.tablet)
    assert pair.clinic.visits() == pair.tablet.visits()
    assert pair.clinic.amendments() == pair.tablet.amendments()
    assert pair.clinic.markers() == pair.tablet.markers()
    assert pair.clinic.plans() == pair.tablet.plans()


def test_everything_stays_until_the_receipt_and_the_count_says_so(pair):
    assert pair.tablet.not_handed_over() == 2
    before = hashes(pair.tablet)
    pair.send()
    assert pair.tablet.not_handed_over() == 2  # written is not received
    pair.receive()
    again = pair.send()
    assert (again.n_sent, again.n_acknowledged, again.n_waiting) == (0, 2, 0)
    assert pair.tablet.not_handed_over() == 0
    assert hashes(pair.tablet) == before
    hand.record_visits(pair.tablet, 1, first=3)
    assert pair.tablet.not_handed_over() == 1


def test_the_clinics_export_is_the_tablets_byte_for_byte(own_clinic, tmp_path):
    """A whole invented clinic goes over: what a researcher gets does not depend on where."""
    stick = tmp_path / "stick"
    stick.mkdir()
    with Store.open(own_clinic) as tablet, Store.open(tmp_path / "other") as clinic:
        mark = keys.make_clinic_keys(clinic, stick)
        keys.make_tablet_keys(tablet, keys.found_cards(stick), [mark])
        rescore_all(tablet, progress=lambda *_: None, n_processes=1)  # one block had no scores
        send(tablet, stick, wall=hand.wall)
        receive(clinic, stick, wall=hand.wall)
        while waiting := clinic.quarantine():
            take(clinic, waiting[0].item_id, author="AB", why="ours", wall=hand.wall)
        assert len(clinic.visits()) == len(tablet.visits()) == 5
        for store, name in ((tablet, "here"), (clinic, "there")):
            export_tidy(store, tmp_path / name)
    files = sorted(p.name for p in (tmp_path / "here").iterdir())
    for name in files:
        assert (tmp_path / "here" / name).read_bytes() == (
            tmp_path / "there" / name
        ).read_bytes()


def test_a_store_without_hand_over_counts_nothing(tmp_path):
    with Store.open(tmp_path) as store:
        hand.record_visits(store, 1)
        assert store.not_handed_over() is None


def test_receiving_again_changes_nothing(pair):
    pair.send()
    pair.receive()
    before = hand.state(pair.clinic)
    assert pair.receive().outcomes == {"same": 2}
    assert hand.state(pair.clinic) == before


def test_a_lost_file_is_written_again_under_a_new_number(pair):
    pair.send()
    pair.bundles()[0].unlink()
    report = pair.send()
    assert (report.n_sent, report.n_again) == (1, 1)
    received = pair.receive()
    assert received.outcomes == {"new": 2}
    assert received.notes == []  # number 1 will not come, and the clinic knows


def test_missing_numbers_and_a_broken_chain_are_named(pair):
    hand.record_visits(pair.tablet, 3, first=3)
    pair.send()
    for path in pair.bundles()[1:3]:
        path.unlink()
    assert "bundles 2, 3 have not been received" in " ".join(pair.receive().notes)
    received = pair.clinic.received()
    forged = [*received, replace(received[-1], number=6, previous_sha256="0" * 64)]
    assert any("bundle 6 does not follow" in line for line in missing_lines(forged))


# Private: sealed to one or two clinic keys, and to nobody else.


def test_no_word_of_a_bundle_can_be_read_without_the_clinics_key(pair, tmp_path):
    """The tablet itself has no key that opens it."""
    pair.send()
    sealed = pair.bundles()[0].read_bytes()
    visit = pair.tablet.visits()[0].header
    for word in ("K7QF", visit.visit_id, "slide", "T-03"):
        assert word.encode() not in sealed
        assert word not in pair.bundles()[0].name
    with Store.open(tmp_path / "other") as other:
        make_clinic_keys(other, tmp_path / "elsewhere")
        with pytest.raises(HandoverError, match="cannot be opened with the clinic's key"):
            open_bundle(pair.bundles()[0], keys.clinic_keys(other))
    secret = (tmp_path / "tablet" / "keys" / "tablet.json").read_text()
    assert "AGE-SECRET-KEY" not in secret


def test_a_second_key_opens_the_same_bundles(tmp_path):
    """Sealed by this program, opened here by the age library itself: https://age-encryption.org/v1"""
    pair = hand.Pair(tmp_path, n_visits=1)
    spare = tmp_path / "spare.key"
    marks = [keys.make_clinic_keys(pair.clinic, pair.stick, spare=spare)]
    marks.append(keys.clinic_keys(pair.clinic).card.fingerprint)
    keys.make_tablet_keys(pair.tablet, keys.found_cards(pair.stick), marks)
    pair.send()
    identity = pyrage.x25519.Identity.from_str(spare.read_text().strip())
    signed = pyrage.decrypt(pair.bundles()[0].read_bytes(), [identity])
    assert bundle.open_signed(signed).visit is not None
    assert stat.S_IMODE(spare.stat().st_mode) == 0o600
    # The first key is lost: a new clinic store takes the bundles in with the spare one.
    (tmp_path / "clinic" / "keys" / "clinic.json").unlink()
    keys.make_clinic_keys(pair.clinic, tmp_path / "new")
    assert pair.receive(spare=spare).outcomes == {"new": 1}
    pair.close()


def test_secret_keys_are_for_their_owner_only_and_in_no_backup(pair, tmp_path):
    for side in ("tablet", "clinic"):
        path = tmp_path / side / "keys" / f"{side}.json"
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    pair.clinic.back_up(tmp_path / "copy.sqlite")
    secret = json.loads((tmp_path / "clinic" / "keys" / "clinic.json").read_text())
    copy = (tmp_path / "copy.sqlite").read_bytes()
    assert all(value.encode() not in copy for value in secret.values())


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
    assert pair.tablet.not_handed_over() == 2
    pair.send()  # the file is not what was written, so it is written again
    assert pair.receive().outcomes["new"] == 1


def test_a_bundle_signed_with_another_key_waits_for_a_person(pair):
    stranger = hand.key("stranger")
    sealed = bundle.sign_and_seal(
        hand.packed(hand.whole(kit.visit(sequence=9))), stranger,
        [keys.clinic_keys(pair.clinic).card.seal],
    )  # fmt: skip
    write_whole(pair.stick / "x_000001.cbundle", sealed)
    assert pair.receive().outcomes == {"device": 1}
    assert pair.clinic.visits() == []
    (item,) = pair.clinic.quarantine()
    assert "is not known" in pair.waiting()[0]
    pair.take(item)
    assert [v.header.sequence for v in pair.clinic.visits()] == [9]
    assert pair.clinic.quarantine() == []


def test_an_unknown_person_waits_and_is_enrolled_by_a_choice(tmp_path):
    pair = hand.Pair(tmp_path, accepted=False)
    public = keys.tablet_key(pair.tablet).public_key().public_bytes_raw()
    hand.accept_key(pair.clinic, public)
    pair.send()
    assert pair.receive().outcomes == {"person": 2}
    assert pair.clinic.list_people() == []
    assert "2 bundles  K7QF is not enrolled here" in pair.waiting()[0]
    pair.take(pair.clinic.quarantine()[0])
    assert len(pair.clinic.visits()) == 2
    assert hashes(pair.clinic) == hashes(pair.tablet)
    pair.close()


def test_a_person_who_is_enrolled_differently_waits(pair):
    other = hand.packed(hand.whole(kit.visit()), person=kit.person(first_hand="left"))
    signer = keys.tablet_key(pair.tablet)
    assert admit(pair.clinic, hand.arrival(other, signer), wall=hand.wall) == "person"
    assert "enrolled differently" in pair.waiting()[0]
    pair.take(pair.clinic.quarantine()[0])
    assert len(pair.clinic.visits()) == 1
    assert pair.clinic.person("K7QF").first_hand == "right"  # the enrolment here holds


def test_a_later_form_is_refused_and_the_file_is_kept(pair):
    pair.send()
    path = pair.bundles()[0]
    identities = keys.clinic_keys(pair.clinic).identities
    signed = pyrage.decrypt(path.read_bytes(), list(identities))
    later = signed.replace(b"bundle 1\n", b"bundle 2\n", 1)
    sealed = pyrage.encrypt(later, [identities[0].to_public()])
    path.write_bytes(sealed)
    report = pair.receive()
    assert report.n_newer == 1
    assert "Update this program" in report.refused[0]
    assert path.read_bytes() == sealed


# Contradictions: both are kept, and a person chooses.


@pytest.fixture
def conflict(pair):
    """The clinic has a visit; another version of it comes from the same tablet."""
    pair.send()
    pair.receive()
    header = pair.tablet.visits()[0].header
    pair.clinic.amend("visit", header.visit_id, "note", "seen", **hand.SAID)
    other = hand.packed(hand.whole(header, seed=99, n_blocks=2), number=9)
    signer = keys.tablet_key(pair.tablet)
    assert admit(pair.clinic, hand.arrival(other, signer), wall=hand.wall) == "conflict"
    return pair


def test_two_versions_of_a_visit_are_kept_and_neither_counts(conflict):
    assert len(conflict.clinic.visits()) == 1  # the other visit
    versions = conflict.clinic.quarantine()
    assert len({v.content_sha256 for v in versions}) == len(versions) == 2
    assert verify(conflict.clinic).n_visits == 1


@pytest.mark.parametrize("which", ["stored", "arrived"])
def test_the_version_that_is_taken_holds_and_the_other_is_kept(conflict, which):
    header = conflict.tablet.visits()[0].header
    original = conflict.tablet.visit_sha256(header.visit_id)
    (item,) = [
        w for w in conflict.clinic.quarantine()
        if (w.content_sha256 == original) == (which == "stored")
    ]  # fmt: skip
    conflict.take(item)
    assert conflict.clinic.visit_sha256(header.visit_id) == item.content_sha256
    assert conflict.clinic.quarantine() == []
    kept = {w.decision: w for w in conflict.clinic.quarantine(decided=True)}
    assert set(kept) == {"taken", "left out"}
    assert (kept["left out"].author, kept["left out"].why) == ("AB", "compared")
    # What was said about the stored one comes back with it.
    assert len(conflict.clinic.amendments()) == (which == "stored")
    # The one that was left out does not come back by being received again.
    before = hand.state(conflict.clinic)
    conflict.receive()
    assert hand.state(conflict.clinic)["blocks"] == before["blocks"]


def test_the_last_version_cannot_be_left_out(conflict):
    first, second = conflict.clinic.quarantine()
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
    visits = pair.clinic.visits("K7QF")
    assert [v.header.sequence for v in visits] == [1, 2, 2]
    starts = [v.header.started_utc for v in visits]
    assert starts == sorted(starts)
    pair.clinic.begin_visit(kit.visit(sequence=3))  # and one more can be recorded here


def test_an_amendment_that_names_somebody_unknown_waits(pair):
    pair.tablet.add_person(kit.person("M4WX"))
    visit = pair.tablet.visits()[0].header.visit_id
    pair.tablet.amend("visit", visit, "person", "M4WX", **hand.SAID)
    pair.send()
    assert pair.receive().outcomes == {"new": 1, "person": 1}


def test_a_visit_that_was_altered_after_it_was_received_is_named(pair):
    pair.send()
    pair.receive()
    assert verify(pair.clinic).n_visits == 2
    assert not [f for f in verify(pair.clinic).findings if "signed" in f.what]
    visit = pair.clinic.visits()[0].header.visit_id
    pair.clinic.end_visit(visit, "stopped")
    (found,) = [f for f in verify(pair.clinic).findings if "signed" in f.what]
    assert visit in found.where


def test_a_stranger_who_was_left_out_does_not_wait_again(pair):
    content = hand.packed(hand.whole(kit.visit(sequence=9)))
    stranger = hand.arrival(content, hand.key("stranger"))
    assert admit(pair.clinic, stranger, wall=hand.wall) == "device"
    (item,) = pair.clinic.quarantine()
    leave_out(pair.clinic, item.item_id, author="AB", why="not ours", wall=hand.wall)
    assert admit(pair.clinic, stranger, wall=hand.wall) == "left out"
    assert pair.clinic.quarantine() == []


def test_a_lost_tablet_is_no_longer_believed(pair):
    """What it signed before stays; what it signs from then on waits."""
    pair.send()
    pair.receive()
    public = keys.tablet_key(pair.tablet).public_key().public_bytes_raw()
    pair.clinic.drop_tablet(keys.fingerprint(public))
    hand.record_visits(pair.tablet, 1, first=3)
    pair.send()
    assert pair.receive().outcomes == {"same": 2, "device": 1}
    assert len(pair.clinic.visits()) == 2


# Receipts


def test_a_forged_receipt_marks_nothing(pair):
    pair.send()
    pair.receive()
    (receipt,) = pair.stick.glob("*.receipt")
    told = json.loads(receipt.read_text())
    told["body"]["bundles"][0][1] = "0" * 64
    receipt.write_text(json.dumps(told))
    report = pair.send()
    assert report.n_acknowledged == 0
    assert "not the clinic's" in report.problems[0]
    receipt.write_text("[" * 100_000)
    assert "no receipt" in pair.send().problems[0]
    assert pair.tablet.not_handed_over() == 2


def test_a_bundle_that_waits_for_its_tablet_has_no_receipt(tmp_path):
    pair = hand.Pair(tmp_path, accepted=False)
    pair.send()
    pair.receive()
    assert list(pair.stick.glob("*.receipt")) == []
    assert pair.send().n_acknowledged == 0
    pair.close()


# Erasure reaches the folder and the quarantine.


def test_an_erased_person_is_not_received_again(pair):
    pair.send()
    pair.receive()
    pair.clinic.erase_person("K7QF", author="AB", at_utc=hand.SAID["at_utc"])
    assert pair.receive().outcomes == {"same": 2}
    other = hand.packed(hand.whole(kit.visit(sequence=7)), number=7)
    signer = keys.tablet_key(pair.tablet)
    assert admit(pair.clinic, hand.arrival(other, signer), wall=hand.wall) == "erased"
    assert pair.clinic.visits() == []
    assert all(r.person is None and r.visit_id is None for r in pair.clinic.received())


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
    assert conflict.tablet.visits()[0].header.visit_id.encode() not in left


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


def test_a_tablet_whose_clock_is_ahead_is_named(pair):
    pair.send()
    notes = receive(pair.clinic, pair.stick, wall=lambda: hand.NOW - timedelta(hours=2)).notes
    assert "its clock is 120 min ahead" in notes[0]
    assert pair.receive().notes == []


# Keys


def test_a_key_that_was_not_compared_is_not_kept(pair, tmp_path):
    with Store.open(tmp_path / "new") as store:
        with pytest.raises(UsageError, match="compare it"):
            keys.make_tablet_keys(store, keys.found_cards(pair.stick), ["0000 0000 0000 0000"])
        assert keys.clinics_of(store) == []


def test_making_keys_again_keeps_the_first(pair):
    first = keys.show_keys(pair.clinic)
    keys.make_clinic_keys(pair.clinic, pair.stick)
    assert keys.show_keys(pair.clinic) == first


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"format": 1, "seal": "age1", "sign": ""}'])
def test_a_card_that_is_none_is_refused(tmp_path, text):
    (tmp_path / "clinic_x.card").write_text(text)
    with pytest.raises(HandoverError, match="no card"):
        keys.found_cards(tmp_path)


# Full disks, missing rights, odd files


def test_a_folder_that_cannot_be_written_loses_nothing(pair):
    if os.getuid() == 0:
        shutil.rmtree(pair.stick)
        pair.stick.write_text("a file where a folder should be")
    else:
        pair.stick.chmod(0o500)
    with pytest.raises(StoreError, match=r"Nothing was sent|kept in the store"):
        pair.send()
    assert pair.tablet.not_handed_over() == 2


def fill(path):
    """Write until nothing more fits."""
    with contextlib.suppress(OSError), path.open("wb", buffering=0) as file:
        while True:
            file.write(b"x" * 4096)


def test_a_full_stick_is_said_and_the_next_one_works(small_disk, tmp_path):
    pair = hand.Pair(tmp_path / "pair")
    stick, pair.stick = pair.stick, small_disk
    filler = small_disk / "filler"
    fill(filler)
    with pytest.raises(StoreError, match="No space left"):
        pair.send()
    assert list(small_disk.iterdir()) == [filler]  # no half file under any name
    pair.stick = stick
    report = pair.send()
    assert report.n_sent == 2
    assert pair.receive().outcomes == {"new": 2}
    assert pair.receive().notes == []
    pair.close()


def test_links_pipes_and_folders_are_not_opened(pair, tmp_path):
    secret = tmp_path / "secret"
    secret.write_text("not for you")
    (pair.stick / "a.cbundle").symlink_to(secret)
    os.mkfifo(pair.stick / "b.cbundle")
    (pair.stick / "c.cbundle").mkdir()
    with (pair.stick / "d.cbundle").open("wb") as huge:
        huge.truncate(10_000_000_000)
    refused = pair.receive().refused
    assert len(refused) == 4
    assert ["no plain file" in line for line in refused] == [True, True, True, False]
    assert "more than" in refused[3]


def test_a_clinic_whose_disk_is_full_takes_nothing_half(small_disk, tmp_path):
    pair = hand.Pair(tmp_path / "pair", clinic=small_disk / "clinic", n_visits=1)
    pair.send()
    fill(small_disk / "filler")
    with pytest.raises(StoreError, match=r"full|No space"):
        pair.receive()
    assert pair.clinic.visits() == []
    assert pair.clinic.received() == []
    (small_disk / "filler").unlink()
    assert pair.receive().outcomes == {"new": 1}
    assert hashes(pair.clinic) == hashes(pair.tablet)
    pair.close()


def test_files_that_may_not_grow_lose_nothing(pair):
    """The same without the right to make a small disk: the system limits the size of files."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, before[1]))
    try:
        with pytest.raises(StoreError):
            pair.send()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert pair.bundles() == []
    assert pair.send().n_sent == 2
    assert pair.receive().outcomes == {"new": 2}
    assert pair.receive().notes == []


def test_a_receipt_that_cannot_be_written_is_said_and_what_came_stays(pair, monkeypatch):
    pair.send()
    real = os.open

    def refusing(path, flags, *rest, **named):
        if str(path).endswith(".receipt.partial"):
            raise OSError(30, "Read-only file system")
        return real(path, flags, *rest, **named)

    monkeypatch.setattr(os, "open", refusing)
    with pytest.raises(StoreError, match="Read-only file system"):
        pair.receive()
    assert len(pair.clinic.visits()) == 2
    monkeypatch.undo()
    assert pair.receive().outcomes == {"same": 2}
    assert pair.send().n_acknowledged == 2


def test_a_stick_that_is_write_protected_is_said(pair, small_disk):
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    pair.stick = small_disk
    with pytest.raises(StoreError, match="Read-only file system"):
        pair.send()
    assert pair.tablet.not_handed_over() == 2


def test_a_server_receives_as_well(tmp_path, empty_database, monkeypatch):
    monkeypatch.setenv("BATTERY_HOME", str(tmp_path / "data"))
    pair = hand.Pair(tmp_path, clinic=empty_database)
    pair.send()
    assert pair.receive().outcomes == {"new": 2}
    assert hashes(pair.clinic) == hashes(pair.tablet)
    header = pair.tablet.visits()[0].header
    other = hand.packed(hand.whole(header, seed=99, n_blocks=2), number=9)
    signer = keys.tablet_key(pair.tablet)
    assert admit(pair.clinic, hand.arrival(other, signer), wall=hand.wall) == "conflict"
    pair.take(pair.clinic.quarantine()[0])
    assert pair.receive().outcomes == {"same": 2}
    assert pair.send().n_acknowledged == 2
    pair.close()
