"""What was changed of the clinic itself stands in the log: who, old and new, no secret."""

import sqlite3

import pytest

from battery.clinic_changes import ClinicChange, clinic_changes, note_change, signed
from battery.desk.names import Names
from battery.errors import UsageError
from battery.machine import set_up
from battery.store import Store
from battery.store.opening import FILE_NAME
from battery.store.settings import WITHOUT_CONSENT
from tests import store_kit as kit
from tests.desk.office import Desk
from tests.desk.test_history import ENGLISH
from tests.desk.test_names import Quick
from tests.desk.test_repeats import words_of
from tests.unit.test_cli_store import run

LIMITS = {
    "dizziness": "7", "vision": "7", "pain": "8", "fatigue": "8", "arm": "9", "sickness": "7",
    "effort": "10",
}  # fmt: skip
TABLET = {"emergency_number": "112", "staff_code": "97531", "large": "yes"}
MARK = "1a2b 3c4d 5e6f 7a8b"
CODES = ("2468", "97531", "86420", "13579")


@pytest.fixture(scope="module")
def shared(tmp_path_factory):
    home = tmp_path_factory.mktemp("log")
    Store.open(home).close()
    made = Desk(home)
    made.come_in()
    return made


@pytest.fixture
def desk(shared):
    """The desk of this file in English; each test looks at the lines that are its own."""
    shared.client.cookies.delete("desk-language")
    return shared


def log_of(desk):
    return [row[1:] for row in words_of(desk.get("/log").text)[1:]][::-1]


def told_since(before, desk):
    """The lines of the log that are new, in order of time."""
    told = log_of(desk)
    for row in before:
        told.remove(row)
    return told


def test_who_came_first_stands_there(desk):
    assert log_of(desk)[0] == ["AB", "whole clinic", "AB may use this desk"]


def test_each_change_stands_there_once_with_its_author_and_what_held_before(desk):
    before = log_of(desk)
    desk.send("/clinic/limits", LIMITS)
    desk.send("/clinic/limits", LIMITS | {"arm": "11"})  # refused, nothing is noted
    desk.send("/clinic/limits", LIMITS | {"arm": "6"})
    desk.send("/clinic/tablet", TABLET)
    desk.send("/clinic/tablet", TABLET | {"emergency_number": "144", "staff_code": ""})
    desk.send("/clinic/tablet", emergency_number="144", staff_code="13579")
    desk.send("/clinic/author", initials="CD", code="86420")
    desk.send("/clinic/author", initials="CD", code="13579")
    desk.send("/clinic/authors", initials="CD")
    home = desk.office.home
    for words in (
        ("limits", "pain", "5", "--by", "EF"),
        ("setup", "--as", "clinic", "--by", "EF"),
        ("comfort", "--theme", "dark", "--no-voice"),
    ):
        assert run(*words, "--home", home).exit_code == 0
    # A command goes by the clock of the machine, which is not that of this desk.
    told = told_since(before, desk)
    by_command = [row for row in told if row[0] != "AB"]
    assert by_command == [
        ["EF", "whole clinic", "alarm limit for pain: 5 (was 8)"],
        ["EF", "whole clinic", "what opens on this machine: the desk"],
        ["", "whole clinic", "for everybody: Colours: dark"],
        ["", "whole clinic", "for everybody: Pages read aloud: no"],
    ]
    assert [row[2] for row in told if row[0] == "AB"] == [
        "alarm limit for pain: 8 (was 7)",
        "alarm limit for trouble with arm or hand: 6 (was 9)",
        "emergency number: 112",
        "staff code set",
        "larger buttons and letters on the start page: yes",
        "emergency number: 144 (was 112)",
        "another staff code set",
        "larger buttons and letters on the start page: no (was yes)",
        "CD may use this desk",
        "CD has another code at this desk",
        "CD is off the list of this desk",
    ]
    kept = sqlite3.connect(home / FILE_NAME).execute(
        "SELECT json FROM settings WHERE name LIKE 'clinic_change:%'"
    )
    kept_text = " ".join(text for (text,) in kept)
    assert [code for code in CODES if code in kept_text] == []


def test_a_german_desk_tells_it_in_german(desk):
    with Store.open(desk.office.home) as store:
        for what, old, new in (
            ("names", "", "kept"), ("names", "kept", ""), ("tablet:1a2b", "tab-1", ""),
            ("staff_code", "set", ""), ("machine", "clinic", "tablet"),
        ):  # fmt: skip
            note_change(store, ClinicChange("2026-12-05T10:00:00+00:00", "AB", what, old, new))
        store.transfer.accept_tablet(
            MARK, "key", "tab-2", author="AB", at_utc="2026-12-06T10:00:00+00:00"
        )
    desk.client.cookies.set("desk-language", "de")
    told = [row[2] for row in log_of(desk)]
    assert "Alarmgrenze für Schmerz: 8 (vorher 7)" in told
    assert (
        "beim Start öffnet sich hier: die Startseite des Tablets (vorher die Praxisseiten)"
    ) in told
    assert told[-1] == f"Tablet {MARK} (tab-2) angenommen"
    assert [line for line in told if ENGLISH.search(line)] == []


def test_what_fails_inside_is_not_changed_and_not_noted(desk):
    def changed_by_half(store):
        with signed(store, author="AB", at_utc="2026-12-05T10:00:00+00:00"):
            set_up(store, emergency_number="110")
            set_up(store, machine="kiosk")

    with Store.open(desk.office.home) as store:
        before = clinic_changes(store)
        held = store.setup.setting("emergency_number", "")
        with pytest.raises(UsageError, match="machine"):
            changed_by_half(store)
        assert store.setup.setting("emergency_number", "") == held
        assert clinic_changes(store) == before


