"""What a clinic has set: held to its form when it is kept, and again when it is read."""

import json
import sqlite3

import pytest

from battery.comfort import comfort_of
from battery.errors import UsageError
from battery.looks import Comfort
from battery.store import Store
from battery.store.opening import FILE_NAME
from battery.store.settings import FORMS
from battery.verify import verify
from tests.lied_to import PERSON, ask, one_time

HOSTILE = (
    "null", "true", "-1", "1e999", "NaN", "9" * 400, '"x"', '"\\u0000"', '"=1+1"',
    '"../../x"', "[]", "[[]]", "[null]", '["\\u001b[2J"]', '[{"seal": 1}]', "{}", '{"x": {}}',
    '{"pain": 99, "AB": {"salt": "zz", "key": ""}}', '{"theme": "pink", "text_percent": 1e9}',
    '{"text_percent": true, "voice": "loud", "language": ["en"]}', "", "not json", "\0",
    "[" * 5_000, '"' + "a" * 2_000_000 + '"',
)  # fmt: skip
OF_A_PERSON = ("comfort", "picture", "handover.accepted")
NAMES = [*FORMS, *(f"{n}{'.' if '.' in n else ':'}{PERSON}" for n in OF_A_PERSON)]
ASKED = (
    ("people",), ("report", PERSON, "--out", "{}/page.html"), ("setup",), ("comfort",),
    ("comfort", PERSON), ("limits",), ("keys", "show"), ("export", "{}/tidy"),
    ("export", "{}/bids", "--bids"), ("quarantine",), ("verify",), ("acknowledge", PERSON),
    ("send", "--to", "{}"), ("backup", "{}/copy.sqlite"),
)  # fmt: skip


@pytest.fixture(scope="module")
def clinic(small_clinic):
    """One task is enough here."""
    return small_clinic


@pytest.mark.parametrize("name", NAMES)
def test_a_hostile_setting_is_left_out_or_harmless(tmp_path, name):
    """Every hostile text under every name is read as a value of its form or not at all."""
    with Store.open(tmp_path) as store:
        pass
    connection = sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)
    for text in HOSTILE:
        connection.execute("REPLACE INTO settings (name, json) VALUES (?, ?)", (name, text))
        with Store.open(tmp_path, write=False) as store:
            told = store.setup.setting(name, "the default")
            if told != "the default":
                json.dumps(told)
                given = json.loads(text)
                part = isinstance(told, dict) and isinstance(given, dict)
                part = part and told.items() <= given.items()
                assert part or told in (given, [], {}), text
            else:
                assert f"setting {name}" in "\n".join(store.unreadable()), text
    connection.close()


@pytest.mark.parametrize("place", [13, 18])
def test_no_command_ends_in_a_traceback_for_a_hostile_setting(own_clinic, tmp_path, place):
    """Every setting at once; each command is asked, and says what it left out."""
    commands_end_calmly(own_clinic, tmp_path, HOSTILE[place])


@pytest.mark.long
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("text", HOSTILE)
def test_no_command_ends_in_a_traceback_for_any(own_clinic, tmp_path, text):
    commands_end_calmly(own_clinic, tmp_path, text)


def commands_end_calmly(home, out, text):
    connection = sqlite3.connect(home / FILE_NAME, isolation_level=None)
    for name in NAMES:
        connection.execute("REPLACE INTO settings (name, json) VALUES (?, ?)", (name, text))
    connection.close()
    with one_time():
        for words in ASKED:
            status, said = ask(*(word.format(out) for word in words), home=home)
            assert status in (0, 1, 2), words
            assert "Traceback" not in said, words


def test_a_look_that_the_stage_does_not_have_is_left_out(own_clinic):
    with Store.open(own_clinic) as store:
        store.setup.put_setting(
            "comfort", {"theme": "pink", "language": "xx", "volume_percent": 30}
        )
        assert comfort_of(store) == Comfort(volume_percent=30)
        assert {line.split(":")[0] for line in store.unreadable()} == {
            "setting comfort, language", "setting comfort, theme",
        }  # fmt: skip


def test_of_a_list_or_dict_the_entries_that_fit_are_kept(tmp_path):
    with Store.open(tmp_path) as store:
        store.setup.put_setting("alarm_limits", {"pain": 3})
    connection = sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)
    connection.execute("UPDATE settings SET json = ?", ('{"pain": 3, "fatigue": 99}',))
    connection.close()
    with Store.open(tmp_path) as store:
        assert store.setup.setting("alarm_limits", {}) == {"pain": 3}
        assert "'fatigue' is 99" in store.unreadable()[0]
    with Store.open(tmp_path, write=False) as store:
        assert "setting alarm_limits" in verify(store).summary()
    with Store.open(tmp_path) as store:
        store.setup.put_setting("alarm_limits", {"pain": 4})
        assert store.setup.setting("unreadable.alarm_limits") == {"pain": 3, "fatigue": 99}


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("machine", "toaster"),
        ("emergency_number", "call me"),
        ("alarm_limits", {"pain": 11}),
        ("comfort:K7QF", {"text_percent": 900}),
        ("handover.clinics", [{"seal": "no key\n"}]),
        ("of_later", "\x1b[2J"),
    ],
)
def test_what_does_not_fit_is_not_kept(tmp_path, name, value):
    with Store.open(tmp_path) as store:
        with pytest.raises(UsageError, match=f"setting {name}"):
            store.setup.put_setting(name, value)
        assert store.setup.setting(name) is None
