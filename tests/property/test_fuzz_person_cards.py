"""Cards of people that anybody may have left on a stick: none changes or stops anything."""

import base64
import json
import shutil

import pytest

from battery.errors import HandoverError
from battery.handover import keys, person_cards, send, take_person_card, write_person_card
from battery.handover.person_card import PERSON_CARD, SIGNED_AS
from battery.home_plan import Dose, dose_words, held_home_plan, reminder_due, set_home_plan
from battery.own_plan import own_plan, set_plan
from battery.people import picture_of
from battery.recording import canonical_json
from battery.store import Store
from tests import handover_kit as hand
from tests import mutations
from tests import store_kit as kit
from tests.unit.test_own_plan import at


@pytest.fixture
def given(tmp_path):
    """A tablet of a clinic, and the card of a person who is not enrolled on it."""
    pair = hand.Pair(tmp_path, n_visits=1)
    pair.clinic.people.add(kit.person("M4WX"))
    set_plan(pair.clinic, "M4WX", "short", author="AB", at_utc=at())
    dose = Dose("tapping", "both", 1.0, 3, (1, 3, 5), "near", 0, ("09:00", "17:30"))
    set_home_plan(
        pair.clinic, "M4WX", [dose], from_date=hand.NOW.date(), author="AB", at_utc=at()
    )
    write_person_card(pair.clinic, "M4WX", pair.stick, now=hand.NOW)
    yield pair, keys.clinic_keys(pair.clinic).signer
    pair.close()


@pytest.mark.timeout(3600)
@pytest.mark.parametrize("n", [15, pytest.param(2_000, marks=pytest.mark.long)])
def test_spoilt_cards_enrol_nobody_and_stop_nothing(given, tmp_path, n):
    """What the clinic did not sign is never taken; what it signed can be used or is refused."""
    pair, clinic = given
    path = pair.stick / f"M4WX{PERSON_CARD}"
    true = path.read_bytes()
    random_source = mutations.source(11)
    ((true_card,), _) = person_cards(pair.tablet, pair.stick)
    pair.tablet.close()
    n_taken = 0
    for number in range(n):
        data, is_signed = spoilt(true, random_source, clinic) if number else (true, True)
        path.write_bytes(data)
        shutil.copytree(tmp_path / "tablet", tmp_path / "tried")
        with Store.open(tmp_path / "tried") as tablet:
            cards, problems = person_cards(tablet, pair.stick)
            assert len(cards) + len(problems) == 1
            assert all("\n" not in line for line in problems)
            for card in cards:
                assert is_signed or card == true_card, number
                n_taken += taken(tablet, card)
            assert send(tablet, pair.stick, wall=hand.wall).n_sent
            assert hand.hashes(tablet)
        shutil.rmtree(tmp_path / "tried")
        for bundle in pair.bundles():
            bundle.unlink()
    assert n_taken > n / 50  # the lies come near enough to the truth to be taken


def taken(tablet, card):
    """Take a card in and use what it said as the start page and a visit do."""
    try:
        take_person_card(tablet, card)
    except HandoverError:
        return False
    assert tablet.people.get(card.code) == card.person
    assert picture_of(tablet, card.code) == card.picture
    held = own_plan(tablet, card.code)
    assert held is None or held.plan.tasks
    entries = tablet.care.home_plans(card.code)
    for entry in held_home_plan(entries, hand.NOW.date()):
        assert dose_words(entry)
    reminder_due(entries, hand.NOW)
    return True


def spoilt(true, random_source, clinic):
    """Return other bytes, and whether the clinic's own key signed them."""
    how = random_source.randrange(3)
    if how == 0:
        return mutations.bytes_changed(true, random_source), False
    whole = json.loads(true)
    if how == 1:
        return dumped(mutations.json_changed(whole, random_source)), False
    whole["body"] = mutations.json_changed(whole["body"], random_source)
    is_signed = random_source.random() < 0.8
    by = clinic if is_signed else hand.key("stranger")
    body = canonical_json(whole["body"]).encode("utf-8", "surrogatepass")
    whole["signature"] = base64.b64encode(by.sign(SIGNED_AS + body)).decode()
    return dumped(whole), is_signed


def dumped(whole):
    return json.dumps(whole).encode("utf-8", "surrogatepass")
