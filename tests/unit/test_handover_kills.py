"""Killed (-9) at random moments of export, send, receive and backup, in real processes.

Nothing half is ever found under a final name, no store is harmed, and doing it again completes
what was cut off.
"""

import random
import shutil
import sys

import pytest

from battery.export import verify_export
from battery.handover import keys
from battery.handover.receiving import open_bundle
from battery.store import Store
from battery.store.opening import FILE_NAME
from battery.verify import verify
from tests import handover_kit as hand
from tests.warm_child import WarmChild

FOREVER_MS = 60_000


class Child(WarmChild):
    def run(self, word, first, second, limit_ms=FOREVER_MS):
        self.process.stdin.write(f"{limit_ms:.1f} {word} {first} {second}\n")
        how, took_ms = self.process.stdout.readline().split()
        assert how != "failed"
        return how, float(took_ms)


@pytest.fixture(scope="module")
def child():
    made = Child("tests.handover_child")
    yield made
    made.close()


@pytest.fixture
def places(tmp_path):
    """A tablet, a clinic and a stick, closed."""
    pair = hand.Pair(tmp_path / "start", n_visits=3)
    pair.close()
    return tmp_path


def fresh(places, name):
    return shutil.copytree(places / "start", places / name)


def raw(home):
    with Store.open(home, write=False) as store:
        assert store.problems() == []
        return {
            b.header.block_id: (b.sha256, store.records.load(b.header.block_id).sha256)
            for v in store.visits.all()
            for b in store.records.of_visit(v.header.visit_id)
        }


def whole_bundles(place):
    """Every file under a final name opens; return how many there are."""
    with Store.open(place / "clinic", write=False) as clinic:
        own = keys.clinic_keys(clinic)
    paths = sorted((place / "stick").glob("[!.]*.cbundle"))
    assert all(open_bundle(path, own).visit is not None for path in paths)
    return len(paths)


def kill_sending(child, places, moment, name):
    place = fresh(places, name)
    how, _ = child.run("send", place / "tablet", place / "stick", moment)
    whole_bundles(place)
    before = raw(place / "tablet")
    child.run("send", place / "tablet", place / "stick")
    child.run("receive", place / "clinic", place / "stick")
    assert raw(place / "clinic") == before
    assert len(before) == 6
    child.run("send", place / "tablet", place / "stick")
    with Store.open(place / "tablet", write=False) as tablet:
        assert tablet.bundles.not_handed_over() == 0
    return how == "killed"


def kill_receiving(child, places, moment, name):
    place = fresh(places, name)
    child.run("send", place / "tablet", place / "stick")
    truth = raw(place / "tablet")
    how, _ = child.run("receive", place / "clinic", place / "stick", moment)
    arrived = raw(place / "clinic")
    assert all(truth[block] == hashes for block, hashes in arrived.items())
    with Store.open(place / "clinic", write=False) as clinic:
        for visit in clinic.visits.all():  # a visit is there whole or not at all
            assert len(clinic.records.of_visit(visit.header.visit_id)) == 2
    child.run("receive", place / "clinic", place / "stick")
    assert raw(place / "clinic") == truth
    return how == "killed"


def kill_exporting(child, places, moment, name):
    place = fresh(places, name)
    home, target = place / "tablet", place / "export"
    child.run("export", home, target)
    earlier = sorted(p.name for p in target.iterdir())
    how, _ = child.run("export", home, target, moment)
    names = {p.name for p in target.iterdir()}
    # Each file under a final name is whole; without the descriptor it is no export.
    if "datapackage.json" in names:
        found = verify_export(target)
        assert [f for f in found.findings if "descriptor" in f.what] == []
    child.run("export", home, target)
    assert sorted(p.name for p in target.iterdir()) == earlier
    return how == "killed"


def kill_backing_up(child, places, moment, name):
    place = fresh(places, name)
    home, target = place / "tablet", place / "copy.sqlite"
    how, _ = child.run("backup", home, target, moment)
    if target.exists():
        restored = place / "restored"
        restored.mkdir()
        shutil.copyfile(target, restored / FILE_NAME)
        assert raw(restored) == raw(home)
    else:
        child.run("backup", home, target)
    with Store.open(home, write=False) as store:
        assert verify(store).n_blocks == 6
    return how == "killed"


KILLS = {
    "send": kill_sending,
    "receive": kill_receiving,
    "export": kill_exporting,
    "backup": kill_backing_up,
}


def times_of(child, places):
    """How long each takes here when it is left alone, ms."""
    place = fresh(places, "timed")
    pairs = {
        "send": ("tablet", "stick"),
        "receive": ("clinic", "stick"),
        "export": ("tablet", "export"),
        "backup": ("tablet", "copy.sqlite"),
    }
    return {
        word: child.run(word, place / first, place / second)[1]
        for word, (first, second) in pairs.items()
    }


def kill_at_random(child, places, n_kills, seed):
    moments = random.Random(seed)
    took_ms = times_of(child, places)
    killed = dict.fromkeys(KILLS, 0)
    for number in range(n_kills):
        for word, kill in KILLS.items():
            name = f"{word}{number}"
            moment = moments.uniform(0, took_ms[word])
            killed[word] += kill(child, places, moment, name)
            shutil.rmtree(places / name)
    return killed


def test_a_few_kills_leave_nothing_half(child, places):
    killed = kill_at_random(child, places, 1, seed=1)
    assert sum(killed.values()) >= 1


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_two_hundred_kills_leave_nothing_half(child, places):
    killed = kill_at_random(child, places, 50, seed=2)
    sys.stdout.write(f"\nkilled half-way: {killed}\n")
    assert min(killed.values()) >= 25
