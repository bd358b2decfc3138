"""The screens of the desk over an invented clinic: what is done there is then stored."""

import re
import sqlite3
import time
from itertools import groupby

import pytest
from typer.testing import CliRunner

from battery.alarms import alarms_of
from battery.cautions import CONTRAINDICATIONS
from battery.cli import app
from battery.comfort import comfort_of, keep_comfort, was_heard
from battery.desk.frame import clock
from battery.desk.screens import enrol
from battery.effective import blocks_of, visits_of
from battery.errors import StoreError
from battery.looks import Comfort
from battery.report.caseload import caseload
from battery.store import Store
from battery.store.opening import FILE_NAME
from tests.desk.office import OWN


def test_the_list_leads_to_every_person(desk):
    page = desk.get("/").text
    with desk.office.store() as store:
        codes = [p.code for p in store.people.all()]
    assert all(f'href="/person/{code}"' in page for code in codes)
    assert desk.get(f"/?code={codes[0][:2].lower()}").text.count("/person/") >= 1


def test_the_list_says_why_somebody_stands_there(desk, code):
    desk.send(f"/person/{code}/say/state", state="paused", reason="on holiday")
    with desk.office.store() as store:
        rows = caseload(store, now=desk.office.wall())
    wanted = [[row.code for row in group] for _, group in groupby(rows, lambda r: r.place)]
    assert groups(desk.get("/").text) == wanted
    assert len(wanted) > 1
    place = next(row.place for row in rows if row.code == code)
    for asked in (f"/?code={code}", "/?state=paused"):
        page = desk.get(asked).text
        assert groups(page) == [[code]]
        assert {"alarm": "Alarm that nobody", "paused": ">Paused"}[place] in page


def groups(page):
    """The people under each heading of the list."""
    return [re.findall(r'href="/person/(\w+)"', part) for part in page.split('"rowgroup"')[1:]]


def test_the_page_stands_inside_and_runs_nothing(desk, code):
    screen = desk.get(f"/person/{code}").text
    assert f'src="/person/{code}/page"' in screen
    inside = desk.get(f"/person/{code}/page")
    assert "sandbox" in inside.headers["content-security-policy"]
    assert "frame-ancestors 'self'" in inside.headers["content-security-policy"]
    assert code in inside.text


SAID = {
    "event": ({"kind": "fall", "note": "on the stairs", "day": "2026-11-30"}, "on the stairs"),
    "goal": ({"goal": "carry a full cup"}, "carry a full cup"),
    "home-plan": (
        {
            "tapping-agreed": "yes",
            "tapping-hand": "both",
            "tapping-minutes": "1,5",
            "tapping-times": "3",
            "tapping-day": ["1", "3"],
            "tapping-target": "wall",
            "tapping-weight": "0",
            "tapping-at": "9:00 14:00",
            "day": "2026-11-30",
        },
        "at home from 2026-11-30: tapping: 1.5 min with each arm, 3 times a day, Mon, Wed, "
        "target on the wall, no weight; reminder at 09:00, 14:00",
    ),
    "comfort": (
        {"comfort-language": "de", "comfort-text_percent": "150", "comfort-voice": "off"},
        "on the tablet: Language of words and voice: Deutsch",
    ),
    "visit-plan": ({"visit_plan": "short", "plan_file": ""}, "plan short ("),
    "baseline": (
        {"from_visit": "2", "reason": "new drug"},
        "new baseline from visit 2: new drug",
    ),
    "state": ({"state": "paused", "reason": "in hospital"}, "paused from 2026-12-04"),
}


@pytest.mark.parametrize("what", SAID)
def test_what_is_said_is_stored_and_stands_in_the_history(desk, code, what):
    fields, shown = SAID[what]
    assert desk.send(f"/person/{code}/say/{what}", fields).status_code == 200
    assert shown in desk.get(f"/person/{code}").text


def test_the_plan_that_holds_stands_in_its_form(desk, code):
    """Saving the form unchanged must not set another plan."""
    desk.send(f"/person/{code}/say/visit-plan", visit_plan="short")
    assert '<option value="short" selected>' in desk.get(f"/person/{code}").text


WRONG = {
    "event": {"kind": "party"},
    "goal": {"goal": "  "},
    "visit-plan": {"visit_plan": "weekly"},
    "home-plan": {"slide-agreed": "yes", "slide-hand": "both", "slide-minutes": "1"},
    "baseline": {"from_visit": "99", "reason": "typed wrong"},
    "state": {"state": "gone", "reason": "typed wrong"},
    "comfort": {"comfort-theme": "pink"},
    "rating": {"goal_id": "x", "level": "0"},
    "acknowledge": {},
    "take-back": {"target": "event:nothing", "reason": "typed wrong"},
}


