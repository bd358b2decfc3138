"""Two programs that receive into one store on a server at once: both succeed, nothing twice."""

import json
import threading
from pathlib import Path

import pytest

from battery.alarms import limits_of, set_limit
from battery.clinic_changes import clinic_changes, signed
from battery.errors import StoreError, UsageError
from battery.handover import bundle, keys, receive
from battery.handover.folder_files import write_whole
from battery.handover.receiving import write_receipts
from battery.store import Store
from tests import handover_kit as hand
from tests import store_kit as kit

N_VISITS = 4
MARK = "1a2b 3c4d 5e6f 7a8b"


def prepared(address, folder):
    """A clinic on a server, and a stick with bundles, the last two of one visit that differ."""
    stick = folder / "stick"
    stick.mkdir(parents=True)
    with Store.open(address) as store:
        store.folder = folder  # where its keys lie
        store.people.add(kit.person())
        keys.make_clinic_keys(store, folder / "cards")
        signer = hand.key("tablet")
        hand.accept_key(store, signer.public_key().public_bytes_raw())
        seal_to = [keys.clinic_keys(store).card.seal]
    for number in range(1, N_VISITS + 2):
        visit = kit.visit(sequence=min(number, N_VISITS))
        content = hand.packed(hand.whole(visit, seed=number), number=number)
        sealed = bundle.sign_and_seal(content, signer, seal_to)
        (stick / f"x_{number:06d}.cbundle").write_bytes(sealed)
    return stick


