"""Every answer that must alarm: from the tap on the tablet to list, page and note.

The visit is done in the window by taps, handed over as a bundle, and read at the clinic by the
functions that the commands call.
"""

import re
from datetime import date, timedelta

import pytest

from battery.alarms import DEFAULT_LIMITS, SAID, alarms_of, set_limit
from battery.answers import ASKED_TWICE, QUESTIONS
from battery.cautions import CONTRAINDICATIONS
from battery.handover import keys, receive, send
from battery.report import page_of, render
from battery.report.caseload import caseload
from battery.report.note import note_text
from battery.stage.language.languages import language
from battery.stage.pages.builder import Maker
from battery.stage.pages.following import run_pages
from battery.stage.pages.stopping import Stopping
from battery.store import HomeExercise, Store
from tests.handover_kit import accept_key
from tests.screen.manners import Person as Somebody
from tests.screen.pilot import Pilot, open_window, tablet
from tests.screen.test_flow import BRIEF, NOW, Clinic
from tests.sparing import only
from tests.unit.test_cli_store import run

AFTERWARDS = NOW + timedelta(days=1)


class Answering(Somebody):
    """Goes forward, but presses what the story says: a key, several in turn, a number."""

    def __init__(self, **story):
        super().__init__()
        self.story = {page.replace("_", " "): told for page, told in story.items()}

    def __call__(self, state):
        page = state["page"]
        told = self.story.get(page)
        keys = {button["key"] for button in state["buttons"]}
        if isinstance(told, int):
            if str(told) not in keys:  # a leaf of words comes first
                return super().__call__(state)
            self.story[page] = "go"
            return str(told)
        if isinstance(told, list):
            told = told.pop(0) if told and told[0] in keys else None
        return told if told in keys else super().__call__(state)


# What is tapped, how many blocks of the visit are broken off, and what must be read.
TOLD = {
    "emergency sign": ({"red_flags": "yes"}, (), "a new emergency sign was answered yes"),
    "rise after": ({"as_before": "no", "after_fatigue": 3}, (), "tiredness rose by 3"),
    "every rise after": (
        {"as_before": "no"} | {f"after_{name}": 3 for name in ASKED_TWICE},
        (),
        *(f"{SAID[name]} rose by 3" for name in ASKED_TWICE),
    ),
    "rise at a stop": (
        {"stopped": "unwell", "unwell": "dizziness", "stop_dizziness": 4},
        ("stopped",),
        "dizziness rose by 4",
    ),
    "sick at a stop": (
        {"stopped": "unwell", "unwell": "sickness", "stop_sickness": 3},
        ("stopped",),
        "feeling sick or faint rose by 3",
    ),
    "unwell end": (
        {"stopped": ["unwell", "end"], "unwell": "pain", "stop_pain": 1},
        ("stopped",),
        "ended unwell",
    ),
    "unwell, then no word": (
        {"stopped": ["unwell", "end"], "unwell": "back"},
        ("stopped",),
        "ended unwell",
    ),
    "every question at its limit": (
        {f"before_{name}": DEFAULT_LIMITS[name] for name in ASKED_TWICE}
        | {"effort": DEFAULT_LIMITS["effort"]},
        (),
        *(f"{SAID[name]} {DEFAULT_LIMITS[name]} of 10" for name in (*ASKED_TWICE, "effort")),
    ),
}


@pytest.fixture
def places(tmp_path, headless, monkeypatch):
    """A tablet with one person in a window, the clinic, and the folder between them."""
    stick = tmp_path / "stick"
    stick.mkdir()
    with Store.open(tmp_path / "tablet") as tablet, Store.open(tmp_path / "clinic") as clinic:
        mark = keys.make_clinic_keys(clinic, stick)
        keys.make_tablet_keys(tablet, keys.found_cards(stick), [mark])
        there = Clinic(tablet, *headless, monkeypatch, plan=BRIEF)
        clinic.people.add(there.person)
        accept_key(clinic, keys.tablet_key(tablet).public_key().public_bytes_raw())
        yield there, clinic, stick


def hand_over(there, clinic, stick):
    send(there.store, stick, wall=lambda: NOW)
    receive(clinic, stick, wall=lambda: NOW)


