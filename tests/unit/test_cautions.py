"""One list of signs, reasons to ask first and intended use, wherever people read them.

The signs of a stroke are those that first-aid teaching lists (face, arm, speech, balance, eyes,
headache, each sudden); those after a head injury are common practice. From memory, no source.
"""

import re
from pathlib import Path

import pytest

from battery import cautions
from battery.stage.language import texts
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
