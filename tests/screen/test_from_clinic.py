"""Staff take people and keys from the clinic's drive by touch alone."""

import pytest

from battery.drives import Drive
from battery.handover import make_clinic_keys, make_tablet_keys, write_person_card
from battery.handover.keys import clinics_of, found_cards
from battery.own_plan import own_plan, set_plan
from battery.people import new_person, picture_of
from battery.stage.staff import from_clinic as module
from battery.store import Store
from tests.screen.door import NOW, Home
from tests.screen.tablet_kit import CODE, Hand, use

STAFF = [("nobody", "corners"), *(("staff", digit) for digit in CODE)]


class Quick(Hand):
    settle_ns = 350_000_000


@pytest.fixture
def drive(tmp_path, monkeypatch):
    """A tablet without people, its clinic with six of them, and their cards on a drive."""
    monkeypatch.setattr("tests.screen.tablet_kit.Hand", Quick)
    stick = tmp_path / "STICK"
    stick.mkdir()
    monkeypatch.setattr(module, "drives", lambda _: [Drive(stick, 1)])
    home = Home(tmp_path / "home", setup=("--staff-code", CODE))
    with Store.open(tmp_path / "clinic") as clinic, Store.open(home.folder) as tablet:
        tablet.care.set_state(
            home.code, "discharged", from_date=NOW.date(), reason="moved", author="AB",
            at_utc=NOW.isoformat(),
        )  # fmt: skip
        make_clinic_keys(clinic, stick)
        codes = []
        for _ in range(6):
            person = new_person(
                clinic, dominant_hand="right", affected_side="left", first_hand=None, now=NOW
            )
            codes.append(person.code)
    return home, stick, tmp_path / "clinic", codes


def put(stick, clinic, codes):
    with Store.open(clinic) as store:
        for code in codes:
            set_plan(store, code, "short", author="AB", at_utc=NOW.isoformat())
            write_person_card(store, code, stick, now=NOW)
        return {code: picture_of(store, code) for code in codes}


def paired(home, stick):
    with Store.open(home.folder) as tablet:
        cards = found_cards(stick)
        make_tablet_keys(tablet, cards, [card.fingerprint for card in cards])


def test_a_tablet_is_paired_by_comparing_words_and_pictures(monkeypatch, drive):
    home, stick, _, _ = drive
    script = [
        *STAFF, ("staff menu", "pair"), ("compare clinic", "other"), ("not paired", "end"),
        ("staff menu", "pair"), ("compare clinic", "same"), ("paired", "end"),
        ("staff menu", "back"),
    ]  # fmt: skip
    hand, told = use(monkeypatch, home, script)
    with Store.open(home.folder, write=False) as tablet:
        assert clinics_of(tablet) == found_cards(stick)
    assert any("paired; tablet key" in line for line in told)
    menus = [{b["key"] for b in s["buttons"]} for s in hand.states if s["page"] == "staff menu"]
    assert "new person" not in menus[0]
    assert {"new person", "send"} <= menus[-1]


def test_one_of_a_few_is_chosen_and_the_picture_confirmed(monkeypatch, drive):
    home, stick, clinic, codes = drive
    pictures = put(stick, clinic, codes[:2])
    paired(home, stick)
    script = [
        *STAFF, ("staff menu", "new person"), ("which card", codes[0]),
        ("card picture", "other"), ("which card", codes[1]), ("card picture", "same"),
        ("card taken", "end"), ("staff menu", "back"), ("person", "looks"),
    ]  # fmt: skip
    use(monkeypatch, home, script)
    with Store.open(home.folder, write=False) as tablet, Store.open(clinic) as desk:
        assert tablet.people.get(codes[1]) == desk.people.get(codes[1])
        assert picture_of(tablet, codes[1]) == pictures[codes[1]]
        assert own_plan(tablet, codes[1]).row.plan_name == "short"
        assert codes[0] not in [person.code for person in tablet.people.all()]


def test_with_many_the_code_is_typed_and_only_one_that_is_there_leads_on(monkeypatch, drive):
    home, stick, clinic, codes = drive
    put(stick, clinic, codes)
    paired(home, stick)
    wrong = next(c for c in ("3333", "4444") if c not in codes)
    script = [*STAFF, ("staff menu", "new person")]
    script += [("card code", sign) for sign in wrong] + [("card code", "delete")] * 4
    script += [("card code", sign) for sign in codes[3]]
    script += [("card code", "go"), ("card picture", "same"), ("card taken", "end")]
    hand, _ = use(monkeypatch, home, [*script, ("staff menu", "back"), ("person", "looks")])
    ways = [{b["key"] for b in s["buttons"]} for s in hand.states if s["page"] == "card code"]
    assert ["go" in way for way in ways] == [False] * 12 + [True]
    with Store.open(home.folder, write=False) as tablet:
        assert codes[3] in [person.code for person in tablet.people.all()]


def test_without_a_card_it_says_so_and_tries_again(monkeypatch, drive):
    home, stick, clinic, codes = drive
    paired(home, stick)

    def plugged(_window, state):
        if state["page"] == "no card":
            put(stick, clinic, codes[:1])

    script = [
        *STAFF, ("staff menu", "new person"), ("no card", "again"), ("which card", codes[0]),
        ("card picture", "same"), ("card taken", "end"), ("staff menu", "back"),
        ("person", "looks"),
    ]  # fmt: skip
    use(monkeypatch, home, script, look=plugged)