@pytest.mark.parametrize("what", WRONG)
def test_what_is_wrong_stands_beside_its_form_and_nothing_is_stored(desk, code, what):
    before = desk.get(f"/person/{code}").text.count("<tr")
    answer = desk.send(f"/person/{code}/say/{what}", WRONG[what])
    assert answer.status_code == 400
    assert 'class="wrong"' in answer.text
    assert desk.get(f"/person/{code}").text.count("<tr") == before


def test_nothing_typed_is_lost_by_an_error(desk, code):
    fields = {"day": "2027-01-01", "kind": "fall", "note": "kept words"}
    answer = desk.send(f"/person/{code}/say/event", fields)
    assert "still to come" in answer.text
    assert 'value="kept words"' in answer.text


def test_an_alarm_stands_first_until_it_is_acknowledged(desk, code):
    desk.send(f"/person/{code}/say/event", kind="fall", note="", day="2026-12-01")
    first = desk.get("/").text
    row = first[first.index(f'/person/{code}"') :].split("</tr>")[0]
    assert "Alarm:" in row
    assert first.index(f'/person/{code}"') < first.index('"rowgroup"', first.index(row))
    assert "Alarm that nobody" in first.split('"rowgroup"')[1]
    screen = desk.get(f"/person/{code}").text
    key = re.search(r'name="alarm" value="([^"]+)"', screen)[1]
    desk.send(f"/person/{code}/say/acknowledge", alarm=key, note="called")
    with desk.office.store() as store:
        seen = [a for a in alarms_of(store, code) if a.key == key]
    assert seen[0].acknowledged.author == "AB"
    assert "acknowledged by AB" in desk.get(f"/person/{code}").text


def test_what_was_said_by_mistake_is_taken_back_and_stays_visible(desk, code):
    desk.send(f"/person/{code}/say/event", kind="fall", note="wrong person", day="2026-12-01")
    screen = desk.get(f"/person/{code}").text
    target = re.search(r'name="target" value="(event:[^"]+)"', screen)[1]
    desk.send(f"/person/{code}/say/take-back", target=target, reason="somebody else")
    assert "somebody else, AB" in desk.get(f"/person/{code}").text


def test_swapped_hands_of_a_whole_visit_are_one_press(desk, code):
    with desk.office.store() as store:
        visit = visits_of(store, code)[0].header.visit_id
        before = [held.hand for held in blocks_of(store, visit)]
    desk.send(f"/person/{code}/visits/1", what="swap", reason="pen in the other hand")
    with desk.office.store() as store:
        after = [held.hand for held in blocks_of(store, visit)]
    other = {"left": "right", "right": "left"}
    assert after == [other[hand] for hand in before]
    assert "recorded as" in desk.get(f"/person/{code}/visits").text


def test_nothing_is_put_right_without_a_reason(desk, code):
    before = desk.get(f"/person/{code}/visits").text.count("left out")
    answer = desk.send(f"/person/{code}/visits/2", what="leave-out", reason="")
    assert "nothing was amended" in answer.text
    desk.send(f"/person/{code}/visits/2", what="leave-out", reason="fire alarm")
    assert desk.get(f"/person/{code}/visits").text.count("left out") == before + 1
    desk.send(f"/person/{code}/visits/2", what="take-in", reason="it was fine")
    assert desk.get(f"/person/{code}/visits").text.count("left out") == before


def test_a_visit_is_given_to_nobody_who_was_not_chosen(desk, code):
    answer = desk.send(f"/person/{code}/visits/1", what="give", person="", reason="mistaken")
    assert "choose whose visit it is; nothing was amended" in answer.text
    assert '<option value=""></option>' in answer.text


def test_nobody_is_chosen_for_a_visit_before_somebody_does(desk, code):
    first = r'<select name="code" required><option value="">'
    assert re.search(first, desk.get("/start").text)
    assert f'value="{code}" selected' not in desk.get("/start").text
    assert f'href="/start?code={code}"' in desk.get(f"/person/{code}").text
    assert f'value="{code}" selected' in desk.get(f"/start?code={code}").text
    answer = desk.send("/start", code="")
    assert answer.status_code == 400
    assert "choose who sits here; nothing was begun" in answer.text


