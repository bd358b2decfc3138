"""The volume is chosen by ear, kept for the person, and asked for once."""

from datetime import datetime

import pytest

from battery.comfort import comfort_of
from battery.stage.checks.sound_check import first_heard
from battery.stage.language import texts
from battery.stage.pages.builder import Maker
from battery.stage.pages.following import run_pages
from battery.stage.pages.page import TextPage
from battery.stage.screen.sound import Sound
from battery.store import Store
from tests import store_kit as kit
from tests.screen.pilot import Pilot


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "home") as store:
        kit.enrol(store)
        yield store


NOW = datetime.fromisoformat("2026-03-04T10:00:00+00:00")


def maker():
    """Pages beside which there is nothing else."""
    return Maker(False, "right", lambda back: back(), None, None)


def chosen(store, headless, *keys):
    """Press these on the page; returns the pages that were shown."""
    window, clock = headless
    script = list(keys)

    def choose(_state):
        return script.pop(0) if script else None

    pilot = Pilot(window, clock, choose)
    pilot.add((clock.now + 20 * 10**9, "quit"))
    after = TextPage("after", texts.REST_TITLE, (), (), lambda _: None)
    person = store.people.get("K7QF")
    run_pages(
        window,
        first_heard(store, person, window.sound, lambda: after, maker(), wall=lambda: NOW),
    )
    window.closing = False
    return [state["page"] for state in pilot.states]


def test_louder_and_softer_are_kept_and_it_is_asked_once(store, headless):
    assert chosen(store, headless, "louder", "softer", "softer", "go")[-1] == "after"
    assert comfort_of(store, "K7QF").volume_percent == 70 + 20 - 20 - 20
    assert headless[0].sound.volume_percent == 50
    assert chosen(store, headless) == ["after"]


def test_it_stays_within_its_limits(store, headless):
    chosen(store, headless, *["softer"] * 6, "go")
    assert comfort_of(store, "K7QF").volume_percent == 20


def test_no_sound_holds_for_later_visits_and_is_asked_twice(store, headless):
    """One tap silences nothing: it says how the sound comes back, and has a way back."""
    assert chosen(store, headless, "none", "back", None)[:3] == ["sound", "quiet", "sound"]
    assert comfort_of(store, "K7QF").voice
    chosen(store, headless, "none", "quiet")
    held = comfort_of(store, "K7QF")
    assert (held.volume_percent, held.voice) == (0, False)
    assert not headless[0].sound.speaks
    assert chosen(store, headless) == ["after"]


def test_who_leaves_without_an_answer_is_asked_again(store, headless):
    assert chosen(store, headless)[-1] == "sound"
    assert chosen(store, headless, "go")[0] == "sound"


def test_without_a_device_nothing_is_asked(store, headless, monkeypatch):
    window, _ = headless
    monkeypatch.setenv("SDL_AUDIODRIVER", "no such driver")
    window.sound.close()
    window.sound = Sound()
    assert chosen(store, headless) == ["after"]
