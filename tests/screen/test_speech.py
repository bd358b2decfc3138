"""Every text has a file that says it in each language; the stage plays it or is silent."""

import pygame
import pytest

from battery.looks import OWN_NAMES
from battery.stage.drawing.places import Button
from battery.stage.language import speech, texts
from battery.stage.language.languages import Text, language
from battery.stage.language.speech import VOICES, everything, file_of
from battery.stage.pages.following import run_pages
from battery.stage.pages.page import TextPage
from battery.stage.screen.sound import PAUSE_S, RATE_HZ, Sound
from tests.screen.pilot import Pilot

GREETING = texts.START_TITLE.format(code="K7QF")


@pytest.mark.parametrize("code", sorted(OWN_NAMES))
def test_every_text_has_a_file_and_no_file_is_left_over(code):
    """A file is named after what it says, so a text that was changed lacks its file."""
    asked = {file_of(language(code), text) for text in everything()}
    held = {path for path in (VOICES / code).iterdir() if path.suffix == ".opus"}
    assert {p.name for p in asked - held} == set(), (
        "python -m battery.stage.language.make_voice"
    )
    assert {p.name for p in held - asked} == set(), (
        "python -m battery.stage.language.make_voice"
    )
    assert len(asked) > 60


def test_no_language_has_the_files_of_another():
    english = {path.name for path in (VOICES / "en").iterdir()}
    german = {path.name for path in (VOICES / "de").iterdir()}
    assert len(english & german) <= 3  # words that both write in the same way


@pytest.fixture
def sound(monkeypatch):
    monkeypatch.setenv("SDL_AUDIODRIVER", "dummy")
    made = Sound()
    yield made
    made.close()


@pytest.mark.parametrize("every", [4, pytest.param(1, marks=pytest.mark.long)])
@pytest.mark.parametrize("code", sorted(OWN_NAMES))
def test_a_file_is_as_long_as_its_text_takes(sound, code, every):
    """English and German are read aloud at 12 to 20 letters a second in ordinary speech; the
    voice is slower on purpose. Wide limits; common practice, no source.
    """
    spoken = language(code)
    for text in list(everything())[::every]:
        said = spoken.say(text)
        length_s = pygame.mixer.Sound(str(file_of(spoken, text))).get_length()
        assert 0.3 + 0.03 * len(said) < length_s < 1.2 + 0.16 * len(said), said


def test_sentences_follow_one_another_with_a_pause(sound):
    files = [file_of(language("en"), text) for text in (texts.REST_TITLE, texts.MOMENT)]
    assert sound.speak(files)
    assert sound.speaking
    playing = pygame.mixer.Channel(0).get_sound().get_length()
    alone = sum(pygame.mixer.Sound(str(path)).get_length() for path in files)
    assert playing == pytest.approx(alone + PAUSE_S, abs=2 / RATE_HZ)
    sound.hush()
    assert not sound.speaking


def test_nothing_is_said_without_voice_volume_or_file(sound, tmp_path):
    files = [file_of(language("en"), texts.MOMENT)]
    assert not sound.speak([])
    assert not sound.speak([tmp_path / "no.opus"])
    assert "no.opus is missing" in sound.note
    sound.volume_percent = 0
    assert not sound.speak(files)
    sound.volume_percent = 50
    sound.voice = False
    assert not sound.speak(files)
    sound.voice = True
    assert sound.speak(files)


def test_without_a_device_it_is_silent_and_says_why(monkeypatch):
    monkeypatch.setenv("SDL_AUDIODRIVER", "no such driver")
    sound = Sound()
    assert not sound.heard
    assert sound.note.startswith("no sound: ")
    assert not sound.speak([file_of(language("en"), texts.MOMENT)])
    assert not sound.speaking
    sound.play()
    sound.hush()
    sound.close()


def test_a_text_with_an_open_blank_is_spoken_without_it():
    assert GREETING == "Hello. Are you K7QF?"
    said = speech.spoken_form(GREETING)
    assert "K7QF" not in said
    assert file_of(language("en"), GREETING) == file_of(language("en"), said)
    assert file_of(language("en"), GREETING).is_file()
    hand = texts.PRACTICE_TITLE.format(name=texts.NAMES["slide"], hand=texts.HANDS["left"])
    assert file_of(language("de"), hand).is_file()


def test_an_open_blank_without_a_spoken_form_is_found(monkeypatch):
    monkeypatch.setattr(texts, "NEW", Text("You are {age}."), raising=False)
    with pytest.raises(ValueError, match=r"You are.*age.*no spoken form"):
        everything()


class Spoken:
    """A sound device that notes what it is to say."""

    heard = speaks = True
    note = ""

    def __init__(self):
        self.said = []

    def play(self, tone="go"):
        self.said.append(tone)

    def speak(self, files):
        self.said.append([path.name for path in files])
        return True

    def hush(self):
        self.said.append("hush")

    def close(self):
        pass


def test_a_page_is_spoken_when_it_opens_and_again_when_asked(headless):
    window, clock = headless
    window.sound.close()
    window.sound = sound = Spoken()
    keys = ["say again"]
    pilot = Pilot(window, clock, lambda state: keys.pop(0) if keys else None)
    pilot.add((clock.now + 5 * 10**9, "quit"))
    page = TextPage(
        "page",
        texts.PRACTICE_TITLE.format(name=texts.NAMES["slide"], hand=texts.HANDS["left"]),
        (texts.HAND_LINE,),
        (),
        lambda _: None,
        choices=(Button("yes", texts.YES), Button("no", texts.NO)),
    )
    run_pages(window, page)
    whole = [
        file_of(language("en"), text).name
        for text in (page.title, texts.HAND_LINE, texts.YES, texts.NO)
    ]
    told = [said for said in sound.said if said != "hush"]
    assert len(told) >= 2  # the pilot presses again while the page stays
    assert all(said == whole for said in told)
    assert sound.said[-1] == "hush"


def test_without_a_voice_there_is_no_button_to_say_it_again(headless):
    window, clock = headless
    window.sound.voice = False
    pilot = Pilot(window, clock, lambda state: None)
    pilot.add((clock.now + 10**9, "quit"))
    run_pages(window, TextPage("page", texts.REST_TITLE, (), (), lambda _: None))
    assert [b["key"] for b in pilot.states[-1]["buttons"]] == ["stop"]