@pytest.mark.parametrize(
    ("path", "place"),
    [
        ("/clinic/limits", "/clinic"),
        ("/exchange/receive", "/exchange"),
        ("/person/{}/say/goal", "/person/{}"),
        ("/person/{}/visits/1", "/person/{}/visits"),
    ],
)
def test_what_a_form_answers_belongs_to_the_page_the_form_stands_on(desk, code, path, place):
    path, place = path.format(code), place.format(code)
    answer = desk.send(path)
    assert answer.status_code == 400
    assert f'name="then" value="{place}"' in answer.text
    marked = re.findall(r'<a href="([^"]+)" aria-current', answer.text)
    assert marked == ([place] if place in ("/clinic", "/exchange") else [])
    assert "aria-current" not in desk.get("/nowhere").text
    assert desk.get(place).status_code == 200
    desk.send("/door/lock")
    asked = {"form_secret": desk.known.form}
    away = desk.client.post(path, data=asked, headers={"origin": OWN}, follow_redirects=False)
    assert away.headers["location"] == f"/door?then={place}"


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone cannot be set here")
def test_moments_are_told_by_the_clocks_of_the_place(monkeypatch):
    monkeypatch.setenv("TZ", "EST5EDT")  # winter: five hours behind (POSIX.1, 8.3)
    time.tzset()
    try:
        assert clock("2026-12-04T03:30:00+00:00") == "2026-12-03 22:30"
    finally:
        monkeypatch.undo()
        time.tzset()
    assert clock("no moment") == "no moment"


def enrolment(**changed):
    asked = {f"item-{name}": "no" for name in CONTRAINDICATIONS}
    return {
        "dominant_hand": "right",
        "affected_side": "left",
        "first_hand": "",
        **asked,
        **changed,
    }


def test_enrolling_asks_everything_and_ends_with_a_card(desk):
    card = desk.send(
        "/enrol", enrolment(form_version="3", visit_plan="short", **{"item-pain": "unknown"})
    )
    code = re.search(r"<h1>([A-Z0-9]{4})</h1>", card.text)[1]
    with Store.open(desk.office.home, write=False) as store:
        assert store.people.get(code).first_hand == "right"
        assert len(store.care.contraindications(code)) == len(CONTRAINDICATIONS)
        assert store.people.consents(code)[0].form_version == "3"
        assert [(row.plan_name, row.author) for row in store.care.plans(code)] == [
            ("short", "AB")
        ]
    assert "Your picture" in card.text
    assert "severe pain" in desk.get(f"/person/{code}").text


def test_a_question_left_out_enrols_nobody(desk):
    fields = enrolment()
    del fields["item-neck"]
    with desk.office.store() as store:
        before = len(store.people.all())
    answer = desk.send("/enrol", fields)
    assert "Nobody was enrolled" in answer.text
    with desk.office.store() as store:
        assert len(store.people.all()) == before


def test_a_store_that_fails_on_the_way_enrols_nobody_and_says_so(desk):
    """The last thing said of somebody meets a full disk: all before it is taken back."""
    with sqlite3.connect(desk.office.home / FILE_NAME) as store:
        store.execute(
            "CREATE TRIGGER full BEFORE INSERT ON comforts BEGIN "
            "SELECT RAISE(ABORT, 'database or disk is full'); END"
        )
    store.close()
    before = dump(desk)
    answer = desk.send("/enrol", enrolment(**LOOKS, form_version="3", visit_plan="short"))
    assert answer.status_code == 400
    assert "disk is full" in answer.text
    assert "Nobody was enrolled" in answer.text
    assert 'name="form_version" value="3"' in answer.text
    desk.client.cookies.set("desk-language", "de")
    german = desk.send("/enrol", enrolment(**LOOKS)).text
    assert "Niemand wurde aufgenommen" in german
    assert dump(desk) == before
    with sqlite3.connect(desk.office.home / FILE_NAME) as store:
        store.execute("DROP TRIGGER full")
    store.close()
    assert desk.send("/enrol", enrolment(**LOOKS)).url.path.startswith("/card/")


def dump(desk):
    with sqlite3.connect(desk.office.home / FILE_NAME) as store:
        told = [
            store.execute(f"SELECT * FROM {table}").fetchall()
            for table in ("people", "contraindications", "consents", "person_plans", "settings")
        ]
    store.close()
    return told


def test_a_card_that_cannot_be_shown_names_the_code_that_was_given(desk, monkeypatch):
    def unread(*_args):
        msg = "battery.sqlite: disk I/O error; nothing was changed"
        raise StoreError(msg)

    monkeypatch.setattr(enrol, "picture_held", unread)
    told = desk.send("/enrol", enrolment())
    code = told.url.path.rsplit("/", 1)[1]
    assert "Enrolled." in told.text
    assert f"the card of {code} cannot be shown" in told.text


LOOKS = {
    "comfort-language": "de", "comfort-text_percent": "150", "comfort-buttons": "large",
    "comfort-theme": "dim", "comfort-voice": "off", "comfort-volume_percent": "",
    "comfort-side": "left",
}  # fmt: skip