def test_a_line_of_a_later_program_is_told_by_its_name_and_a_damaged_one_is_named(desk):
    with Store.open(desk.office.home) as store:
        note_change(store, ClinicChange("2026-12-05T10:00:00+00:00", "AB", "sounds", "a", "b"))
        store.setup.put_setting("clinic_change:odd", {"at_utc": "x"})
    assert ["AB", "whole clinic", "sounds: b (was a)"] in log_of(desk)


def test_names_begun_and_deleted_stand_there_and_no_name_does(desk):
    desk.office.names = Names(desk.office.home, Quick())
    phrase = "a long enough phrase"
    before = log_of(desk)
    desk.send("/clinic/names", what="begin", phrase=phrase, again=phrase)
    desk.send("/clinic/names", what="delete", sure="yes")
    assert sorted(told_since(before, desk)) == [
        ["AB", "whole clinic", "names are kept on this machine"],
        ["AB", "whole clinic", "names on this machine deleted"],
    ]


def test_a_tablet_accepted_before_that_was_noted_is_told_after_it_was_dropped_too(desk):
    mark = "9f8e 7d6c 5b4a 3928"
    said = {"author": "OLD", "at_utc": "2026-11-01T10:00:00.000+00:00"}
    with Store.open(desk.office.home) as store:
        store.transfer.accept_tablet(mark, "key", "tab-9", **said)
    desk.send("/exchange/drop", tablet=mark)
    assert [row for row in log_of(desk) if mark in row[2]] == [
        ["OLD", "whole clinic", f"tablet {mark} (tab-9) accepted"],
        ["AB", "whole clinic", f"tablet {mark} (tab-9) no longer accepted"],
    ]


def test_names_stay_as_they_are_where_it_cannot_be_noted(desk):
    """Another program writes; nothing is done that nobody could read of later."""
    desk.office.names = Names(desk.office.home, Quick())
    phrase = "a long enough phrase"
    desk.send("/clinic/names", what="begin", phrase=phrase, again=phrase)
    before = log_of(desk)
    with sqlite3.connect(desk.office.home / FILE_NAME) as connection:
        connection.execute(
            "CREATE TRIGGER full BEFORE INSERT ON settings BEGIN "
            "SELECT RAISE(ABORT, 'database or disk is full'); END"
        )
        connection.commit()
        failed = desk.send("/clinic/names", what="delete", sure="yes")
        connection.execute("DROP TRIGGER full")
    connection.close()
    assert failed.status_code == 400
    assert desk.office.names.kept
    assert log_of(desk) == before
    desk.send("/clinic/names", what="delete", sure="yes")
    desk.send("/clinic/names", what="delete", sure="yes")  # there are none any more
    assert len(told_since(before, desk)) == 1


def test_to_erase_somebody_takes_nothing_of_it(desk):
    """Not even of a code that looks like a part of a moment."""
    with Store.open(desk.office.home) as store:
        note_change(store, ClinicChange("2026-12-05T10:00:00+00:00", "AB", "names", "", "kept"))
        for code in ("2026", "0000"):
            kit.enrol(store, code)
        before = clinic_changes(store)
        for code in ("2026", "0000"):
            store.erasure.erase(code, author="AB", at_utc="2026-12-06T10:00:00.000+00:00")
        assert clinic_changes(store) == before


@pytest.mark.parametrize(
    ("by", "wrong"), [("x" * 201, "201 letters"), ("A\x00B", "--by"), ("A\udcc4B", "--by")]
)
def test_an_author_who_cannot_be_stored_changes_nothing(desk, by, wrong):
    home = desk.office.home
    before = log_of(desk)
    for words in (
        ("setup", "--emergency-number", "118"), ("limits", "pain", "3"),
        ("comfort", "--theme", "dim"), ("keys", "drop", "--fingerprint", MARK),
    ):  # fmt: skip
        told = run(*words, "--by", by, "--home", home)
        assert isinstance(told.exception, UsageError), words
        assert wrong in str(told.exception)
    enrolled = run("enrol", "--checked-by", by, "--home", home)
    assert "--checked-by" in str(enrolled.exception)
    with Store.open(home) as store:
        assert store.people.all() == []
    assert log_of(desk) == before
    assert "which tablet" in str(run("keys", "drop", "--home", home).exception)


def test_who_is_erased_is_named_in_no_export_without_consent_nor_is_why(desk):
    at = "2026-12-05T10:00:0{}+00:00"
    with Store.open(desk.office.home) as store:
        kit.enrol(store, "M3XD")
        for n, (why, codes) in enumerate(
            (("M3XD alone, as agreed", "M3XD"), ("for M3XD's sister too", "M3XD V9HN"),
             ("ethics vote 7", "V9HN"))
        ):  # fmt: skip
            entry = [at.format(n), "AB", why, codes]
            store.setup.add_to_setting(WITHOUT_CONSENT, entry)
        store.erasure.erase("M3XD", author="AB", at_utc="2026-12-06T10:00:00.000+00:00")
        assert store.setup.setting(WITHOUT_CONSENT) == [
            [at.format(1), "AB", "", "V9HN"],
            [at.format(2), "AB", "ethics vote 7", "V9HN"],
        ]
    told = "exported without consent to research use: V9HN"
    rows = [row[2] for row in log_of(desk) if "without consent" in row[2]]
    assert rows == [told, f"{told}; ethics vote 7"]
