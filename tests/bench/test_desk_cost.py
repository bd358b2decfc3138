"""What the desk costs in a large clinic, in processor time of this process.

The store is one visit of the standard plan with both hands, copied to many people and weeks, no
two scores alike; two people have samples, so that their pages are judged as pages are. A loop
of plain Python in the same run says how busy the machine was (about 0.04 s where nothing else
runs). By hand: ``pytest tests/bench/test_desk_cost.py -m long -s``
"""

import shutil
import sys
import time

import psutil
import pytest

from battery.desk.remembering import Remembered
from battery.plan import PLANS
from battery.store import Person, Store
from tests import clinic
from tests.desk.office import Desk
from tests.multiplying import SOURCE, multiplied

pytestmark = [pytest.mark.bench, pytest.mark.long, pytest.mark.timeout(3600)]
N_VISITS = 26
N_PEOPLE = (50, 200)
UNIT_S = 0.042  # of the loop, on a quiet machine of these figures
MAX_S = {"list warm": 0.1, "page first, pools held": 1.0, "page warm": 0.3}
MAX_PER_PERSON = 1.5  # of a cold list: of four times the people against the fewer
WHOLE = ("AAA9", "AAC9")


def cost_s(work):
    start_s = time.process_time()
    work()
    return time.process_time() - start_s


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


def unit_s():
    """Processor time of a loop that is always the same."""

    def loop():
        total = 0
        for number in range(1_000_000):
            total += number * number

    return cost_s(loop)


def figures_of(one_visit, folder, n_people):
    home = shutil.copytree(one_visit, folder / "clinic")
    multiplied(home, n_people, N_VISITS, whole=WHOLE)
    desk = Desk(home)
    desk.office.prepare = lambda *_makes: None  # nothing is made meanwhile
    desk.come_in()
    here = desk.office
    here.remembered, here._known_of = Remembered(here.changes.sign), None
    steps = {
        "list cold": lambda: desk.get("/"),
        "list warm": lambda: desk.get("/"),
        "pools": here.pools,
        "page first, pools held": lambda: desk.get(f"/person/{WHOLE[0]}"),
        "page warm": lambda: desk.get(f"/person/{WHOLE[0]}"),
        "page of another": lambda: desk.get(f"/person/{WHOLE[1]}"),
        "list after a note": lambda: desk.get("/"),
        "list after a visit was left out": lambda: desk.get("/"),
        "pools after it": here.pools,
    }
    said = {"author": "AB", "reason": "so it was", "at_utc": "2026-12-01T10:00:00+00:00"}
    figures = {}
    for name, work in steps.items():
        with Store.open(home) as store:
            if name == "list after a note":
                store.annotations.add_marker("AAB9", "fall", at_utc=said["at_utc"])
            if name == "list after a visit was left out":
                visit = store.visits.all("AAB9")[7].header.visit_id
                store.annotations.amend("visit", visit, "excluded", "yes", **said)
        busy = max(unit_s() / UNIT_S, 1.0)
        figures[name] = cost_s(work) / busy
    memory_mb = psutil.Process().memory_info().rss / 2**20
    told = ", ".join(f"{name} {seconds:.2f} s" for name, seconds in figures.items())
    sys.stdout.write(f"\n{n_people} people of {N_VISITS} visits: {told}; {memory_mb:.0f} MB\n")
    assert desk.get("/").text.count('<th scope="row">') == n_people + 1
    return figures


def test_a_large_clinic(one_visit, tmp_path):
    few, many = (figures_of(one_visit, tmp_path / str(n), n) for n in N_PEOPLE)
    assert {name: many[name] for name in MAX_S if many[name] > MAX_S[name]} == {}
    times = N_PEOPLE[1] / N_PEOPLE[0]
    assert many["list cold"] / times <= MAX_PER_PERSON * few["list cold"]
    assert many["list after a note"] < many["list cold"] / 4
