"""What the desk costs in a large clinic: processor time and memory of `battery desk` itself.

The store is one visit of the standard plan with both hands, copied to many people and weeks, no
two scores alike; two people have samples, so that their pages are judged as pages are. The
desk is opened twice: the first has everything to read, the later one finds what it read. A
loop of plain Python in the same run says how busy the machine was (about 0.04 s where nothing
else runs). By hand: ``pytest tests/bench/test_desk_cost.py -m long -s``
"""

import shutil
import signal
import sqlite3
import sys
import time
from contextlib import contextmanager

import psutil
import pytest

from battery.plan import PLANS
from battery.store import Person, Store
from tests import clinic
from tests.desk.browsing import open_desk
from tests.desk.sockets import Stranger, status
from tests.multiplying import SOURCE, multiplied

pytestmark = [pytest.mark.bench, pytest.mark.long, pytest.mark.timeout(3600)]
N_VISITS = 26
UNIT_S = 0.042  # of the loop, on a quiet machine of these figures
# The very first page also reads and fits the pools and loads what draws it, about 1.5 s more;
# the desk does that while the code is typed, which is left out here.
LATER_S = {"list": 2.0, "list warm": 0.1, "page of another": 1.0, "page warm": 0.3}
MAX_MB = 300  # after list and pages, and once pools were fitted again
MAX_PER_PERSON = 1.5  # of a list: of many people against fewer
WHOLE = ("AAA9", "AAC9")
SAID = {"author": "AB", "reason": "so it was", "at_utc": "2026-12-01T10:00:00+00:00"}


@pytest.fixture(scope="module")
def one_visit(tmp_path_factory):
    """A store with two visits of one person, so that the second is copied."""
    home = tmp_path_factory.mktemp("one") / "clinic"
    with pytest.MonkeyPatch.context() as patch, Store.open(home) as store:
        patch.setattr(clinic, "PLAN", PLANS["standard"])
        enrolled = "2026-03-01T08:00:00+00:00"
        store.people.add(Person(SOURCE, "right", "left", "right", enrolled))
        for week in range(2):
            clinic.one_visit(store, SOURCE, week)
    return home


@pytest.fixture
def clinic_of(one_visit, tmp_path):
    """Make a clinic of so many people."""

    def made(n_people):
        home = shutil.copytree(one_visit, tmp_path / str(n_people))
        multiplied(home, n_people, N_VISITS, whole=WHOLE)
        return home

    return made


def busy():
    """How much longer a loop takes than on a quiet machine."""
    start_s, total = time.process_time(), 0
    for number in range(1_000_000):
        total += number * number
    return max((time.process_time() - start_s) / UNIT_S, 1.0)


class Costing:
    """A desk that runs, and what each answer costs it."""

    def __init__(self, process, address, home):
        self.program = psutil.Process(process.pid)
        self.figures = {}
        with self.costing("start", since_s=0.0):
            self.desk = Stranger(process, address, home, wait_s=600)

    @contextmanager
    def costing(self, name, since_s=None):
        slower = busy()
        before_s = self.spent_s() if since_s is None else since_s
        yield
        self.figures[name] = (self.spent_s() - before_s) / slower

    def spent_s(self):
        return sum(self.program.cpu_times()[:2])

    def get(self, name, path):
        with self.costing(name):
            answer = self.desk.ask("GET", path)
        assert status(answer) == 200
        return answer

    def memory_mb(self):
        return self.program.memory_info().rss / 2**20

    def told(self, title):
        self.figures["MB at the end"] = self.memory_mb()
        said = ", ".join(f"{name} {cost:.2f}" for name, cost in self.figures.items())
        sys.stdout.write(f"\n{title}: {said}\n")
        return self.figures


@contextmanager
def a_desk(home):
    """A desk that nothing prepares, as it knows nobody who could come in; ended cleanly."""
    with sqlite3.connect(home / "battery.sqlite") as held:
        held.execute("DELETE FROM settings WHERE name = 'desk_authors'")
    held.close()
    with open_desk(home) as (process, address):
        yield Costing(process, address, home)
        process.send_signal(signal.SIGTERM)
        assert process.wait(120) == 0


def looked_at(desk, n_people):
    listed = desk.get("list", "/")
    assert listed.count('<th scope="row">') == n_people + 1
    desk.get("list warm", "/")
    desk.get("page", f"/person/{WHOLE[0]}")
    desk.get("page warm", f"/person/{WHOLE[0]}")
    desk.get("page of another", f"/person/{WHOLE[1]}")
    desk.figures["MB"] = desk.memory_mb()


def figures_of(home, n_people):
    """Figures of the first desk and of a later one."""
    with a_desk(home) as desk:
        looked_at(desk, n_people)
        first = desk.told(f"{n_people} people, first desk")
    with a_desk(home) as desk, Store.open(home) as store:
        looked_at(desk, n_people)
        store.annotations.add_marker("AAB9", "fall", at_utc=SAID["at_utc"])
        desk.get("list after a fall", "/")
        visit = store.visits.all("AAB9")[7].header.visit_id
        store.annotations.amend("visit", visit, "excluded", "yes", **SAID)
        desk.get("list after a visit was left out", "/")
        desk.get("page after it", f"/person/{WHOLE[1]}")
        later = desk.told(f"{n_people} people, later desk")
    return first, later


def test_a_large_clinic(clinic_of):
    (few, few_later), (many, later) = (figures_of(clinic_of(n), n) for n in (50, 200))
    assert {name: later[name] for name in LATER_S if later[name] > LATER_S[name]} == {}
    assert max(many["MB at the end"], later["MB at the end"]) < MAX_MB
    assert many["list"] / 4 <= MAX_PER_PERSON * few["list"]
    assert later["list"] / 4 <= MAX_PER_PERSON * few_later["list"]
    assert later["list after a fall"] < many["list"] / 4


def test_two_thousand_people(clinic_of):
    """Some gigabytes of disk and some minutes."""
    few, more, many = (figures_of(clinic_of(n), n) for n in (200, 800, 2_000))
    for before, between, after in zip(few, more, many, strict=True):
        assert between["list"] / 4 <= MAX_PER_PERSON * before["list"]
        assert after["list"] / 10 <= MAX_PER_PERSON * before["list"]