def test_language_and_comfort_are_said_where_somebody_is_enrolled(desk):
    """As the command says them; what is not chosen is asked on the tablet or stays as it is."""
    code = desk.send("/enrol", enrolment(**LOOKS)).url.path.rsplit("/", 1)[1]
    words = {"language": "de", "text_percent": 150, "buttons": "large", "theme": "dim"}
    with desk.office.store() as store:
        held = comfort_of(store, code)
        assert held == Comfort(**words, voice=False, side="left")
        assert not was_heard(store, code)
        told = {(e.name, e.value, e.author) for e in store.care.comforts(code)}
    home = desk.office.home
    again = desk.send("/enrol", enrolment()).url.path.rsplit("/", 1)[1]
    done = CliRunner().invoke(app, [
        "comfort", again, "--language", "de", "--text", "150", "--buttons", "large", "--theme",
        "dim", "--no-voice", "--side", "left", "--by", "AB", "--home", str(home),
    ])  # fmt: skip
    assert done.exit_code == 0, done.output
    with desk.office.store() as store:
        assert {(e.name, e.value, e.author) for e in store.care.comforts(again)} == told


def test_what_the_stage_cannot_do_enrols_nobody_and_loses_nothing(desk):
    with desk.office.store() as store:
        before = len(store.people.all())
    for odd in ({"comfort-theme": "pink"}, {"comfort-text_percent": "a"}):
        answer = desk.send("/enrol", enrolment(**{**LOOKS, **odd}))
        assert answer.status_code == 400
        assert '<option value="large" selected>' in answer.text
    with desk.office.store() as store:
        assert len(store.people.all()) == before


def test_what_a_person_chose_and_staff_set_otherwise_stands_beside_the_form(desk, code):
    with desk.office.store(write=True) as store:
        keep_comfort(
            store, code, text_percent=200, theme="dim", author=code,
            at_utc="2026-11-30T09:00:00.000+00:00",
        )  # fmt: skip
    assert ": the person chose “" not in desk.get(f"/person/{code}").text
    desk.send(f"/person/{code}/say/comfort", {"comfort-text_percent": "150"})
    screen = desk.get(f"/person/{code}").text
    assert (
        "Size of words: the person chose “200 %” on the tablet on 2026-11-30; AB set “150 %” on"
        in screen
    )
    assert "Colours: the person chose" not in screen
    with desk.office.store() as store:
        assert comfort_of(store, code).theme == "dim"


def test_a_home_plan_is_said_where_somebody_is_enrolled(desk):
    told = {k: v for k, v in SAID["home-plan"][0].items() if k != "day"}
    card = desk.send("/enrol", enrolment(**told))
    code = re.search(r"<h1>([A-Z0-9]{4})</h1>", card.text)[1]
    assert "tapping: 1.5 min with each arm, 3 times a day" in desk.get(f"/person/{code}").text


def test_a_home_plan_that_cannot_be_enrols_nobody_and_loses_nothing(desk):
    with desk.office.store() as store:
        before = len(store.people.all())
    told = {k: v for k, v in SAID["home-plan"][0].items() if k != "day"}
    for odd in ({"tapping-minutes": "999"}, {"tapping-times": "x"}, {"tapping-hand": ""}):
        answer = desk.send("/enrol", enrolment(**{**told, **odd}))
        assert answer.status_code == 400
        assert 'class="wrong"' in answer.text
        assert 'value="9:00 14:00"' in answer.text
        ticked = re.findall(r'name="tapping-day" value="(\d)" checked', answer.text)
        assert ticked == ["1", "3"]
    with desk.office.store() as store:
        assert len(store.people.all()) == before


def test_a_plan_that_is_none_enrols_nobody(desk):
    with desk.office.store() as store:
        before = len(store.people.all())
    answer = desk.send("/enrol", enrolment(plan_file="/nowhere/plan.toml"))
    assert answer.status_code == 400
    assert "no plan" in answer.text
    with desk.office.store() as store:
        assert len(store.people.all()) == before


SCRIPT = "<script>alert(1)</script><style>*{}</style>'\"><img src=x onerror=alert(1)>"


@pytest.mark.parametrize("what", ["event", "goal", "state"])
def test_a_script_in_a_text_is_only_a_text(desk, code, what):
    fields = {**SAID[what][0], "note": SCRIPT, "goal": SCRIPT, "reason": SCRIPT}
    desk.send(f"/person/{code}/say/{what}", fields)
    for path in (f"/person/{code}", f"/person/{code}/visits", f"/?said={SCRIPT}"):
        assert "<script>alert" not in desk.get(path).text
        assert "<img src=x" not in desk.get(path).text


@pytest.mark.parametrize(
    "path", ["/person/NOBODY", "/person/../x", "/person/%2e%2e", "/card/=1"]
)
def test_a_person_who_is_not_there_is_one_calm_line(desk, path):
    answer = desk.get(path)
    assert answer.status_code in (400, 404)
    assert "Traceback" not in answer.text
