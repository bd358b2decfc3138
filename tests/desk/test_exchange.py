"""Receiving at the desk, from a stick of a real tablet's store; and the clinic's settings."""

import re
import shutil
import sqlite3
from types import SimpleNamespace

import pytest

from battery import drives as drives_module
from battery.alarms import limits_of
from battery.desk import told_words
from battery.desk.screens import exchange, today
from battery.desk.session import authors
from battery.drives import Drive, removable
from battery.handover import keys, make_clinic_keys, make_tablet_keys, send
from battery.handover.both_sides import PERSON_ROWS, VERSION_ROWS, person_rows
from battery.handover.keys import found_cards
from battery.handover.receiving import admit
from battery.own_plan import set_plan
from battery.store import Store
from tests import handover_kit as hand
from tests import store_kit as kit
from tests.desk.office import NOW, Desk


@pytest.fixture(scope="module")
def clinic(small_clinic):
    """One task is enough here."""
    return small_clinic


@pytest.fixture(scope="module")
def week(clinic, tmp_path_factory):
    """A folder with a stick of everything that a tablet has, and the clinic that it is for."""
    folder = tmp_path_factory.mktemp("week")
    stick = folder / "stick"
    stick.mkdir()
    home = shutil.copytree(clinic, folder / "tablet")
    with Store.open(folder / "desk") as store, Store.open(home) as tablet:
        mark = make_clinic_keys(store, stick)
        make_tablet_keys(tablet, found_cards(stick), [mark])
        send(tablet, stick, wall=lambda: NOW)
    return folder


@pytest.fixture
def stick(tmp_path, week):
    """The stick, for the clinic whose desk is open."""
    shutil.copytree(week / "desk", tmp_path / "desk")
    return shutil.copytree(week / "stick", tmp_path / "stick")


@pytest.fixture
def desk(tmp_path, stick, monkeypatch):
    monkeypatch.setattr(exchange, "drives", lambda _: [Drive(stick, 3)])
    made = Desk(tmp_path / "desk")
    made.come_in()
    return made


def test_a_new_tablet_waits_until_its_key_is_compared_and_then_all_is_here(desk, stick):
    assert str(stick) in desk.get("/exchange").text
    first = desk.send("/exchange/receive", folder=str(stick))
    assert "is not known" in first.text
    assert "battery quarantine" not in first.text  # nobody at a desk gives commands
    assert "battery keys" not in first.text
    with desk.office.store() as store:
        assert store.people.all() == []
    n_choices = 0
    while 'name="item" value="' in (screen := desk.get("/exchange").text):
        item = screen.split('name="item" value="')[1].split('"')[0]
        fields = {"item": item, "action": "take", "reason": "compared by eye"}
        assert desk.send("/exchange/choose", fields).status_code == 200
        n_choices += 1
        assert n_choices < 20
    with desk.office.store() as store:
        assert store.people.all()
        assert sum(len(store.visits.all(p.code)) for p in store.people.all()) > 0
    assert "/person/" in desk.get("/").text


def test_a_lost_tablet_is_accepted_no_longer_and_can_be_again(desk, stick):
    """What it sent stays; the log says who accepted it and who did so no longer."""
    with desk.office.store() as store:
        assert "A tablet was lost" not in desk.get("/exchange").text
    desk.send("/exchange/receive", folder=str(stick))
    item = desk.get("/exchange").text.split('name="item" value="')[1].split('"')[0]
    fields = {"item": item, "action": "take", "reason": "compared by eye"}
    desk.send("/exchange/choose", fields)
    with desk.office.store() as store:
        (tablet,) = store.transfer.tablets()
        before = store.visits.all()
    mark = tablet.fingerprint
    assert f'value="{mark}"' in desk.get("/exchange").text
    assert desk.send("/exchange/drop", tablet="").status_code == 400
    assert "stays" in desk.send("/exchange/drop", tablet=mark).text
    again = desk.send("/exchange/drop", tablet=mark)
    assert again.status_code == 400
    assert "no accepted tablet" in again.text
    with desk.office.store() as store:
        assert store.transfer.tablets() == []
        assert store.visits.all() == before
    told = re.findall(r"tablet [^<]*accepted", desk.get("/log").text)
    assert told == [
        f"tablet {mark} ({tablet.device}) no longer accepted",
        f"tablet {mark} ({tablet.device}) accepted",
    ]


