"""How pages look and sound is set for everybody or for one person."""

import random
from datetime import datetime

import pytest
from typer.testing import CliRunner

from battery import simulate
from battery.cli import app
from battery.comfort import comfort_of, keep_comfort, keep_for_all
from battery.errors import UsageError
from battery.looks import Comfort
from battery.plan import STANDARD
from battery.store import Store
from battery.visits import begin_visit
from tests import store_kit as kit

SAID = {"author": "AB", "at_utc": "2026-03-04T10:00:00.000+00:00"}
NOW = datetime.fromisoformat("2026-03-04T10:00:00+00:00")


@pytest.fixture
def home(tmp_path):
    with Store.open(tmp_path) as store:
        kit.enrol(store)
        store.people.add(kit.person("M4WX"))
    return tmp_path


def battery(home, *words):
    return CliRunner().invoke(app, [*words, "--home", str(home)], catch_exceptions=False)


def test_a_person_has_what_was_set_for_them_and_else_what_the_clinic_has(home):
    assert "English" in battery(home, "comfort").output
    assert "Deutsch" in battery(home, "comfort", "--language", "de").output
    battery(home, "comfort", "k7qf", "--language", "en", "--by", "AB")
    with Store.open(home, write=False) as store:
        assert comfort_of(store, "K7QF").language == "en"
        assert comfort_of(store, "M4WX").language == comfort_of(store).language == "de"
    assert "M4WX: language de (Deutsch)" in battery(home, "comfort", "M4WX").output


def test_what_cannot_be_is_refused_and_changes_nothing(home):
    with Store.open(home) as store:
        with pytest.raises(UsageError, match="no language 'xx'"):
            keep_comfort(store, "K7QF", language="xx", **SAID)
        with pytest.raises(UsageError, match="no theme 'pink'"):
            keep_comfort(store, "K7QF", theme="pink", **SAID)
        with pytest.raises(UsageError, match="text at 210 %"):
            keep_comfort(store, "K7QF", text_percent=210, **SAID)
        with pytest.raises(UsageError, match="no person"):
            keep_comfort(store, "NOBODY", language="de", **SAID)
        with pytest.raises(UsageError, match="author is empty"):
            keep_comfort(store, "K7QF", language="de", author=" ", at_utc=SAID["at_utc"])
        assert comfort_of(store, "K7QF") == Comfort()
        assert store.care.comforts() == []


def test_what_a_newer_program_kept_is_left_out(home):
    with Store.open(home) as store:
        store.setup.put_setting("comfort", {"language": "de", "scent": "rose"})
        assert comfort_of(store, "K7QF") == Comfort(language="de")


def test_a_change_for_one_visit_is_not_kept():
    assert Comfort(language="de").changed(language=None) == Comfort(language="de")
    assert Comfort(language="de").changed(language="en") == Comfort()


def visited(store, code, theme):
    """Let a simulated participant do the first block of a visit on a screen of a theme."""
    visit = begin_visit(
        store, store.people.get(code), STANDARD, kit.DEVICE, wall=lambda: NOW,
        random_source=random.Random(code),
    )  # fmt: skip
    if theme:
        visit.versions["theme"] = theme
    visit.run(visit.todo[0], simulate.Person(simulate.Truth(), simulate.TOUCH_60, 3))


def test_nobody_who_has_done_a_visit_changes_theme_unless_it_is_set_for_them(home):
    """The theme is a condition of the test: a new default and what a clinic sets for everybody
    reach only people without a record; one whose record names none was made in the dark one.
    """
    with Store.open(home) as store:
        assert comfort_of(store, "K7QF").theme == comfort_of(store).theme == "light"
        visited(store, "K7QF", "dim")
        visited(store, "M4WX", "")
        assert comfort_of(store, "K7QF").theme == "dim"
        assert comfort_of(store, "M4WX").theme == "dark"
        keep_for_all(store, theme="light")
        assert comfort_of(store, "K7QF").theme == "dim"
        assert keep_comfort(store, "K7QF", theme="light", **SAID).theme == "light"
