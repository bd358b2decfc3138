"""What was judged is kept while the store is as it was, and never longer."""

import gc
import shutil
import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from battery.desk.remembering import MAX_HELD, Remembered
from battery.desk.screens import person, today
from battery.report import known
from battery.store import Store
from battery.store.changes import Changes
from tests.desk.office import Desk


def test_a_sign_stays_until_any_program_writes(own_clinic):
    changes = Changes(own_clinic)
    first = changes.sign()
    with Store.open(own_clinic, write=False) as store:
        store.people.all()
    assert changes.sign() == first
    with Store.open(own_clinic) as store:
        store.setup.put_setting("clinic", "other words")
    second = changes.sign()
    assert second != first
    with sqlite3.connect(own_clinic / "battery.sqlite") as other:
        other.execute("UPDATE settings SET json = '1' WHERE name = 'clinic'")
    other.close()
    assert changes.sign() not in (first, second)
    changes.close()


def test_a_file_put_in_place_of_the_store_is_another_store(own_clinic):
    changes = Changes(own_clinic)
    first = changes.sign()
    file = own_clinic / "battery.sqlite"
    shutil.copyfile(file, own_clinic / "new")
    (own_clinic / "new").replace(file)
    assert changes.sign() != first
    changes.close()


def test_a_server_tells_its_changes(empty_database):
    with Store.open(empty_database) as store:
        changes = Changes(empty_database)
        first = changes.sign()
        store.setup.put_setting("clinic", "words")
        assert changes.sign() != first
    changes.close()


def test_a_store_that_is_not_there_has_no_sign_and_nothing_is_kept(tmp_path):
    remembered = Remembered(Changes(tmp_path).sign)
    made = iter(range(9))
    assert [remembered.get("a", lambda: next(made)) for _ in range(3)] == [0, 1, 2]


def test_what_is_kept_is_bounded_and_belongs_to_its_sign():
    signs = ["one"]
    remembered = Remembered(lambda: signs[-1])
    made = iter(range(999))
    assert [remembered.get("a", lambda: next(made)) for _ in range(2)] == [0, 0]
    signs.append("two")
    assert remembered.get("a", lambda: next(made)) == 1
    for n in range(MAX_HELD):
        remembered.get(n, lambda: next(made))
    assert remembered.get("a", lambda: next(made)) > 1


def test_who_asks_while_it_is_made_waits_for_it():
    """Two pages that open at once cost one reading of the store."""
    remembered = Remembered(lambda: "one")
    begun, go_on = threading.Event(), threading.Event()
    made = iter(range(9))

    def slow():
        begun.set()
        go_on.wait(60)
        return next(made)

    with ThreadPoolExecutor() as threads:
        first = threads.submit(remembered.get, "a", slow)
        begun.wait(60)
        second = threads.submit(remembered.get, "a", lambda: next(made))
        assert remembered.get("b", lambda: "other things do not wait") != 0
        go_on.set()
        assert (first.result(60), second.result(60)) == (0, 0)


def test_what_goes_wrong_while_it_is_made_hinders_nobody():
    remembered = Remembered(lambda: "one")
    with pytest.raises(ZeroDivisionError):
        remembered.get("a", lambda: 1 / 0)
    assert remembered.get("a", lambda: 7) == 7
    assert gc.isenabled()


def test_the_list_is_made_while_the_code_is_typed(own_clinic, counted):
    desk = Desk(own_clinic)
    desk.come_in()
    desk.send("/door/lock")  # leads to the door
    desk.office._preparing.join(60)
    before = dict(counted)
    desk.get("/")
    assert counted == before


def test_what_was_kept_once_is_not_kept_again_by_every_lock(own_clinic, counted):
    desk = Desk(own_clinic)
    desk.come_in()
    desk.send("/door/lock")
    desk.office._preparing.join(60)
    before, sign = dict(counted), desk.office.changes.sign()
    for _ in range(3):
        desk.get("/")  # leads to the door, where it is prepared again
        desk.office._preparing.join(60)
    assert (counted, desk.office.changes.sign()) == (before, sign)


def test_what_is_asked_for_while_something_is_made_is_made_after_it(own_clinic):
    """The store may have changed since that was begun."""
    office = Desk(own_clinic).office
    begun, go_on, made = threading.Event(), threading.Event(), []

    def slow(_office):
        made.append(1)
        begun.set()
        go_on.wait(60)

    office.prepare(slow)
    begun.wait(60)
    office.prepare(slow)
    office.prepare(slow)
    go_on.set()
    office._preparing.join(60)
    assert len(made) == 2
    office.prepare(slow)
    office._preparing.join(60)
    assert len(made) == 3


def test_the_next_desk_finds_what_this_one_read(own_clinic, monkeypatch):
    n_read = []
    true = known._theirs
    monkeypatch.setattr(known, "_theirs", lambda *told: n_read.append(1) or true(*told))
    looks = []
    for _ in range(2):
        desk = Desk(own_clinic)
        desk.come_in()
        desk.send("/door/lock")
        desk.office._preparing.join(60)
        desk.come_in()
        looks.append(desk.get("/").text.split("<table")[1].split("</table>")[0])
    with Store.open(own_clinic, write=False) as store:
        assert len(n_read) == len(store.people.all())
    assert looks[0] == looks[1]


@pytest.fixture
def counted(monkeypatch):
    """How often everybody, and one person, was judged."""
    n = {"today": 0, "person": 0}

    def counting(name, function):
        def judged(*args, **words):
            n[name] += 1
            return function(*args, **words)

        return judged

    monkeypatch.setattr(today, "judged_people", counting("today", today.judged_people))
    monkeypatch.setattr(person, "page_of", counting("person", person.page_of))
    return n


def test_the_screens_judge_once_and_again_after_a_change(own_clinic, counted):
    desk = Desk(own_clinic)
    desk.come_in()
    desk.get("/"), desk.get("/"), desk.get("/?state=due")
    assert counted["today"] == 1
    desk.get("/person/K7QF"), desk.get("/person/K7QF/page")
    assert counted["person"] == 1
    desk.send("/person/K7QF/say/event", kind="fall", note="in the yard", day="2026-12-01")
    assert "Alarm:" in desk.get("/").text.split('/person/K7QF"')[1].split("</tr>")[0]
    assert "in the yard" in desk.get("/person/K7QF/page").text
    assert counted == {"today": 2, "person": 2}
