"""How pages look and sound for a person: said at the clinic, on the tablet, between them."""

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from battery.comfort import comfort_of, keep_comfort, latest_of, overruled
from battery.handover import person_card, person_cards, take_person_card
from battery.looks import THEMES, Comfort
from battery.stage.screen.theme import FIRST_THEME
from battery.stage.screen.theme import THEMES as DRAWN
from battery.store import Store
from battery.store.opening import FILE_NAME
from tests import handover_kit as hand
from tests import store_kit as kit
from tests.unit.test_own_plan import at

DATA = Path(__file__).resolve().parents[1] / "data"


@pytest.fixture
def pair(tmp_path):
    made = hand.Pair(tmp_path, n_visits=0)
    made.tablet.setup.put_device(kit.DEVICE)
    yield made
    made.close()


def keep(store, author, **changes):
    keep_comfort(store, "K7QF", author=author, at_utc=at(), **changes)


def exchanged(pair):
    """Send, receive and send again, as at two visits; return what the tablet then says."""
    pair.send()
    pair.receive()
    return pair.send().lines()


def test_the_themes_that_are_named_are_those_that_are_drawn():
    assert tuple(DRAWN) == THEMES
    assert Comfort().theme == FIRST_THEME.name


def test_what_the_clinic_sets_is_there_at_the_next_visit(pair):
    keep(pair.clinic, "AB", language="de", buttons="large", voice=False, text_percent=150)
    pair.tablet.annotations.add_marker("K7QF", "fall", at_utc=at())
    lines = exchanged(pair)
    held = comfort_of(pair.tablet, "K7QF")
    assert held == comfort_of(pair.clinic, "K7QF")
    assert (held.language, held.text_percent, held.voice) == ("de", 150, False)
    assert held.is_large(False)
    assert not held.changed(buttons="usual").is_large(True)
    assert "K7QF: language de, set by AB" in lines


def test_what_the_person_chose_reaches_the_clinic_and_stays_where_nobody_says_else(pair):
    keep(pair.clinic, "AB", language="de", theme="light")
    exchanged(pair)
    keep(pair.tablet, "K7QF", theme="dim")
    keep(pair.clinic, "AB", text_percent=150)  # and of the theme nothing
    exchanged(pair)
    assert comfort_of(pair.tablet, "K7QF").theme == comfort_of(pair.clinic, "K7QF").theme
    assert comfort_of(pair.clinic, "K7QF").theme == "dim"
    assert comfort_of(pair.tablet, "K7QF").text_percent == 150
    assert overruled(pair.clinic.care.comforts("K7QF")) == []


def test_what_stands_in_place_of_the_persons_choice_is_named_on_both_sides(pair):
    keep(pair.tablet, "K7QF", text_percent=200)
    keep(pair.clinic, "AB", text_percent=100)
    assert any(
        "text 100 %, set by AB in place of 200 as the person had chosen" in line
        for line in exchanged(pair)
    )
    for store in (pair.clinic, pair.tablet):
        assert comfort_of(store, "K7QF").text_percent == 100
        ((was, now),) = overruled(store.care.comforts("K7QF"))
        assert (was.value, was.author, now.value, now.author) == ("200", "K7QF", "100", "AB")
    keep(pair.tablet, "K7QF", text_percent=200)
    assert overruled(pair.tablet.care.comforts("K7QF")) == []


def test_a_card_holds_the_latest_words_however_often_somebody_changed_them(pair):
    for n in range(40):
        keep(pair.clinic, "AB", theme=THEMES[n % 3])
    path = person_card.write_person_card(pair.clinic, "K7QF", pair.stick, now=hand.NOW)
    assert len(json.loads(path.read_text())["body"]["rows"]["comforts"]) == 1
    (card,), _ = person_cards(pair.tablet, pair.stick)
    take_person_card(pair.tablet, card)
    assert comfort_of(pair.tablet, "K7QF").theme == THEMES[39 % 3]


def test_a_tablet_from_before_is_told_to_update_and_takes_nothing(pair, monkeypatch):
    keep(pair.clinic, "AB", language="de")
    person_card.write_person_card(pair.clinic, "K7QF", pair.stick, now=hand.NOW)
    monkeypatch.setattr(person_card, "TRAVELS", ("person_plans", "home_plans"))
    cards, problems = person_cards(pair.tablet, pair.stick)
    assert cards == []
    assert "Update the program of this tablet" in problems[0]


def test_a_card_for_whom_nothing_was_said_is_read_by_a_tablet_from_before(pair, monkeypatch):
    person_card.write_person_card(pair.clinic, "K7QF", pair.stick, now=hand.NOW)
    monkeypatch.setattr(person_card, "TRAVELS", ("person_plans", "home_plans"))
    cards, problems = person_cards(pair.tablet, pair.stick)
    assert [card.code for card in cards] == ["K7QF"]
    assert problems == []


def test_what_a_later_program_says_is_passed_on_and_left_out_here(pair):
    pair.clinic.care.set_comfort(
        "K7QF", {"scent": "rose", "theme": "pink", "language": "de"}, author="AB", at_utc=at()
    )
    person_card.write_person_card(pair.clinic, "K7QF", pair.stick, now=hand.NOW)
    (card,), _ = person_cards(pair.tablet, pair.stick)
    take_person_card(pair.tablet, card)
    assert {e.name for e in pair.tablet.care.comforts("K7QF")} == {"scent", "theme", "language"}
    assert comfort_of(pair.tablet, "K7QF") == Comfort(language="de")


def test_words_that_cannot_be_stored_make_no_card(pair):
    keep(pair.clinic, "AB", language="de")
    path = person_card.write_person_card(pair.clinic, "K7QF", pair.stick, now=hand.NOW)
    path.write_text(path.read_text().replace('"de"', '"en"'))
    cards, problems = person_cards(pair.tablet, pair.stick)
    assert cards == []
    assert problems


def test_what_was_set_before_is_told_as_the_first_word(tmp_path):
    """Of a store of the step before: no word is lost, none that came later is overruled."""
    shutil.copyfile(DATA / "store_v12.sqlite", tmp_path / FILE_NAME)
    told = {"language": "de", "text_percent": 150, "voice": False, "scent": "rose", "odd": []}
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as held, held:
        for name, text in (("comfort:K7QF", json.dumps(told)), ("comfort:M4WX", "{")):
            held.execute("REPLACE INTO settings (name, json) VALUES (?, ?)", (name, text))
    with Store.open(tmp_path) as store:
        held = comfort_of(store, "K7QF")
        assert (held.language, held.text_percent, held.voice) == ("de", 150, False)
        assert comfort_of(store, "M4WX") == Comfort()
        rows = store.care.comforts("K7QF")
        assert {row.name: row.value for row in rows} == {
            "language": "de", "text_percent": "150", "voice": "off", "scent": "rose",
        }  # fmt: skip
        assert {row.at_utc for row in rows} == {store.people.get("K7QF").enrolled_utc}
        assert {row.author for row in rows} == {"not kept"}
        keep(store, "AB", language="en")
        assert latest_of(store.care.comforts("K7QF"))["language"].value == "en"
        assert comfort_of(store, "K7QF").language == "en"