def read_at(clinic, code, now=AFTERWARDS):
    """What the list, the page and the note say of a person."""
    (row,) = [r for r in caseload(clinic, now=now) if r.code == code]
    page = page_of(clinic, code, now=now)
    html = render(page)
    first_sheet = re.sub("<[^>]+>", "", html[html.index("<section") : html.index("</section>")])
    return row, first_sheet, note_text(page)


@pytest.mark.parametrize(
    "name",
    only(
        list(TOLD),
        ["emergency sign", "every rise after", "rise at a stop", "unwell, then no word",
         "every question at its limit"],
    ),
)  # fmt: skip
def test_an_answer_that_must_alarm_stands_first_everywhere(places, name):
    there, clinic, stick = places
    story, endings, *wanted = TOLD[name]
    there.endings = ["finished", *endings] if endings else []
    there.visit(Answering(**story))
    hand_over(there, clinic, stick)
    row, sheet, note = read_at(clinic, there.person.code)
    assert "alarm" in row.states
    assert note.startswith("ALARM")
    for words in wanted:
        assert words in row.alarms[0]
        assert words in sheet[: sheet.index("What changed")]
        assert words in note.splitlines()[0]


def test_what_had_not_settled_by_the_next_visit_alarms(places):
    there, clinic, stick = places
    there.visit(Answering(as_before="no", after_pain=4))
    there.visit(Answering(settled="no"))
    hand_over(there, clinic, stick)
    row, sheet, note = read_at(clinic, there.person.code)
    words = "what rose the time before had not settled"
    assert words in " ".join(row.alarms)
    assert words in sheet
    assert words in note


def test_what_speaks_against_starting_alarms_at_the_clinic_too(places):
    """Entered on the tablet, also where nobody knew; a no is no alarm."""
    there, clinic, stick = places
    code = there.person.code
    there.store.care.answer_contraindications(
        code, [("neck", "yes"), ("pressure", "unknown"), ("arm", "no")], author="AB",
        at_utc=NOW.isoformat(),
    )  # fmt: skip
    there.visit(Answering())
    hand_over(there, clinic, stick)
    row, sheet, note = read_at(clinic, code)
    told = " ".join(row.alarms)
    for item, lead in (("neck", ""), ("pressure", "not known whether ")):
        words = f"ask a clinician first: {lead}{CONTRAINDICATIONS[item]}"
        assert words in told
        assert words in sheet
        assert words in note
    assert CONTRAINDICATIONS["arm"] not in told


def test_a_visit_without_anything_to_alarm_about_is_silent(places):
    there, clinic, stick = places
    there.visit(Answering())
    hand_over(there, clinic, stick)
    row, sheet, note = read_at(clinic, there.person.code)
    assert row.alarms == ()
    assert "not acknowledged" not in sheet
    assert note.startswith("S:")


def test_events_consent_and_practice_alarm_too(places):
    there, clinic, stick = places
    code, at = there.person.code, NOW.isoformat()
    there.store.annotations.add_marker(code, "fall", at_utc=at, note="in the kitchen")
    there.store.people.record_consent(code, form_version="2", decision="withdrawn", at_utc=at)
    there.store.care.put_home_exercise(
        HomeExercise(
            "00000000-0000-4000-8000-000000000001", code, "reported", "all", None, None, 3,
            date(2026, 3, 4).isoformat(), at,
        )
    )  # fmt: skip
    there.visit(Answering())
    hand_over(there, clinic, stick)
    row, sheet, note = read_at(clinic, code)
    for words in ("fall: in the kitchen", "withdrawn", "strong symptoms after home exercise"):
        assert any(words in line for line in row.alarms)
        assert words in sheet
        assert words in note


def test_the_emergency_sign_stands_before_everything_else(places):
    there, clinic, stick = places
    there.visit(Answering(red_flags="yes"))
    there.store.annotations.add_marker(
        there.person.code, "fall", at_utc=(NOW + timedelta(days=3)).isoformat()
    )
    hand_over(there, clinic, stick)
    row, _, _ = read_at(clinic, there.person.code)
    assert "emergency sign" in row.alarms[0]
    assert "fall" in row.alarms[1]


