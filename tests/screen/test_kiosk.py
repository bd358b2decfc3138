"""A tablet at home: what is looked at before the start, what staff set, how they leave."""

from datetime import datetime, timedelta
from types import SimpleNamespace

import psutil
import pytest

from battery.errors import UsageError
from battery.machine import clinic_settings, set_up
from battery.plan import Plan, PlannedTask
from battery.recording import Device, Screen
from battery.stage.drawing.places import Button
from battery.stage.pages.following import run_pages
from battery.stage.pages.page import TextPage
from battery.stage.pages.staff import staff_page
from battery.stage.screen.pointer import Report
from battery.stage.settings.kiosk import battery_percent, warnings
from battery.store import Person, Store
from battery.visits import begin_visit
from tests.screen.pilot import Pilot

NOW = datetime.fromisoformat("2026-03-04T10:00:00+00:00")
MS = 1_000_000
ROOM = 10**12


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "home") as store:
        store.people.add(Person("K7QF", "right", "left", "right", NOW.isoformat()))
        yield store


def supply(folder, name, **files):
    """A power supply as Linux tells of it (kernel documentation, sysfs-class-power)."""
    place = folder / name
    place.mkdir(parents=True)
    for file, text in files.items():
        (place / file).write_text(text + "\n")


def test_a_low_battery_is_told_when_nothing_charges_it(tmp_path):
    assert battery_percent(tmp_path) is None
    supply(tmp_path, "AC", type="Mains", status="?", capacity="0")
    supply(
        tmp_path, "hid-pen", type="Battery", scope="Device", status="Discharging", capacity="3"
    )
    assert battery_percent(tmp_path) is None
    supply(tmp_path, "BAT0", type="Battery", status="Discharging", capacity="29")
    assert battery_percent(tmp_path) == 29
    (tmp_path / "BAT0" / "status").write_text("Charging\n")
    assert battery_percent(tmp_path) is None


@pytest.mark.parametrize(
    ("told", "left"), [(None, None), ((28.6, False), 29), ((28.6, True), None)]
)
def test_other_systems_are_asked_by_psutil(monkeypatch, told, left):
    """Its battery has `percent` and `power_plugged`, as its documentation says."""
    battery = told and SimpleNamespace(percent=told[0], power_plugged=told[1])
    monkeypatch.setattr(psutil, "sensors_battery", lambda: battery, raising=False)
    monkeypatch.setattr("sys.platform", "win32")
    assert battery_percent() == left


def test_battery_disk_and_clock_are_looked_at(store, tmp_path):
    power = tmp_path / "power"
    assert warnings(store, NOW, power=power, free_bytes=ROOM) == []
    supply(power, "BAT0", type="Battery", status="Discharging", capacity="12")
    assert warnings(store, NOW, power=power, free_bytes=10**9 - 1) == ["battery", "disk"]
    plan = Plan(name="one", tasks=(PlannedTask(task="tapping"),))
    device = Device("T-A", Screen(1280, 800, 0.17, 0.17, "card"))
    begin_visit(store, store.people.get("K7QF"), plan, device, wall=lambda: NOW)
    later, earlier = NOW + timedelta(days=7), NOW - timedelta(minutes=1)
    assert "clock" not in warnings(store, later, power=power, free_bytes=ROOM)
    assert "clock" in warnings(store, earlier, power=power, free_bytes=ROOM)


def test_what_the_clinic_sets_is_kept_and_odd_things_are_refused(store):
    assert clinic_settings(store).emergency_number == ""
    assert not clinic_settings(store).show_scores  # off unless somebody wants it
    set_up(store, emergency_number="112", staff_code="2468")
    held = set_up(store, show_scores=True)
    assert held == clinic_settings(store)
    assert (held.emergency_number, held.staff_code, held.show_scores) == ("112", "2468", True)
    for wrong in ({"emergency_number": "the office"}, {"staff_code": "12"}):
        with pytest.raises(UsageError):
            set_up(store, **wrong)
    assert clinic_settings(store) == held


def corners(window, clock, pilot, order, step_ms=600):
    """Tap lower corners in an order, two millimetres from both edges."""
    half_x, half_y = window.screen.width_mm / 2 - 2, window.screen.height_mm / 2 - 2
    for number, side in enumerate(order, start=1):
        t_ns = clock.now + number * step_ms * MS
        x_mm = -half_x if side == "left" else half_x
        pilot.add(
            (t_ns, Report(t_ns, 0, "down", x_mm, -half_y, 1)),
            (t_ns + 80 * MS, Report(t_ns + 80 * MS, 0, "up", x_mm, -half_y, 1)),
        )


def visit_page(window, code, typed):
    """A page from which the staff page is reached; what is typed there is given."""
    keys = iter(typed)
    clock = window.now_ns
    seen = []

    def choose(state):
        seen.append(state["page"])
        if state["page"] == "staff":
            return next(keys, None)
        return None

    pilot = Pilot(window, clock, choose)
    page = TextPage(
        "page", "Title", ("Words.",), (Button("go", "Go on", "right"),), lambda _: None,
        staff_page=lambda back: staff_page(back, code),
    )  # fmt: skip
    return pilot, page, seen


@pytest.mark.parametrize(
    ("order", "step_ms", "opens"),
    [
        (("left", "right", "left"), 600, True),
        (("left", "right", "left"), 2_600, False),  # not within five seconds
        (("right", "left", "right"), 600, False),
        (("left", "left", "left"), 600, False),
    ],
)
def test_staff_tap_the_lower_corners_in_order(headless, order, step_ms, opens):
    window, clock = headless
    pilot, page, seen = visit_page(window, "", ["leave"])
    corners(window, clock, pilot, order, step_ms)
    pilot.add((clock.now + 12_000 * MS, "quit"))
    run_pages(window, page)
    assert ("staff" in seen) is opens


def test_only_the_right_code_leaves(headless):
    window, clock = headless
    pilot, page, seen = visit_page(window, "2468", [*"1357", *"2468"])
    corners(window, clock, pilot, ("left", "right", "left"))
    run_pages(window, page)
    assert window.closing
    assert seen.count("staff") >= 8

    window.closing = False
    pilot, page, seen = visit_page(window, "2468", [*"2467", "back"])
    corners(window, clock, pilot, ("left", "right", "left"))
    pilot.add((clock.now + 20_000 * MS, "quit"))
    run_pages(window, page)
    assert seen[-1] == "page"  # came back; the quit of the test ended it
