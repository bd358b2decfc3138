"""What was said about a person is in the desk's language; what was typed stays as it is."""

import re
from datetime import date

from battery.comfort import keep_comfort
from battery.desk.history import history_of
from battery.desk.noted import keep_noted
from battery.effective import blocks_of, visits_of
from battery.home_plan import Dose, set_home_plan
from battery.own_plan import set_plan
from battery.store import Store
from tests.desk.office import Desk
from tests.unit.test_cli_store import run

SAID = {"author": "AB", "at_utc": "2026-12-01T10:00:00.000+00:00"}
TYPED = "as the person typed it"
# Words of the program that no German line may hold.
ENGLISH = re.compile(
    r"\b(goal|from|visit|hand left|hand right|baseline|consent|was|home|plan numbers|times|"
    r"minutes|with|set by|tablet:|acknowledged|taken|left out|excluded|paused|fall|reached)\b"
)


def say_everything(store, code):
    """Say one thing of each kind there is, every word of a person being `TYPED`."""
    care, said = store.care, store.annotations
    goal = care.set_goal(code, TYPED, **SAID)
    care.rate_goal(goal.goal_id, 1, **SAID)
    care.set_state(code, "paused", from_date=date(2026, 12, 1), reason=TYPED, **SAID)
    set_plan(store, code, "numbers", **SAID)
    doses = [
        Dose("tapping", "both", 1.5, 3, (1, 3), "wall", 0, ("09:00", "14:00")),
        Dose("slide", "left", 1, 1, (1, 2, 3, 4, 5, 6, 7), "near", 200),
    ]
    set_home_plan(store, code, doses, from_date=date(2026, 12, 1), **SAID)
    set_home_plan(store, code, [], from_date=date(2026, 12, 2), **SAID)
    keep_comfort(store, code, author=code, at_utc=SAID["at_utc"], theme="dim", voice=False)
    keep_comfort(store, code, language="de", volume_percent=55, **SAID)
    said.add_marker(code, "fall", note=TYPED, at_utc=SAID["at_utc"])
    said.acknowledge_alarm(code, "fall:1", note=TYPED, **SAID)
    visit = visits_of(store, code)[0].header.visit_id
    said.restart_baseline(code, visit, reason=TYPED, **SAID)
    said.restart_baseline(code, None, reason=TYPED, **SAID)
    block = blocks_of(store, visit)[0]
    other = {"left": "right", "right": "left"}[block.hand]
    said.amend("block", block.record.header.block_id, "hand", other, reason=TYPED, **SAID)
    said.amend("block", block.record.header.block_id, "excluded", "yes", reason=TYPED, **SAID)
    said.amend("visit", visit, "helped", "yes", reason=TYPED, **SAID)
    said.amend("visit", visit, "note", TYPED, reason=TYPED, **SAID)
    for scope in ("care", "research"):
        store.people.record_consent(
            code, form_version="4", decision="withdrawn", scope=scope, at_utc=SAID["at_utc"]
        )
    keep_noted(store, code, **SAID)


def test_every_kind_of_line_is_german_and_what_was_typed_is_not_touched(own_clinic):
    with Store.open(own_clinic) as store:
        say_everything(store, "K7QF")
        english = history_of(store, "K7QF")
        german = history_of(store, "K7QF", language="de")
    assert [row.target for row in german] == [row.target for row in english]
    typed = [row.what.count(TYPED) for row in english]
    assert sum(typed) >= 11
    assert [row.what.count(TYPED) for row in german] == typed
    left = [row.what for row in german if ENGLISH.search(row.what.replace(TYPED, ""))]
    assert left == []
    told = {row.what for row in german}
    assert f"Ziel: {TYPED}" in told
    assert (
        "zu Hause ab 2026-12-01: Tippen: 1.5 min mit jedem Arm, 3-mal täglich, Mo, Mi, "
        "Ziel an der Wand, ohne Gewicht; Erinnerung um 09:00, 14:00"
    ) in told


def test_who_entered_an_event_a_consent_or_a_checklist_is_told(own_clinic):
    """By the desk and by the command alike; nobody is named where nobody said who."""
    desk = Desk(own_clinic)
    desk.come_in()
    say = "/person/K7QF/say"
    desk.send(f"{say}/event", kind="fall", note="at the desk", day="2026-11-30")
    desk.send(f"{say}/consent", scope="care", decision="given", form_version="desk")
    home = ("--home", own_clinic)
    run("mark", "K7QF", "fall", "--note", "by command", "--by", "CD", *home)
    run("mark", "K7QF", "fall", "--note", "by nobody", *home)
    run("consent", "K7QF", "--given", "--form-version", "command", "--by", "CD", *home)
    run("contraindications", "K7QF", "--none", "--by", "CD", *home)
    run("contraindications", "K7QF", "--present", "pain", "--by", "EF", *home)
    with Store.open(own_clinic) as store:
        told = {row.what: row.author for row in history_of(store, "K7QF")}
        german = [row.what for row in history_of(store, "K7QF", language="de")]
    assert (
        told
        | {
            "fall: at the desk": "AB",
            "fall: by command": "CD",
            "fall: by nobody": "",
            "consent to care given, form desk": "AB",
            "consent to research given, form command": "CD",
            "reasons not to start: none": "CD",
            "reasons not to start: severe pain": "EF",
        }
        == told
    )
    assert "spricht gegen den Beginn: starke Schmerzen" in german
    assert "at the desk" in (log := desk.get("/log?author=AB").text)
    assert "by command" not in log
    with Store.open(own_clinic) as store:  # it goes with the person
        store.erasure.erase("K7QF", author="AB", at_utc=SAID["at_utc"])
        assert store.setup.settings_of("entered_by") == {}


def test_a_german_desk_shows_it_on_both_screens(own_clinic):
    with Store.open(own_clinic) as store:
        say_everything(store, "K7QF")
    desk = Desk(own_clinic)
    desk.client.headers["accept-language"] = "de"
    desk.come_in()
    for path in ("/person/K7QF", "/log"):
        shown = desk.get(path).text
        assert f"Ziel: {TYPED}" in shown
        assert "Notiz in die Akte übernommen" in shown