def test_it_stays_until_somebody_says_by_name_to_have_seen_it(places, tmp_path):
    there, clinic, stick = places
    there.visit(Answering(as_before="no", after_pain=9))
    hand_over(there, clinic, stick)
    code = there.person.code
    much_later = NOW + timedelta(days=200)
    assert read_at(clinic, code, much_later)[0].alarms
    refused = run("acknowledge", code, "--all", "--home", tmp_path / "clinic")
    assert "author is empty" in str(refused.exception)
    done = run("acknowledge", code, "--all", "--by", "AB", "--note", "called", "--home",
               tmp_path / "clinic")  # fmt: skip
    assert done.exit_code == 0, done.output
    row, sheet, note = read_at(clinic, code, much_later)
    assert row.alarms == ()
    assert "not acknowledged" not in sheet
    assert "acknowledged by AB" in note
    whole = render(page_of(clinic, code, now=much_later))
    assert "acknowledged by AB" in whole
    assert "called" in whole


def test_what_was_seen_on_one_machine_is_seen_on_the_other(places):
    """An acknowledgement travels like the answer it is about."""
    there, clinic, stick = places
    there.visit(Answering(red_flags="yes"))
    (alarm,) = alarms_of(there.store, there.person.code)
    there.store.annotations.acknowledge_alarm(
        there.person.code, alarm.key, author="AB", at_utc=NOW.isoformat()
    )
    hand_over(there, clinic, stick)
    assert read_at(clinic, there.person.code)[0].alarms == ()


def test_nobody_is_due_no_longer_and_silent_for_it(places):
    """Discharged is not due, and an alarm still stands first."""
    there, clinic, stick = places
    there.visit(Answering(red_flags="yes"))
    hand_over(there, clinic, stick)
    clinic.care.set_state(
        there.person.code, "discharged", from_date=date(2026, 3, 4), reason="goals reached",
        author="AB", at_utc=NOW.isoformat(),
    )  # fmt: skip
    row, _, _ = read_at(clinic, there.person.code, NOW + timedelta(days=60))
    assert row.due == "discharged"
    assert {"alarm", "discharged"} <= row.states
    assert "overdue" not in row.states


def test_the_clinics_limit_decides_not_the_tablets(places):
    there, clinic, stick = places
    there.visit(Answering(before_pain=6))
    hand_over(there, clinic, stick)
    assert read_at(clinic, there.person.code)[0].alarms == ()
    set_limit(clinic, "pain", 6)
    assert "pain 6 of 10" in read_at(clinic, there.person.code)[0].alarms[0]


def test_every_question_on_the_scale_has_a_limit():
    on_scale = {name for name, question in QUESTIONS.items() if not question.words}
    assert set(DEFAULT_LIMITS) == on_scale


@pytest.mark.parametrize("spoken", only(["en", "de"], ["de"]))  # its words are the longer
@pytest.mark.parametrize("size", only(["1280x800", "1024x600"], ["1024x600"]))
@pytest.mark.parametrize(
    ("large", "share"), [(False, 1.0), (True, 1.0), (False, 2.0), (True, 2.0)]
)
def test_call_for_help_now_comes_first_at_any_size(monkeypatch, size, spoken, large, share):
    """One leaf in both profiles; with words of twice the size whom to call is on the first."""
    with open_window(monkeypatch, tablet(size)) as (window, clock):
        window.language, window.text_share = language(spoken), share
        pilot = Pilot(window, clock, Somebody(urgent="end"))
        make = Maker(
            large=large, side="right", stopped=lambda back: back(),
            help_page=lambda page: page, staff_page=lambda page: page,
        )  # fmt: skip
        stopping = Stopping(
            make,
            emergency_number="112",
            ended=lambda: None,
            following=lambda: None,
            away=lambda: None,
        )
        run_pages(window, stopping.urgent(lambda: None))
    keys = {b["key"] for state in pilot.states for b in state["buttons"]}
    assert {"end", "back"} <= keys
    assert [s["page"] for s in pilot.states] == ["urgent"] * len(pilot.states)
    assert ("turn" in keys) <= (share > 1)


def test_a_slip_of_the_finger_leads_back_and_still_alarms(places):
    there, clinic, stick = places
    there.visit(Answering(red_flags=["yes", "no"], urgent="back"))
    hand_over(there, clinic, stick)
    (visit,) = clinic.visits.all(there.person.code)
    assert visit.ending == "finished"
    row, _, _ = read_at(clinic, there.person.code)
    assert "answered yes, then no" in row.alarms[0]
