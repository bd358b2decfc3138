"""From tablet to clinic: whole, private, and safe to repeat; a receipt comes back."""

import json
import shutil
import stat
from dataclasses import replace
from datetime import timedelta

import pyrage
import pytest
from sqlalchemy import update

from battery.errors import HandoverError, UsageError
from battery.export import export_tidy
from battery.handover import bundle_reading, keys, make_clinic_keys, receive, send, take
from battery.handover.receiving import missing_lines, open_bundle
from battery.rescoring import rescore_all
from battery.store import Store, schema
from tests import handover_kit as hand
from tests.export_kit import NOW, files


def test_what_was_recorded_arrives_bit_for_bit_with_what_lies_beside(pair):
    visit = pair.tablet.visits.all()[0].header
    block = pair.tablet.records.of_visit(visit.visit_id)[0].header
    pair.tablet.annotations.amend("block", block.block_id, "hand", "left", **hand.SAID)
    pair.tablet.annotations.add_marker("K7QF", "fall", at_utc=hand.SAID["at_utc"])
    assert pair.send().n_sent == 3  # two visits, and what lies beside them
    assert pair.receive().outcomes == {"new": 2, "added": 1}
    assert hand.hashes(pair.clinic) == hand.hashes(pair.tablet)
    assert pair.clinic.visits.all() == pair.tablet.visits.all()
    assert pair.clinic.annotations.amendments() == pair.tablet.annotations.amendments()
    assert pair.clinic.annotations.markers() == pair.tablet.annotations.markers()
    assert pair.clinic.setup.plans() == pair.tablet.setup.plans()


def test_everything_stays_until_the_receipt_and_the_count_says_so(pair):
    assert pair.tablet.bundles.not_handed_over() == 2
    before = hand.hashes(pair.tablet)
    pair.send()
    assert pair.tablet.bundles.not_handed_over() == 2  # written is not received
    pair.receive()
    again = pair.send()
    assert (again.n_sent, again.n_acknowledged, again.n_waiting) == (0, 2, 0)
    assert pair.tablet.bundles.not_handed_over() == 0
    assert hand.hashes(pair.tablet) == before
    hand.record_visits(pair.tablet, 1, first=3)
    assert pair.tablet.bundles.not_handed_over() == 1


def test_the_clinics_export_is_the_tablets_byte_for_byte(small_clinic, tmp_path):
    """A whole invented clinic goes over: what a researcher gets does not depend on where."""
    stick = tmp_path / "stick"
    stick.mkdir()
    own = shutil.copytree(small_clinic, tmp_path / "own")
    with Store.open(own) as tablet, Store.open(tmp_path / "other") as clinic:
        mark = keys.make_clinic_keys(clinic, stick)
        keys.make_tablet_keys(tablet, keys.found_cards(stick), [mark])
        rescore_all(tablet, progress=lambda *_: None, n_processes=1)  # one block had no scores
        send(tablet, stick, wall=hand.wall)
        receive(clinic, stick, wall=hand.wall)
        while waiting := clinic.transfer.quarantine():
            take(clinic, waiting[0].item_id, author="AB", why="ours", wall=hand.wall)
        assert len(clinic.visits.all()) == len(tablet.visits.all()) == 5
        for store, name in ((tablet, "here"), (clinic, "there")):
            export_tidy(store, tmp_path / name, now=NOW)
    assert files(tmp_path / "here") == files(tmp_path / "there")


def test_a_store_without_hand_over_counts_nothing(tmp_path):
    with Store.open(tmp_path) as store:
        hand.record_visits(store, 1)
        assert store.bundles.not_handed_over() is None


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


@pytest.mark.parametrize("number", [2**63 - 1, 1_000_001])
def test_after_a_damaged_number_the_next_one_still_follows(pair, number):
    pair.send()
    bundles = schema.bundles
    with pair.tablet._writing() as connection:
        damage = update(bundles).where(bundles.c.number == 2).values(number=number)
        connection.execute(damage)
    hand.record_visits(pair.tablet, 1, first=3)
    pair.send()
    numbers = [int(path.stem[-6:]) for path in pair.bundles()]
    assert numbers in ([1, 2, 3], [1, 2, 3, 4])  # what cannot be read as sent is sent again


def test_missing_numbers_and_a_broken_chain_are_named(pair):
    hand.record_visits(pair.tablet, 3, first=3)
    pair.send()
    for path in pair.bundles()[1:3]:
        path.unlink()
    assert "bundles 2 to 3 have not been received" in " ".join(pair.receive().notes)
    received = pair.clinic.transfer.received()
    forged = [*received, replace(received[-1], number=6, previous_sha256="0" * 64)]
    assert any("bundle 6 does not follow" in line for line in missing_lines(forged))


# Private: sealed to one or two clinic keys, and to nobody else.


def test_no_word_of_a_bundle_can_be_read_without_the_clinics_key(pair, tmp_path):
    """The tablet itself has no key that opens it."""
    pair.send()
    sealed = pair.bundles()[0].read_bytes()
    visit = pair.tablet.visits.all()[0].header
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
    assert bundle_reading.open_signed(signed).visit is not None
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
    assert pair.tablet.bundles.not_handed_over() == 2


def test_a_bundle_that_waits_for_its_tablet_has_no_receipt(tmp_path):
    pair = hand.Pair(tmp_path, accepted=False)
    pair.send()
    pair.receive()
    assert list(pair.stick.glob("*.receipt")) == []
    assert pair.send().n_acknowledged == 0
    pair.close()


def test_a_tablet_whose_clock_is_ahead_is_named(pair):
    pair.send()
    notes = receive(pair.clinic, pair.stick, wall=lambda: hand.NOW - timedelta(hours=2)).notes
    assert "its clock is 2 h ahead" in notes[0]
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
    with pytest.raises(HandoverError, match="not a clinic's card"):
        keys.found_cards(tmp_path)
