"""One list of signs, reasons to ask first and intended use, wherever people read them.

The signs of a stroke are those that first-aid teaching lists (face, arm, speech, balance, eyes,
headache, each sudden); those after a head injury are common practice. From memory, no source.
"""

import re
from pathlib import Path

import pytest

from battery import cautions
from battery.desk.make_catalogue import texts as desk_texts
from battery.desk.words import catalogue
from battery.stage.language import texts
from battery.stage.language.languages import language
from tests import report_cases as cases

ROOT = Path(__file__).resolve().parents[2]
# How the pages of a visit say each sign, in plain words.
PLAIN = {
    "sudden drooping of the face": "a drooping face",
    "sudden weakness or numbness of an arm or leg": "a weak or numb arm or leg",
    "sudden trouble speaking or understanding": "trouble speaking or understanding",
    "sudden loss of vision": "loss of sight",
    "sudden severe headache": "a very bad headache",
    "sudden loss of balance": "loss of balance",
    "a seizure": "a fit",
    "fainting": "fainting",
    "new confusion": "confusion",
    "chest pain": "chest pain",
}
# The same in German, in the same order.
GERMAN = (
    "Gesicht hängt herab", "Arm oder Bein schwach oder taub",
    "Mühe beim Sprechen oder Verstehen", "Sehverlust", "sehr starke Kopfschmerzen",
    "Verlust des Gleichgewichts", "Krampfanfall", "Ohnmacht", "Verwirrtheit",
    "Schmerzen in der Brust",
)  # fmt: skip
GERMAN_AFTER_HEAD_INJURY = (
    "Kopfschmerzen, die stärker werden", "immer wieder Erbrechen", "große Schläfrigkeit",
    "ungleich große Pupillen",
)  # fmt: skip
# Sentences whose German once said, or could say, another thing than the English.
MEANT = {
    "nobody_told": ("Dieses Tablet ruft niemanden an.", "Es wurde niemand benachrichtigt."),
    "urgent": ("Rufen Sie jetzt Hilfe",),
}
PLAIN_AFTER_HEAD_INJURY = {
    "a headache that gets worse": "a headache that gets worse",
    "repeated vomiting": "vomiting again and again",
    "drowsiness": "being very drowsy",
    "pupils of unequal size": "pupils of different size",
}


def squeezed(text):
    return re.sub(r"\s+", " ", text.replace("**", ""))


def test_the_stage_says_every_sign_and_no_other():
    assert tuple(PLAIN) == cautions.SIGNS
    told, others = str(texts.SIGNS).removeprefix("Suddenly: ").removesuffix(".").split(". Or ")
    assert [*told.split(", "), *others.split(", ")] == list(PLAIN.values())
    sudden = [name for name in cautions.SIGNS if name.startswith("sudden")]
    assert len(told.split(", ")) == len(sudden)
    assert tuple(PLAIN_AFTER_HEAD_INJURY) == cautions.SIGNS_AFTER_HEAD_INJURY
    after = str(texts.HEAD_SIGNS).partition(": ")[2].removesuffix(".")
    assert after.split(", ") == list(PLAIN_AFTER_HEAD_INJURY.values())


@pytest.mark.parametrize(
    "words",
    [
        *cautions.SIGNS,
        *cautions.SIGNS_AFTER_HEAD_INJURY,
        *cautions.STOP_ON,
        *cautions.CONTRAINDICATIONS.values(),
    ],
)
def test_readme_and_page_say_every_one(words):
    assert words in squeezed((ROOT / "README.md").read_text(encoding="utf-8"))
    assert words in cases.html_of("two_visits")


def test_the_signs_are_the_same_in_german_each_for_each():
    say = language("de").say
    told, others = (
        say(texts.SIGNS).removeprefix("Plötzlich: ").removesuffix(".").split(". Oder ")
    )
    assert (*told.split(", "), *others.split(", ")) == GERMAN
    assert len(GERMAN) == len(cautions.SIGNS)
    after = say(texts.HEAD_SIGNS).partition(": ")[2].removesuffix(".")
    assert after == ", ".join(GERMAN_AFTER_HEAD_INJURY)
    assert len(GERMAN_AFTER_HEAD_INJURY) == len(cautions.SIGNS_AFTER_HEAD_INJURY)


def test_german_means_what_the_english_means():
    """That nobody is told is about help that does not come, not about being private."""
    say = language("de").say
    for words in MEANT["nobody_told"]:
        assert words in say(texts.NOBODY_TOLD)
    assert say(texts.URGENT_TITLE) == MEANT["urgent"][0]
    card = "If you feel unwell during this test, nobody is told; call for help yourself."
    assert "erfährt es niemand; rufen Sie selbst Hilfe" in catalogue("de").gettext(card)
    german = [say(text) for text in texts.SPOKEN.values()]
    german += [catalogue("de").gettext(text) for text in desk_texts()]
    private = [
        text for text in german if re.search(r"[Nn]iemand (sieht|schaut|beobachtet)", text)
    ]
    assert private == []


def test_readme_and_page_state_the_intended_use():
    readme = squeezed((ROOT / "README.md").read_text(encoding="utf-8"))
    use = cautions.INTENDED_USE.removeprefix("Intended use: ")
    assert f"Intended use: {use}" in readme
    assert cautions.INTENDED_USE.replace("'", "&#39;") in cases.html_of("two_visits")
    for words in ("decided on it alone", "clinician's judgement", "not a cleared"):
        assert words in cautions.INTENDED_USE


def test_the_page_after_a_sign_says_whom_to_call_and_that_nobody_knows():
    assert str(texts.URGENT_TITLE) == "Call for help now"
    assert "Nobody has been told" in str(texts.NOBODY_TOLD)
    assert texts.URGENT_ANY in texts.SPOKEN.values()
