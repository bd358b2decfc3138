"""Coming to the desk: the whole application over a real store, as the command opens it."""

import re
from datetime import datetime

import pytest
from starlette.testclient import TestClient

from battery.desk.app import make_app
from battery.desk.frame import Office
from battery.desk.guard import Guard, Secrets
from battery.desk.session import MIN_TRIES, Session, authors
from battery.people import new_person
from battery.store import Store

NOW = datetime.fromisoformat("2026-03-04T10:00:00+00:00")
PORT = 40321
OWN = f"http://127.0.0.1:{PORT}"


class Desk:
    """A desk over a store, its clock told, and a browser that is in."""

    def __init__(self, home):
        self.now_s = 0.0
        self.ended = []
        self.known = Secrets()
        self.office = Office(
            home, self.known, lambda: self.ended.append(1), wall=lambda: NOW,
            session=Session(lambda: self.now_s),
        )  # fmt: skip
        guarded = Guard(make_app(self.office), port=PORT, known=self.known)
        self.client = TestClient(guarded, base_url=OWN, raise_server_exceptions=False)
        self.client.get(f"/enter?secret={self.known.entry}")

    def send(self, path, **fields):
        return self.client.post(
            path, data={"form_secret": self.known.form, **fields}, headers={"origin": OWN}
        )

    def come_in(self, initials="AB", code="2468"):
        return self.send("/door", initials=initials, code=code, again=code)


@pytest.fixture
def desk(tmp_path):
    with Store.open(tmp_path) as store:
        new_person(store, dominant_hand="right", affected_side="left", first_hand=None, now=NOW)
    return Desk(tmp_path)


def test_the_first_author_is_made_at_the_door_and_the_code_is_not_kept(desk):
    first = desk.client.get("/")
    assert "Nobody is known at this desk yet" in first.text
    inside = desk.come_in()
    assert "<h1>Today</h1>" in inside.text
    with desk.office.store() as store:
        held = authors(store)["AB"]
        assert held.knows("2468")
        assert "2468" not in str(store.setting("desk_authors"))


def test_nobody_sees_a_page_before_the_door_or_after_the_lock(desk):
    assert "Who sits here?" in desk.client.get("/").text
    desk.come_in()
    assert "<h1>Today</h1>" in desk.client.get("/").text
    desk.send("/door/lock")
    assert "Who sits here?" in desk.client.get("/").text


def test_a_desk_left_alone_locks_itself(desk):
    desk.come_in()
    desk.now_s += 599
    assert "<h1>Today</h1>" in desk.client.get("/").text
    desk.now_s += 601
    assert "Who sits here?" in desk.client.get("/").text


def test_codes_cannot_be_tried_through(desk):
    desk.come_in()
    desk.send("/door/lock")
    for _ in range(MIN_TRIES):
        assert "do not belong together" in desk.come_in(code="1111").text
    assert "try again in" in desk.come_in(code="2468").text
    desk.now_s += 31
    assert "<h1>Today</h1>" in desk.come_in(code="2468").text


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
        assert answer.status_code in (200, 404)
        assert "import" not in answer.text
        assert "Traceback" not in answer.text


def test_language_and_colours_are_kept_for_the_browser(desk):
    desk.come_in()
    page = desk.send("/look", language="de", theme="dark", then="/")
    assert re.search(r'<html lang="de" data-theme="dark">', page.text)
