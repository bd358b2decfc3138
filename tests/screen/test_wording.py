"""What the person reads is neutral, short and easy, in every language."""

import re
import string

import pytest

from battery.looks import OWN_NAMES
from battery.stage.language import make_catalogues, texts
from battery.stage.language.languages import ENGLISH

# Words that mark a person, press for time or praise. The list is the project's own.
UNWANTED = {
    "en": "fail(s|ed|ure)? wrong slow(er|ly)? poor(ly)? bad(ly)? incorrect mistakes? errors? "
    "scores? points? marks? hurry faster? late clock countdown deadline limit worse worst "
    "perfect great excellent congratulations win lose lost must",
    "de": "falsch\\w* fehler\\w* versag\\w* langsam\\w* schlecht\\w* punkte?\\w* schneller? "
    "beeil\\w* spät\\w* uhr countdown ergebnis\\w* note[n]? mies\\w* schwach verloren perfekt "
    "super toll gewonnen müssen muss",
}
# Symptoms are named as they are; how to turn the head and how to stand up is said as well.
MEANT = {
    "en": {
        "a very bad headache",
        "You felt worse at the end.",
        "What feels worse?",
        "I feel worse",
        "no hurry",
        "small, slow, easy turns. Go slower if the spot blurs",
        "a headache that gets worse",
        "Nothing is lost.",
        "If it fails again, please tell your clinic.",  # the stick, not the person
    },
    "de": {
        "Arm oder Bein schwach oder taub",
        "wenig, langsam und locker. Noch langsamer, wenn der Punkt unscharf",
        "blieb der Punkt scharf",
        "Mir geht es schlechter",
        "einen Punkt an der Wand",
        "Nichts ist verloren.",
        "Ihr nächster Test ist später.",
    },
}
CODES = sorted(OWN_NAMES)


def sentences(code):
    """Every text of a language, its blanks left out."""
    for message in (
        make_catalogues.template() if code == ENGLISH.code else (make_catalogues.read(code))
    ):
        said = message.id if code == ENGLISH.code else message.string
        if message.id:
            yield "".join(part for part, *_ in string.Formatter().parse(said))


def unwanted(text, code):
    for meant in MEANT[code]:
        text = text.replace(meant, "")
    pattern = rf"\b({'|'.join(UNWANTED[code].split())})\b"
    return re.findall(pattern, text, re.IGNORECASE)


@pytest.mark.parametrize("code", CODES)
def test_no_word_marks_the_person_or_presses_for_time(code):
    found = {text: words for text in sentences(code) if (words := unwanted(text, code))}
    assert found == {}


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("You failed.", "en"),
        ("That was too slow", "en"),
        ("Your score is 7", "en"),
        ("Leider falsch.", "de"),
        ("Ihre Punktzahl", "de"),
        ("Bitte schneller!", "de"),
    ],
)
def test_the_list_finds_such_words(text, code):
    assert unwanted(text, code)


def test_what_to_do_is_said_in_short_sentences():
    """At most twelve words in a sentence: common advice for plain language, no one source."""
    for lines in texts.WHAT_TO_DO.values():
        for line in lines:
            for sentence in re.split(r"[.:](?:\s|$)", line):
                assert len(sentence.split()) <= 12, sentence


def lix(said):
    """Words in a sentence and the percentage of words of more than six letters, added up."""
    words = re.findall(r"\w+", " ".join(said))
    n_sentences = sum(max(1, len(re.findall(r"[.!?:](?:\s|$)", text))) for text in said)
    n_long = sum(len(word) > 6 for word in words)
    return len(words) / n_sentences + 100 * n_long / len(words)


def test_the_index_is_that_of_its_author():
    """By hand: 12 words in 2 sentences; two, touches and nothing, have more than 6 letters."""
    text = "The person touches the circle with one hand. Nothing else is needed."
    assert lix([text]) == pytest.approx(12 / 2 + 100 * 2 / 12)


@pytest.mark.parametrize("code", CODES)
def test_the_texts_are_easy_to_read(code):
    """Björnsson (1968), Läsbarhet: below 30 a text is as easy as children's books.
    The index is made for any language; it counts lengths and knows nothing of meaning.
    """
    whole = [text for text in sentences(code) if text.rstrip().endswith((".", "?"))]
    assert len(whole) > 30
    assert lix(whole) < 30
