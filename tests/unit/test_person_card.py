"""A person's card from the clinic to a tablet, and fingerprints as words and pictures."""

import base64
import json

import pytest

from battery.errors import HandoverError
from battery.handover import mark_pictures, mark_words, person_cards, take_person_card
from battery.handover import write_person_card as write
from battery.handover.keys import clinic_keys
from battery.handover.person_card import PERSON_CARD, SIGNED_AS
from battery.own_plan import own_plan, set_plan
from battery.people import picture_of
from battery.recording import canonical_json
from tests import handover_kit as hand
from tests import store_kit as kit
from tests.unit.test_own_plan import at

TABLE = {  # Wilkerson 2009, arXiv:0901.4016, its addresses with their words, from memory
    "7f00 0001": "lusab babad",
    "3f54 dcc1": "gutih tugad",
    "3f76 0723": "gutuk bisog",
    "8c62 c18d": "mudof sakat",
    "40ff 06c8": "haguz biram",
    "d823 44d7": "tobog higil",
    "d844 e815": "todah vobij",
}


@pytest.mark.parametrize("digits", TABLE)
def test_words_are_those_of_the_published_table(digits):
    assert mark_words(digits) == TABLE[digits]


def test_one_other_digit_is_another_row_of_pictures():
    marks = [f"1a2b 3c4d 5e6f 7a{n:02x}" for n in range(256)]
    assert len({mark_words(mark) for mark in marks}) == 256
    assert len({mark_pictures(mark) for mark in marks}) > 250


@pytest.fixture
def pair(tmp_path):
    made = hand.Pair(tmp_path, n_visits=0)
    made.clinic.people.add(kit.person("M4WX"))
    yield made
    made.close()


def card_of(pair, code):
    write(pair.clinic, code, pair.stick, now=hand.NOW)
    cards, problems = person_cards(pair.tablet, pair.stick)
    assert problems == []
    return next(card for card in cards if card.code == code)


def test_a_tablet_enrols_by_the_card_exactly_as_the_clinic_did(pair):
    """So that what it sends later is taken in without a choice; the picture goes with it."""
    row = set_plan(pair.clinic, "M4WX", "short", author="AB", at_utc=at())
    card = card_of(pair, "M4WX")
    lines = take_person_card(pair.tablet, card)
    assert lines[0] == "M4WX is enrolled here by the clinic's card"
    assert "plan short" in lines[1]
    assert pair.tablet.people.get("M4WX") == pair.clinic.people.get("M4WX")
    assert own_plan(pair.tablet, "M4WX").row == row
    assert picture_of(pair.tablet, "M4WX") == picture_of(pair.clinic, "M4WX") == card.picture
    assert take_person_card(pair.tablet, card) == []


def test_a_new_plan_reaches_the_tablet_with_the_next_exchange(pair):
    """Nobody puts a card there by hand: receiving writes it, sending reads it."""
    set_plan(pair.clinic, "K7QF", "short", author="AB", at_utc=at())
    pair.tablet.setup.put_device(kit.DEVICE)
    pair.tablet.annotations.add_marker("K7QF", "fall", at_utc=at())
    pair.send()
    pair.receive()
    report = pair.send()
    assert any("K7QF: plan short" in line for line in report.lines())
    assert own_plan(pair.tablet, "K7QF").row.plan_name == "short"
    set_plan(pair.clinic, "K7QF", "numbers", author="AB", at_utc=at())
    pair.receive()
    assert any("plan numbers" in line for line in pair.send().news)
    assert own_plan(pair.tablet, "K7QF").against == ()


def test_a_plan_that_contradicts_the_tablets_is_named_and_overwrites_nothing(pair):
    own = set_plan(pair.tablet, "K7QF", "numbers", author="EF", at_utc=at())
    set_plan(pair.clinic, "K7QF", "short", author="AB", at_utc=at())
    lines = take_person_card(pair.tablet, card_of(pair, "K7QF"))
    assert any("two plans contradict" in line for line in lines)
    assert own_plan(pair.tablet, "K7QF").row == own


def test_somebody_enrolled_differently_is_refused_and_stays(pair):
    pair.tablet.people.add(kit.person("M4WX", first_hand="left"))
    with pytest.raises(HandoverError, match="enrolled differently here"):
        take_person_card(pair.tablet, card_of(pair, "M4WX"))
    assert pair.tablet.people.get("M4WX").first_hand == "left"


def test_who_was_erased_is_not_enrolled_again_and_the_card_goes(pair):
    from battery.handover import erase_everywhere

    card = card_of(pair, "M4WX")
    take_person_card(pair.tablet, card)
    pair.tablet.erasure.erase("M4WX", author="AB", at_utc=at())
    with pytest.raises(HandoverError, match="was erased here"):
        take_person_card(pair.tablet, card)
    assert (pair.stick / f"M4WX{PERSON_CARD}").exists()
    erase_everywhere(pair.clinic, "M4WX", author="AB", at_utc=at(), folders=[pair.stick])
    assert not (pair.stick / f"M4WX{PERSON_CARD}").exists()


def forged(pair, change, *, signed=True):
    path = write(pair.clinic, "M4WX", pair.stick, now=hand.NOW)
    body = json.loads(path.read_text())["body"]
    change(body)
    whole = {"body": body, "signature": json.loads(path.read_text())["signature"]}
    if signed:
        signature = clinic_keys(pair.clinic).signer.sign(
            SIGNED_AS + canonical_json(body).encode()
        )
        whole["signature"] = base64.b64encode(signature).decode()
    path.write_text(json.dumps(whole))
    return person_cards(pair.tablet, pair.stick)


FORGED = {
    "person": (lambda b: b["person"].update(code="../x"), "no card of a person"),
    "picture": (lambda b: b.update(picture="skull"), "no card of a person"),
    "whose": (lambda b: b["rows"]["person_plans"][0].update(person="K7QF"), "somebody else"),
    "plan": (lambda b: b["rows"]["person_plans"][0].update(plan_json="{}"), "cannot be"),
    "table": (lambda b: b["rows"].update(consents=[{}]), "Update the program"),
    "format": (lambda b: b.update(format=2), "Update the program"),
    "rows": (lambda b: b.update(rows=[]), "no card of a person"),
}


@pytest.mark.parametrize("what", FORGED)
def test_a_card_that_cannot_be_changes_nothing_even_if_it_is_signed(pair, what):
    set_plan(pair.clinic, "M4WX", "short", author="AB", at_utc=at())
    change, why = FORGED[what]
    cards, problems = forged(pair, change)
    assert cards == []
    assert why in problems[0]


def test_a_card_of_somebody_else_than_the_clinic_is_refused(pair):
    cards, problems = forged(pair, lambda b: b["person"].update(n_baseline=2), signed=False)
    assert cards == []
    assert "signature is not the clinic's" in problems[0]
