"""What a visit costs a person: taps, pages, words to be heard, minutes."""

import re
from pathlib import Path

import pytest
import soundfile

from battery.plan import STANDARD
from battery.stage.language import languages, texts
from battery.stage.language.speech import file_of
from battery.stage.screen.sound import PAUSE_S, Sound
from battery.stage.visit import about_minutes, timed_s
from tests.screen.crawler import BRIEF
from tests.screen.door import Home
from tests.screen.manners import Person
from tests.screen.pilot import Pilot
from tests.screen.servers import ROOT
from tests.sparing import only

TAP_S = 1.5  # to find and press a button one knows; the project's own guess
LANGUAGES = pytest.mark.parametrize("language", only(["en", "de"], ["en"]))


class Counting(Pilot):
    """Notes every press by page."""

    def __init__(self, *arguments):
        super().__init__(*arguments)
        self.presses = []

    def press(self, state, key, at_ns, pointer=1):
        self.presses.append(state["page"])
        super().press(state, key, at_ns, pointer)


def visits(home, monkeypatch, n_visits):
    """Do visits a week apart; gives the hand of each, and what it heard, s."""
    rest = file_of(languages.language(home.comfort["language"]), texts.REST_TITLE)
    for number in range(n_visits):
        if number:
            home.week_later()
        spoken_s = []

        def speak(self, files, spoken_s=spoken_s):
            del self
            if rest not in files:  # heard while resting
                spoken_s += [soundfile.info(str(f)).duration + PAUSE_S for f in files]

        monkeypatch.setattr(Sound, "speak", speak)
        _, hand = home.visit(monkeypatch, Person(), pilot=Counting)
        yield hand, spoken_s


def pages_of(hand):
    names = [state["page"] for state in hand.states]
    return [name for i, name in enumerate(names) if not i or names[i - 1] != name]


@LANGUAGES
def test_seven_taps_to_the_first_try_from_the_third_visit_on(tmp_path, monkeypatch, language):
    home = Home(tmp_path, plan=BRIEF, comfort={"language": language})
    *_, (hand, _) = visits(home, monkeypatch, 3)
    before = hand.presses[: hand.presses.index("hand right tapping") + 1]
    assert len(before) <= 7, before


@pytest.mark.long
@LANGUAGES
def test_a_standard_visit_takes_what_readme_says(tmp_path, monkeypatch, language):
    """Every page heard to its end, every test at its length; a trail as long as people take."""
    home = Home(tmp_path, plan=STANDARD, comfort={"language": language})
    told = re.search(r"about (\d+) minutes, (\d+) the first time", _readme())
    assert told is not None
    first, _, third = visits(home, monkeypatch, 3)
    for (hand, spoken_s), most_pages, minutes in ((first, 51, told[2]), (third, 40, told[1])):
        assert len(pages_of(hand)) <= most_pages
        taken_s = timed_s(STANDARD) + sum(spoken_s) + TAP_S * len(hand.presses)
        assert taken_s / 60 == pytest.approx(int(minutes), abs=1.0)
        assert about_minutes(STANDARD, knows_it=hand is third[0]) == int(minutes)


def _readme():
    return " ".join((Path(ROOT) / "README.md").read_text(encoding="utf-8").split())
