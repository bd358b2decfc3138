"""Visits that do not go as planned, through the real window: each ends as it should.

Another process moves the pointer, sees only what the program publishes, and answers the pages
as its story says; what is then in the store, on the page and in the flags is looked at.
"""

import random
import threading

import pytest

from battery.flagging import Flagging
from battery.report import gather
from battery.scoring.flags import FLAGS
from battery.store import Store
from battery.verify import verify
from tests.screen.manners import Person
from tests.screen.servers import enrol, program
from tests.screen.stranger import Stranger
from tests.screen.test_stranger import finish

pytestmark = pytest.mark.needs("xvfb")

PLAN = """
name = "story"
hands = "right"
rest_s = 1.0

[[tasks]]
task = "tapping"
options = { duration_s = 14.0 }
practice = { duration_s = 3.0 }
"""
AT = "2026-03-04T10:00:00.000+00:00"


@pytest.fixture
def home(tmp_path):
    """A folder with one person and a plan of one task, and the arguments of a visit."""
    plan = tmp_path / "story.toml"
    plan.write_text(PLAN)
    code = enrol(tmp_path)
    return tmp_path, code, ("visit", code, "--plan", str(plan), "--windowed")


def raised(store):
    """Flags of the test blocks that answers raised, and the visits."""
    flagging = Flagging.read(store)
    found = set()
    visits = store.visits.all()
    for visit in visits:
        for record in store.records.of_visit(visit.header.visit_id):
            if record.header.phase == "test":
                found |= set(
                    flagging.flags(
                        visit.header, block_id=record.header.block_id, task="tapping",
                        hand=record.header.hand, ending=record.ending,
                        input_type=record.input_type, audit=record.audit, n_primary=40,
                    )
                )  # fmt: skip
    return found & {"hand_mismatch", "helped", "stopped_symptom", "stopped"}, visits


def asides(store, code):
    return " ".join(sorted({reading.aside for reading in gather(store, code).readings}))


@pytest.mark.long
@pytest.mark.timeout(900)
def test_the_other_hand_and_a_helper(display, pointer, home):
    """Both are kept and flagged, not trended, and settled by amendments; raw stays."""
    folder, code, arguments = home
    person = Person(hand_used="left", helped="yes")
    with program(display, folder, *arguments) as (process, published):
        stranger = Stranger(pointer, published, person)
        stranger.visit()
        stranger.press("end", last=True)
        status, _, err = finish(process)
    assert (status, err) == (0, "")
    assert "hand sure" in stranger.pages
    with Store.open(folder / "home") as store:
        flags, (visit,) = raised(store)
        assert flags == {"hand_mismatch", "helped"}
        assert visit.ending == "finished"
        block = store.records.of_visit(visit.header.visit_id)[-1]
        assert (block.ending, block.header.hand) == ("finished", "right")
        said = asides(store, code)
        assert FLAGS["hand_mismatch"].says in said
        assert FLAGS["helped"].says in said
        store.annotations.amend("block", block.header.block_id, "hand", "left", author="T",
                    reason="asked again", at_utc=AT)  # fmt: skip
        store.annotations.amend("visit", visit.header.visit_id, "helped", "no", author="T",
                    reason="only watched", at_utc=AT)  # fmt: skip
        assert raised(store)[0] == set()
        assert {reading.hand for reading in gather(store, code).readings} == {"left"}
        assert store.records.of_visit(visit.header.visit_id)[-1].sha256 == block.sha256
        assert verify(store).findings == ()


@pytest.mark.long
@pytest.mark.timeout(900)
def test_somebody_who_is_worse_by_three_is_sent_home_to_rest(display, pointer, home):
    """The rule of the trade: stop at +3 over the start; a sentence says what to do next."""
    folder, code, arguments = home
    with program(display, folder, *arguments) as (process, published):
        stranger = Stranger(pointer, published)
        stranger.block(stranger.to_block()["page"])  # the practice
        published.wait(lambda s: s["page"] == "ready tapping test")
        stranger.press("stop")
        stranger.press("unwell")
        stranger.press("dizziness")
        stranger.press("3")
        stranger.press("go")
        state = published.wait(lambda s: s["page"] == "enough")
        assert "help" in {b["key"] for b in state["buttons"]}
        stranger.press("end", last=True)
        assert finish(process)[0] == 0
    with Store.open(folder / "home") as store:
        (visit,) = store.visits.all()
        assert visit.ending == "stopped"
        said = [
            (a.moment, a.question, a.value) for a in store.visits.answers(visit.header.visit_id)
        ]
        assert ("before", "dizziness", "0") in said
        assert said[-1] == ("stop", "dizziness", "3")
        assert store.scores.all(code) == []
    with program(display, folder, *arguments) as (_, published):  # and is asked the next time
        stranger = Stranger(pointer, published, Person())
        while published.now()["page"] != "settled":
            state = published.wait(lambda s: s["page"] and s["buttons"])
            if state["page"] != "settled":
                stranger.answer(state)
    with Store.open(folder / "home") as store:
        assert len(store.visits.all()) == 2  # the stopped one was over


def test_somebody_else_leaves_nothing_behind(display, pointer, home):
    folder, _, arguments = home
    with program(display, folder, *arguments) as (process, published):
        stranger = Stranger(pointer, published)
        stranger.press("skip")
        published.wait(lambda s: s["page"] == "sound")
        stranger.press("go")
        stranger.press("other")
        published.wait(lambda s: s["page"] == "other")
        stranger.press("end", last=True)
        status, out, _ = finish(process)
    assert status == 0
    assert "nothing was recorded" in out
    with Store.open(folder / "home", write=False) as store:
        assert store.visits.all() == []


def kill_again_and_again(display, pointer, home, n_kills):
    """Kill the program at random moments; what was finished stays, and it always goes on."""
    folder, code, arguments = home
    source = random.Random(41)
    finished: set[str] = set()
    for _ in range(n_kills):
        with program(display, folder, *arguments) as (process, published):
            stranger = Stranger(pointer, published)
            killer = threading.Timer(source.uniform(1.0, 24.0), process.kill)
            killer.start()
            try:
                stranger.visit()
            except AssertionError:
                assert process.wait(60) == -9, "it ended by itself"
            killer.cancel()
            pointer.up()
        with Store.open(folder / "home") as store:
            store.records.recover()
            now = {
                r.header.block_id
                for visit in store.visits.all()
                for r in store.records.of_visit(visit.header.visit_id)
                if r.ending == "finished"
            }
            assert finished <= now
            finished = now
            assert verify(store).findings == ()
    with program(display, folder, *arguments) as (process, published):
        stranger = Stranger(pointer, published)
        stranger.visit()
        stranger.press("end", last=True)
        assert finish(process)[0] == 0
    with Store.open(folder / "home") as store:
        visits = store.visits.all(code)
        assert {visit.ending for visit in visits} == {"finished"}
        assert verify(store).findings == ()
        return len(finished)


@pytest.mark.timeout(900)
def test_a_kill_loses_no_finished_block(display, pointer, home):
    kill_again_and_again(display, pointer, home, 1)


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_fifty_kills_lose_no_finished_block(display, pointer, home):
    assert kill_again_and_again(display, pointer, home, 50) > 5