def receive_at_once(address, folder, stick):
    begin, reports, failures = threading.Barrier(2), [], []

    def work():
        with Store.open(address) as store:
            store.folder = folder
            begin.wait()
            try:
                reports.append(receive(store, stick, wall=hand.wall))
            except Exception as error:  # noqa: BLE001  # any at all is looked at below
                failures.append(error)

    threads = [threading.Thread(target=work) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert [report.refused for report in reports] == [[], []]
    with Store.open(address, write=False) as store:
        held = [v.header.sequence for v in store.visits.all()]
        waiting = {
            w.content_sha256 for w in store.transfer.quarantine() if w.reason == "conflict"
        }
    assert held == list(range(1, N_VISITS))
    assert len(waiting) == 2
    assert not list(stick.glob(".*partial*"))
    assert len(list(stick.glob("*.receipt"))) == 1


@pytest.mark.parametrize("n_pairs", [2, pytest.param(20, marks=pytest.mark.long)])
def test_two_receive_at_once_into_a_store_on_a_server(new_database, tmp_path, n_pairs):
    for pair in range(n_pairs):
        address, folder = new_database(), tmp_path / str(pair)
        receive_at_once(address, folder, prepared(address, folder))


def test_a_file_that_another_program_replaces_at_once_is_no_failure(tmp_path, monkeypatch):
    """Two receivers write one receipt; the slower one's stands, and neither has failed."""
    real = Path.replace

    def replace(path, target):
        real(path, target)
        target.write_bytes(b"of the other program")

    monkeypatch.setattr(Path, "replace", replace)
    write_whole(tmp_path / "a.receipt", b"of this program")
    assert (tmp_path / "a.receipt").read_bytes() == b"of the other program"


def test_a_file_that_does_not_read_back_leaves_the_earlier_one(tmp_path, monkeypatch):
    path = tmp_path / "a.receipt"
    path.write_bytes(b"before")
    monkeypatch.setattr(Path, "read_bytes", lambda _: b"rotten")
    with pytest.raises(StoreError, match="does not read back"):
        write_whole(path, b"after")
    monkeypatch.undo()
    assert path.read_bytes() == b"before"
    assert list(tmp_path.iterdir()) == [path]


def test_the_last_receipt_names_what_the_other_program_received_meanwhile(
    tmp_path, monkeypatch
):
    """Whoever writes last looks once more at what was received; else its list is the older."""
    pair = hand.Pair(tmp_path, n_visits=2)
    pair.send()
    pair.receive()
    whole = pair.clinic.transfer.received()
    looks = iter([whole[:1]])  # what the other program wrote after the first look is not in it
    monkeypatch.setattr(pair.clinic.transfer, "received", lambda: next(looks, whole))
    write_receipts(pair.clinic, pair.stick, keys.clinic_keys(pair.clinic), wall=hand.wall)
    named = json.loads(next(pair.stick.glob("*.receipt")).read_text())["body"]["bundles"]
    assert len(named) == len(whole) >= 2
    pair.close()


def test_a_setting_put_by_two_at_once_is_no_error(empty_database):
    with Store.open(empty_database):
        pass
    failures = []

    def work(name):
        with Store.open(empty_database) as store:
            for number in range(20):
                try:
                    store.setup.put_setting(f"key {number}", name)
                    store.setup.add_to_setting("list", f"{name} {number}")
                except Exception as error:  # noqa: BLE001  # looked at below
                    failures.append(error)

    threads = [threading.Thread(target=work, args=(name,)) for name in ("a", "b")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    with Store.open(empty_database, write=False) as store:
        assert len(store.setup.setting("list", [])) == 40


def test_a_visit_that_another_takes_away_while_it_is_read_is_no_refusal(tmp_path, monkeypatch):
    """Both receive two versions of a visit; the quicker one has put it aside already."""
    pair = hand.Pair(tmp_path, n_visits=0)
    signer = keys.tablet_key(pair.tablet)
    seal_to = [keys.clinic_keys(pair.clinic).card.seal]

    def put(number):
        content = hand.packed(hand.whole(kit.visit(), seed=number), number=number)
        sealed = bundle.sign_and_seal(content, signer, seal_to)
        (pair.stick / f"x_{number:06d}.cbundle").write_bytes(sealed)

    put(1)
    pair.receive()
    put(2)
    real, turns = pair.clinic.transfer.whole_visit, iter([True])

    def whole_visit(visit_id):
        if next(turns, False):
            with Store.open(tmp_path / "clinic") as other:
                receive(other, pair.stick, wall=hand.wall)
        return real(visit_id)

    monkeypatch.setattr(pair.clinic.transfer, "whole_visit", whole_visit)
    assert pair.receive().refused == []
    waiting = {w.content_sha256 for w in pair.clinic.transfer.quarantine()}
    assert len(waiting) == 2
    pair.close()


def test_a_tablet_or_person_taken_twice_is_taken_once(tmp_path):
    """As the desk and a command may do at once: the second finds it done."""
    said = {"author": "AB", "at_utc": hand.SAID["at_utc"]}
    with Store.open(tmp_path) as store:
        for _ in range(2):
            store.transfer.accept_tablet(MARK, "its key", "T-03", **said)
            store.transfer.enrol_arrived(kit.person())
        with pytest.raises(UsageError, match="another tablet's key"):
            store.transfer.accept_tablet(MARK, "another key", "T-03", **said)
        assert [t.public_key for t in store.transfer.tablets()] == ["its key"]
        assert len(store.people.all()) == 1


def test_what_is_written_together_inside_another_is_kept_with_it_or_not_at_all(tmp_path):
    def both(store, fail):
        with store.together():
            store.setup.put_setting("large", True)
            with store.together():
                store.setup.put_setting("emergency_number", "112")
            assert store.setup.setting("emergency_number") == "112"
            if fail:
                raise UsageError(fail)

    with Store.open(tmp_path) as store:
        with pytest.raises(UsageError, match="on the way"):
            both(store, "on the way")
        assert [store.setup.setting(name) for name in ("large", "emergency_number")] == [
            None
        ] * 2
        with store.tried():
            both(store, "")
        assert store.setup.setting("large") is None
        both(store, "")
        assert store.setup.setting("large") is True
        assert store.setup.setting("emergency_number") == "112"


def test_two_authors_who_change_the_clinic_at_once_are_told_apart(empty_database):
    """On a server, where the second waits for the first; neither's limit is lost."""
    at_utc = "2026-12-05T10:00:00.000+00:00"

    def second():
        with Store.open(empty_database) as store, signed(store, author="CD", at_utc=at_utc):
            set_limit(store, "pain", 5)

    beside = threading.Thread(target=second)
    with Store.open(empty_database) as store:
        with signed(store, author="AB", at_utc=at_utc):
            set_limit(store, "fatigue", 6)
            beside.start()
            beside.join(0.5)
            assert beside.is_alive()
        beside.join()
        told = {(c.author, c.what, c.old, c.new) for c in clinic_changes(store)}
        assert told == {("AB", "limit:fatigue", "8", "6"), ("CD", "limit:pain", "7", "5")}
        held = limits_of(store)
        assert (held["fatigue"], held["pain"]) == (6, 5)
