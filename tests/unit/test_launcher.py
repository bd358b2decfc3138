"""What `battery` opens without a command."""

import pytest

from battery.commands import launcher
from battery.desk.session import SETTING
from battery.store import Store
from tests import store_kit as kit


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("BATTERY_HOME", str(tmp_path))
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setenv("DISPLAY", ":1")
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    return tmp_path


def test_without_a_store_and_without_people_it_is_the_desk(home):
    assert launcher.launched([]) == ["desk"]
    Store.open(home).close()
    assert launcher.launched([]) == ["desk"]


def test_with_people_and_nobody_at_the_desk_it_is_the_tablet(home):
    with Store.open(home) as store:
        kit.enrol(store)
    assert launcher.launched([]) == ["tablet"]
    with Store.open(home) as store:
        store.setup.put_setting(SETTING, {"AB": {"salt": "00" * 16, "key": "00" * 64}})
    assert launcher.launched([]) == ["desk"]
    assert launcher.AUTHORS == SETTING


@pytest.mark.parametrize(("machine", "door"), [("tablet", "tablet"), ("clinic", "desk")])
def test_what_was_set_up_decides(home, machine, door):
    with Store.open(home) as store:
        kit.enrol(store)
        store.setup.put_setting("machine", machine)
    assert launcher.launched([]) == [door]


def test_what_was_typed_is_run_and_without_a_screen_help_is_shown(home, monkeypatch):
    assert launcher.launched(["people"]) == ["people"]
    monkeypatch.delenv("DISPLAY")
    assert launcher.launched([]) == []
