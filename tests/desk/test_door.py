"""Coming to the desk: the whole application over a real store, as the command opens it."""

import re

import pytest

from battery.desk.filled import MAX_KEPT
from battery.desk.session import MIN_TRIES, authors
from battery.people import new_person
from battery.store import Store
from tests.desk.office import NOW, OWN, Desk


@pytest.fixture
def desk(tmp_path):
    with Store.open(tmp_path) as store:
        new_person(store, dominant_hand="right", affected_side="left", first_hand=None, now=NOW)
    return Desk(tmp_path)


def test_the_first_author_is_made_at_the_door_and_the_code_is_not_kept(desk):
    first = desk.client.get("/")
    assert "Nobody uses this desk yet" in first.text
    inside = desk.come_in()
    assert "<h1>Today</h1>" in inside.text
    with desk.office.store() as store:
        held = authors(store)["AB"]
        assert held.knows("2468")
        assert "2468" not in str(store.setup.setting("desk_authors"))


def test_nobody_sees_a_page_before_the_door_or_after_the_lock(desk):
    assert "Who are you?" in desk.client.get("/").text
    desk.come_in()
    assert "<h1>Today</h1>" in desk.client.get("/").text
    desk.send("/door/lock")
    assert "Who are you?" in desk.client.get("/").text


def test_a_desk_left_alone_locks_itself(desk):
    desk.come_in()
    desk.now_s += 599
    assert "<h1>Today</h1>" in desk.client.get("/").text
    desk.now_s += 601
    assert "Who are you?" in desk.client.get("/").text


def test_a_page_that_looks_again_by_itself_keeps_no_desk_open(desk):
    """As while a visit runs on this machine, in front of whoever does it."""
    desk.come_in()
    by_itself = {"headers": {"hx-request": "true"}}
    for _ in range(2):
        desk.now_s += 301
        answer = desk.client.get("/start", **by_itself)
    assert "hx-redirect" in answer.headers
    assert answer.headers["hx-redirect"] == "/door?then=/start"
    assert answer.text == ""
    odd = desk.client.get("/person/%E4%B8%AD", **by_itself)
    assert odd.headers["hx-redirect"] == "/door?then=/person/%E4%B8%AD"
    assert "Who are you?" in desk.client.get("/").text


def test_codes_cannot_be_tried_through(desk):
    desk.come_in()
    desk.send("/door/lock")
    for _ in range(MIN_TRIES):
        assert "do not match" in desk.come_in(code="1111").text
    assert "try again in" in desk.come_in(code="2468").text
    desk.now_s += 31
    assert "<h1>Today</h1>" in desk.come_in(code="2468").text


TYPED = {"form_name": "enrol", "form_version": "typed by AB alone", "affected_side": "both"}
WORDS = "typed by AB alone"


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    """A desk that AB and CD use."""
    desk = Desk(tmp_path_factory.mktemp("shared"))
    desk.come_in()
    desk.send("/clinic/author", initials="CD", code="8642")
    return desk


@pytest.fixture
def left(shared):
    """AB has left it alone for so long that it locks."""
    unlock(shared)
    shared.now_s += 601
    return shared


@pytest.fixture
def away(left):
    """After that a form was sent."""
    before = left.office.changes.sign()
    assert left.knock("/enrol", TYPED).headers["location"] == "/door?then=/enrol"
    assert left.office.changes.sign() == before
    return left


def kept(desk):
    return repr(vars(desk.office.session))


def unlock(desk, initials="AB", code="2468"):
    assert desk.knock("/door", initials=initials, code=code).status_code == 303


def test_who_was_locked_out_gets_the_form_back_once(away):
    assert WORDS not in away.get("/door").text
    away.office._preparing.join()
    assert away.knock("/door", initials="AB", code="1111").status_code == 400
    unlock(away)
    again = away.get("/enrol")
    assert again.status_code == 200
    assert f'value="{WORDS}"' in again.text
    assert "This is not saved" in again.text
    assert WORDS not in away.get("/enrol").text + kept(away)