def test_receiving_twice_takes_nothing_twice(desk, stick):
    desk.send("/exchange/receive", folder=str(stick))
    before = desk.get("/exchange").text.count('name="item"')
    desk.send("/exchange/receive", folder=str(stick))
    assert desk.get("/exchange").text.count('name="item"') == before


def test_a_folder_that_is_none_is_one_line(desk):
    for folder in ("", "relative", "/nowhere/at/all", "/etc/passwd", "\0"):
        answer = desk.send("/exchange/receive", folder=folder)
        assert answer.status_code == 400, folder
        assert "is not a folder on this machine" in answer.text


def test_a_choice_without_a_reason_changes_nothing(desk, stick):
    desk.send("/exchange/receive", folder=str(stick))
    item = desk.get("/exchange").text.split('name="item" value="')[1].split('"')[0]
    answer = desk.send("/exchange/choose", item=item, action="take", reason="")
    assert answer.status_code == 400
    assert f'value="{item}"' in desk.get("/exchange").text


def test_drives_that_can_be_taken_out_are_told_from_disks():
    """Where systems mount them: common practice of desktops, no source."""
    told = [
        SimpleNamespace(mountpoint="/", opts="rw"),
        SimpleNamespace(mountpoint="/media/anna/STICK", opts="rw,nosuid"),
        SimpleNamespace(mountpoint="/boot/efi", opts="rw"),
        SimpleNamespace(mountpoint="E:\\", opts="rw,removable"),
        SimpleNamespace(mountpoint="C:\\", opts="rw,fixed"),
    ]
    assert [str(p) for p in removable(told)] == ["/media/anna/STICK", "E:\\"]
    assert list(drives_module.drives(".none")) is not None


def test_limits_and_authors_are_kept(desk):
    with desk.office.store() as store:
        held = limits_of(store)
    fields = {name: str(value) for name, value in held.items()} | {"pain": "9"}
    desk.send("/clinic/limits", fields)
    with desk.office.store() as store:
        assert limits_of(store)["pain"] == 9
    assert "saved" in desk.send("/clinic/author", initials="CD", code="9753").text
    with desk.office.store() as store:
        assert set(authors(store)) == {"AB", "CD"}
    assert "nobody was removed" in desk.send("/clinic/authors", initials="AB").text
    desk.send("/clinic/authors", initials="CD")
    with desk.office.store() as store:
        assert set(authors(store)) == {"AB"}


def test_a_backup_is_a_store_that_opens(desk, tmp_path):
    (tmp_path / "copy").mkdir()
    target = tmp_path / "copy" / "battery.sqlite"
    assert "The backup is made" in desk.send("/clinic/backup", file=str(target)).text
    with Store.open(tmp_path / "copy", write=False) as store:
        assert authors(store)
    again = desk.send("/clinic/backup", file=str(target))
    assert again.status_code == 400


def test_today_says_that_a_drive_with_bundles_is_plugged_in(desk, monkeypatch, stick):
    assert "are on drives" not in desk.get("/").text
    monkeypatch.setattr(today, "drives", lambda _: [Drive(stick, 3)])
    assert "3 bundles are on drives that are plugged in." in desk.get("/").text


def test_the_card_prints_the_pairing_and_goes_onto_a_drive(desk, stick, monkeypatch):
    """Words and pictures on paper are of the key that signs what lies on the drive."""
    from battery.desk.screens import enrol
    from battery.handover import mark_words, person_cards
    from battery.people import new_person

    monkeypatch.setattr(enrol, "drives", lambda _: [Drive(stick, 3)])
    with desk.office.store(write=True) as store:
        person = new_person(
            store, dominant_hand="right", affected_side="left", first_hand=None, now=NOW
        )
    page = desk.get(f"/card/{person.code}").text
    (mark,) = {card.fingerprint for card in found_cards(stick)}
    assert mark_words(mark) in page
    assert page.count("<svg") == 7
    done = desk.send(f"/card/{person.code}", folder=str(stick))
    assert "The card is on the drive" in done.text
    with Store.open(stick.parent / "other") as tablet:
        make_tablet_keys(tablet, found_cards(stick), [mark])
        cards, problems = person_cards(tablet, stick)
    assert ([card.person for card in cards], problems) == ([person], [])
    wrong = desk.send(f"/card/{person.code}", folder="/nowhere")
    assert (wrong.status_code, "is not a folder" in wrong.text) == (400, True)


def test_receiving_answers_in_german_on_a_german_desk(desk, stick):
    desk.send("/look", language="de", then="/exchange")
    took = desk.send("/exchange/receive", folder=str(stick)).text
    assert "Pakete warten, weil ihr Tablet hier nicht bekannt ist" in took
    assert "warten auf eine Entscheidung: siehe unten" in took
    assert "not known here" not in took
    with Store.open(desk.office.home) as store:
        item = exchange.choices(store)[0].name
    said = {"item": item, "action": "take", "reason": "verglichen"}
    settled = desk.send("/exchange/choose", **said).text
    assert re.search(r"Tablet .* ist angenommen", settled)
    assert "weil ihre Person hier nicht bekannt oder anders aufgenommen ist" in settled


def test_plans_that_contradict_are_told_in_german_on_receive(desk):
    said = {"author": "AB", "at_utc": "2026-03-20T12:00:00.000+00:00"}
    with Store.open(desk.office.home) as store:
        kit.enrol(store, "M4WX")
        first = set_plan(store, "M4WX", "standard", **said)
        second = set_plan(store, "M4WX", "short", **said)
        assert second.follows == first.entry_id
        with sqlite3.connect(store.folder / "battery.sqlite") as other:
            other.execute("UPDATE person_plans SET follows = ''")
        other.close()
    assert "M4WX: two plans contradict" in desk.get("/exchange").text
    assert "two plans contradict" in desk.get("/person/M4WX").text
    desk.send("/look", language="de", then="/exchange")
    assert "M4WX: two plans" not in (told := desk.get("/exchange").text)
    assert "M4WX: Zwei Pläne widersprechen sich" in told


@pytest.fixture
def two_sides(tmp_path):
    """A clinic's desk; a person came as on the tablet, a visit in another version."""
    pair = hand.Pair(tmp_path)
    pair.send()
    pair.receive()
    header = pair.tablet.visits.all()[0].header
    theirs = kit.person(first_hand="left", n_baseline=5)
    signer = keys.tablet_key(pair.tablet)
    for number, visit, person in (
        (8, kit.visit(sequence=7), theirs),
        (9, header, None),
    ):
        told = hand.packed(hand.whole(visit, seed=99), number=number, person=person)
        admit(pair.clinic, hand.arrival(told, signer), wall=hand.wall)
    lines = pair.waiting()
    home = pair.clinic.folder
    pair.close()
    made = Desk(home)
    made.come_in()
    return made, lines


def rows_shown(screen):
    """Name of each row of the tables of a screen, and what stands on each side."""
    rows = re.findall(r'<tr[^>]*><th scope="row">(.*?)</th>(.*?)</tr>', screen)
    return [(name, *re.findall("<td>(.*?)</td>", cells)) for name, cells in rows]


def test_what_waits_is_shown_with_both_sides(two_sides):
    desk, lines = two_sides
    shown = rows_shown(screen := desk.get("/exchange").text)
    assert ("hand tested first", "left", "right") in shown
    assert ("visits of the baseline", "5", "4") in shown
    assert "writing hand" not in [row[0] for row in shown]  # it is the same on both sides
    assert re.search(r'class="differs"><th scope="row">blocks<', screen)
    assert '<tr><th scope="row">ended<' in screen  # the same in both
    counts = {row[1:] for row in shown if row[0] == "blocks"}
    assert counts == {("1", "2"), ("2", "1")}  # each version's own choice has it on the left
    heads = re.findall(r'<th scope="col">(this version, |version )(\w{8})</th>', screen)
    assert [told for told, _ in heads] == ["this version, ", "version "] * 2
    assert heads[0][1] == heads[3][1] != heads[1][1] == heads[2][1]
    titles = re.findall(r"<p><strong>(K7QF[^<]{20})", screen)  # whichever came first
    assert titles in (sorted(titles), sorted(titles, reverse=True))
    assert "    hand tested first: the tablet: left | this clinic: right" in lines
    desk.send("/look", language="de", then="/exchange")
    german = [row for row in rows_shown(desk.get("/exchange").text) if "links" in row]
    assert german == [("zuerst getestete Hand", "links", "rechts")]


def test_of_somebody_unknown_all_is_shown():
    theirs = kit.person()
    rows = person_rows(theirs, None)
    assert [row.name for row in rows] == list(PERSON_ROWS)
    assert {row.sides[1] for row in rows} == {"-"}
    assert person_rows(theirs, theirs) == []
    names = {*PERSON_ROWS, *VERSION_ROWS}
    assert names <= set(told_words.SIDES)