def test_no_other_author_sees_what_was_typed_and_it_is_gone_then(away):
    assert WORDS in kept(away)
    unlock(away, "CD", "8642")
    assert WORDS not in away.get("/enrol").text + kept(away)


@pytest.mark.parametrize("path", ["/door/lock", "/door/close"])
def test_what_was_kept_is_gone_when_somebody_locks_or_closes(away, path):
    unlock(away)
    away.knock(path)
    assert WORDS not in kept(away)


def test_a_note_that_was_changed_is_not_lost_by_the_lock(desk):
    """It is never stored: what was changed stands there again, until another page is asked."""
    desk.come_in()
    with desk.office.store() as store:
        (person,) = store.people.all()
    place = f"/person/{person.code}"
    note = {"form_name": "noted", "text": f"A {WORDS}\nP as before"}
    desk.now_s += 601
    desk.knock(f"{place}/say/noted", note)
    unlock(desk)
    again = desk.get(place).text
    assert f">{note['text']}</textarea>" in again
    assert "This is not saved" in again
    assert "Last on" not in again
    desk.send(f"{place}/say/noted", note)
    assert "Last on" in (page := desk.get(place).text)
    assert WORDS not in page


def test_nothing_is_kept_of_a_form_that_is_nobodys(left):
    bare = left.client.post("/enrol", data=TYPED, headers={"origin": OWN})
    assert bare.status_code == 403  # without the secret of the desk's forms
    assert WORDS not in kept(left)
    left.knock("/door/lock")
    left.knock("/enrol", TYPED)
    assert WORDS not in kept(left)


def test_no_secret_is_kept_and_nothing_too_long(shared):
    unlock(shared)
    page = shared.get("/clinic").text.split('action="/clinic/author"')[1].split("</form>")[0]
    hidden = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', page))
    shared.now_s += 601
    shared.knock("/clinic/author", hidden, initials="EF", code="97531864")
    assert "EF" in kept(shared)
    assert "97531864" not in kept(shared)
    for many in ("x" * MAX_KEPT, ["" for _ in range(MAX_KEPT)]):
        shared.knock("/enrol", TYPED, plan_file=many)
        assert len(kept(shared)) < 5000
    unlock(shared)
    assert "too long to be kept" in shared.get("/enrol").text


def test_a_press_that_came_while_the_desk_was_locked_is_said_not_to_have_counted(left):
    n_ended = len(left.ended)
    left.knock("/door/close")
    assert len(left.ended) == n_ended
    unlock(left)
    assert "nothing was done" in left.get("/").text


def test_a_form_without_its_secret_changes_nothing(desk):
    desk.come_in()
    answer = desk.client.post("/door/close", data={}, headers={"origin": OWN})
    assert answer.status_code == 403
    assert desk.ended == []
    assert "The desk is closed" in desk.send("/door/close").text
    assert desk.ended == [1]


@pytest.mark.parametrize("then", ["//evil.example", "https://evil.example", "/\\evil", "x"])
def test_the_door_leads_nowhere_else(desk, then):
    desk.come_in()
    desk.send("/door/lock")
    answer = desk.client.post(
        "/door", headers={"origin": OWN}, follow_redirects=False,
        data={"form_secret": desk.known.form, "initials": "AB", "code": "2468", "then": then},
    )  # fmt: skip
    assert answer.headers["location"] == "/"


def test_what_was_typed_stays_but_never_a_code(desk):
    answer = desk.send("/door", initials="AB", code="12", again="12")
    assert 'value="AB"' in answer.text
    assert "must be 4 to 8 digits" in answer.text
    assert 'value="12"' not in answer.text


def test_a_wrong_address_is_a_calm_page(desk):
    desk.come_in()
    for path in ("/nowhere", "/static/../app.py", "/static/%2e%2e/app.py", "/person/%00"):
        answer = desk.client.get(path)
        assert answer.status_code in (200, 400, 404)
        assert "import" not in answer.text
        assert "Traceback" not in answer.text


def test_language_and_colours_are_kept_for_the_browser(desk):
    desk.come_in()
    page = desk.send("/look", language="de", theme="dark", then="/")
    assert re.search(r'<html lang="de" data-theme="dark">', page.text)
