"""Every form with a wrong value in each of its fields that is checked.

The line stands at the field, is what describes it and has the focus; all else that was typed
stays; in English and in German. A form or a checked field that is added later belongs into the
table.
"""

import re
import shutil
from dataclasses import dataclass, field

import pytest

from battery.alarms import DEFAULT_LIMITS
from battery.cautions import CONTRAINDICATIONS
from battery.desk.screens import exchange
from battery.drives import Drive
from battery.errors import HandoverError, StoreError, UsageError, of_field
from battery.handover import choices, make_clinic_keys, make_tablet_keys, receive, send
from battery.handover.keys import found_cards
from battery.home_plan import Dose, home_plan_entries
from battery.store import Store
from battery.store.care import Care
from tests.desk.office import NOW, Desk
from tests.desk.seen_forms import Seen
from tests.desk.test_every_error import ENGLISH
from tests.handover_kit import record_visits
from tests.sparing import only, share

CODE = "K7QF"
LANGUAGES = ("en", "de")
SAY = f"/person/{CODE}/say"
SECRET = {"/clinic/author": ["code"], "/clinic/tablet": ["staff_code"]}  # never shown again
DOSE = {
    "slide-agreed": "yes", "slide-hand": "both", "slide-minutes": "1", "slide-times": "2",
    "slide-day": ["1", "3"], "slide-target": "near", "slide-weight": "0", "slide-at": "9:00",
}  # fmt: skip
ENROLMENT = {
    **{f"item-{name}": "no" for name in CONTRAINDICATIONS}, "dominant_hand": "left",
    "affected_side": "both", "first_hand": "right", "visit_plan": "short", "form_version": "3",
    "comfort-theme": "dim", **DOSE,
}  # fmt: skip
OUT = {"kind": "bids", "folder": "/tmp/x", "person": [CODE], "task": ["trail"], "since": ""}
ERROR = {"measure": "trail.time_per_link_s", "size": "9,5", "people": "31", "source": "kept"}
LIMITS = dict.fromkeys(DEFAULT_LIMITS, "7")
LIMIT = next(reversed(LIMITS))


@dataclass
class Case:
    """A form, filled in with one wrong value."""

    action: str
    wrong: str
    given: dict
    hidden: dict = field(default_factory=dict)

    def __str__(self):
        return f"{self.action} {self.wrong} {self.given.get(self.wrong)!r}"


def said(what, wrong, **given):
    return Case(f"{SAY}/{what}", wrong, given)


DOSES = [
    ("slide-hand", ""), ("slide-target", ""), ("slide-day", []), ("slide-minutes", ""),
    ("slide-minutes", "x"), ("slide-minutes", "999"), ("slide-times", "0"),
    ("slide-weight", "9999"), ("slide-at", "25:00"),
]  # fmt: skip
CASES = [
    said("event", "kind", kind="party", note="kept", day="2026-12-01"),
    said("event", "day", kind="fall", note="kept", day="2027-01-01"),
    said("event", "day", kind="fall", note="kept", day="soon"),
    said("goal", "goal", goal=""),
    said("rating", "goal_id", goal_id="none", level="1"),
    said("rating", "level", goal_id="GOAL", level="9"),
    said("rating", "level", goal_id="GOAL", level="x"),
    said("visit-plan", "visit_plan", visit_plan="weekly", plan_file=""),
    said("visit-plan", "plan_file", visit_plan="short", plan_file="/nowhere/plan.toml"),
    *(Case(f"{SAY}/home-plan", name, DOSE | {name: value, "day": "2026-12-01"})
      for name, value in DOSES),
    Case(f"{SAY}/home-plan", "day", DOSE | {"day": "2099-1-1"}),
    *(Case(f"{SAY}/comfort", name, {"comfort-language": "de", name: value})
      for name, value in (("comfort-theme", "pink"), ("comfort-text_percent", "x"),
                          ("comfort-text_percent", "999"), ("comfort-volume_percent", "101"),
                          ("comfort-side", "up"), ("comfort-buttons", "huge"))),
    said("baseline", "from_visit", from_visit="99", reason="kept"),
    said("baseline", "from_visit", from_visit="x", reason="kept"),
    said("baseline", "reason", from_visit="2", reason=""),
    said("state", "state", state="gone", reason="kept", day="2026-12-01"),
    said("state", "reason", state="paused", reason="", day="2026-12-01"),
    said("state", "day", state="paused", reason="kept", day="2027-01-01"),
    said("consent", "scope", scope="x", decision="withdrawn", form_version="3"),
    said("consent", "decision", scope="research", decision="x", form_version="3"),
    said("consent", "form_version", scope="research", decision="withdrawn", form_version=""),
    said("acknowledge", "alarm", note="kept"),
    said("name", "name", name="n" * 81),
    Case(f"/person/{CODE}/erase", "again", {"again": "K7QX"}),
    Case(f"/person/{CODE}/visits/2", "reason",
         {"what": "blocks", "reason": "", "block": ["2"]}),
    Case(f"/person/{CODE}/visits/2", "what", {"what": "x", "reason": "kept"}),
    Case(f"/person/{CODE}/visits/2", "person",
         {"what": "give", "person": "NONE", "reason": "kept"}),
    Case(f"/person/{CODE}/visits/2", "person",
         {"what": "give", "person": "", "reason": "kept"}),
    *(Case("/enrol", name, ENROLMENT | {name: value})
      for name, value in (("item-neck", ""), ("dominant_hand", "x"), ("affected_side", "x"),
                          ("first_hand", "x"), ("visit_plan", "x"),
                          ("plan_file", "/nowhere/plan.toml"), ("comfort-theme", "pink"),
                          *DOSES)),
    *(Case("/clinic/limits", LIMIT, LIMITS | {LIMIT: value}) for value in ("x", "11", "")),
    Case("/clinic/author", "initials", {"initials": "4", "code": "8642"}),
    Case("/clinic/author", "code", {"initials": "CD", "code": "12"}),
    Case("/clinic/tablet", "emergency_number", {"emergency_number": "the office",
                                                "large": "yes"}),
    Case("/clinic/tablet", "staff_code", {"emergency_number": "112", "staff_code": "12",
                                          "show_scores": "yes"}),
    Case("/clinic/names", "sure", {"what": "delete"}, {"what": "delete"}),
    *(Case("/clinic/repeats/error", name, ERROR | {name: value})
      for name, value in (("measure", ""), ("size", ""), ("size", "x"), ("size", "250"),
                          ("size", "nan"), ("size", "0"), ("people", "-1"),
                          ("people", "1.5"), ("people", "99999"), ("source", " "))),
    Case("/clinic/repeats/error", "size", ERROR | {"measure": "pursuit.delay_s", "size": "0"}),
    Case("/clinic/backup", "file", {"file": "copy.sqlite"}),
    Case("/clinic/backup", "file", {"file": "/proc/none/copy.sqlite"}),
    Case("/clinic/drill", "copy", {"copy": "copy.sqlite"}),
    *(Case("/out", name, OUT | {name: value})
      for name, value in (("folder", "study"), ("kind", "party"), ("since", "yesterday"),
                          ("until", "soon"), ("person", ["NOBODY"]), ("task", ["juggling"]))),
    Case("/out", "until", OUT | {"since": "2026-05-02", "until": "2026-05-01"}),
    Case("/start", "plan", {"code": "X3CF", "plan": "weekly", "large": "yes"}),
    Case("/start", "code", {"code": "NONE", "plan": "short", "large": "yes"}),
    Case("/exchange/receive", "folder", {"folder": "/nowhere"}),
    Case("/exchange/keys", "folder", {"folder": "nowhere"}),
    Case(f"/card/{CODE}", "folder", {"folder": "/nowhere"}),
    Case("/exchange/choose", "reason", {"item": "ITEM", "action": "take", "reason": " "},
         {"item": "ITEM"}),
]  # fmt: skip


@pytest.fixture(scope="module")
def home(small_clinic, tmp_path_factory):
    """A clinic in which every form of the desk is on its screen."""
    folder = tmp_path_factory.mktemp("at-fields")
    home, stick = shutil.copytree(small_clinic, folder / "clinic"), folder / "stick"
    stick.mkdir()
    with Store.open(home) as store, Store.open(folder / "tablet") as tablet:
        mark = make_clinic_keys(store, stick)
        make_tablet_keys(tablet, found_cards(stick), [mark])
        record_visits(tablet, 1)
        send(tablet, stick, wall=lambda: NOW)
        receive(store, stick, wall=lambda: NOW)
        at_utc = "2026-03-20T12:00:00+00:00"
        store.annotations.add_marker(CODE, "fall", at_utc=at_utc)
        store.care.set_goal(CODE, "pour tea", author="AB", at_utc=at_utc)
    return home


@pytest.fixture(scope="module")
def desk(home):
    made = Desk(home)
    made.office.names._cipher = Plain()  # a pass phrase takes a second on purpose
    made.come_in()
    made.send(
        "/clinic/names", what="begin", phrase="three grey herons", again="three grey herons"
    )
    return made


class Plain:
    """Seals nothing."""

    def encrypt(self, told, _phrase):
        return told

    def decrypt(self, sealed, _phrase):
        return sealed


def named(desk, told):
    """Return what is told with the names that are drawn anew for every store."""
    with desk.office.store() as store:
        names = {"ITEM": choices(store)[0].name, "GOAL": store.care.goals(CODE)[0].goal_id}
    return {k: names.get(v, v) if isinstance(v, str) else v for k, v in told.items()}


def answered(desk, case, language):
    given, before = named(desk, case.given), desk.office.changes.sign()
    desk.client.cookies.set("desk-language", language)
    answer = desk.send(case.action, given)
    assert answer.status_code == 400, answer.text
    assert desk.office.changes.sign() == before  # nothing was stored
    seen = Seen(answer.text)
    return answer, seen, seen.form(case.action, **named(desk, case.hidden)), given


# Each field of each form in one of the languages in every run, in the other and with its other
# wrong values by hand; of the home plan, which two forms have, one field in the second of them.
IN_TURN = [(LANGUAGES[n % 2], LANGUAGES[1 - n % 2]) for n in range(len(CASES))]
BOTH = [(case, code) for case, codes in zip(CASES, IN_TURN, strict=True) for code in codes]


def field_of(case):
    in_plan = case.action == "/enrol" and case.wrong.startswith("slide-")
    return case.action, "slide" if in_plan else case.wrong


FIRST = {field_of(case): (case, code) for case, code in reversed(BOTH[::2])}


@pytest.mark.parametrize(
    ("case", "language"), only(BOTH, list(FIRST.values())), ids=lambda told: str(told)
)
def test_what_is_wrong_stands_at_its_field_and_nothing_typed_is_lost(desk, case, language):
    _answer, seen, fields, given = answered(desk, case, language)
    wrong = [f for f in fields if f.name == case.wrong]
    assert wrong
    for marked in wrong:
        assert marked.marks.get("aria-invalid") == "true"
        place = marked.marks["aria-describedby"].split()[-1]
        assert seen.lines[place]
        quoted = re.sub(r"'[^']*'", "", seen.lines[place])
        assert language == "en" or not ENGLISH.search(quoted), seen.lines[place]
        assert seen.places[place] < marked.place  # right above it, and nothing between
        between = [
            f for f in fields
            if seen.places[place] < f.place < marked.place and f.name != case.wrong
        ]  # fmt: skip
        assert between == []
    assert [name for _tag, name in seen.focused] == [case.wrong]
    others = [f for _, each in seen.forms for f in each if f.name != case.wrong]
    assert [f.name for f in others if "aria-invalid" in f.marks] == []
    assert seen.alerts == []
    nothing_is_lost(fields, given, SECRET.get(case.action, ()))


def nothing_is_lost(fields, given, secret):
    """Whether a form holds what was typed into it, and nothing secret."""
    for name, value in given.items():
        held = {v for f in fields if f.name == name for v in f.held}
        offered = {v for f in fields if f.name == name for v in f.offered}
        typed = {v.strip() for v in (value if isinstance(value, list) else [value])}
        if name in secret:
            assert not held & typed - {""}
        elif name != "action":
            assert held >= (typed & offered if offered else typed) - {""}, name


NEVER_KEPT = {**SECRET, f"/person/{CODE}/erase": ["again"], "/clinic/names": ["sure"]}
ONE_A_FORM = list({case.action: case for case in CASES}.values())


@pytest.mark.parametrize("case", share(ONE_A_FORM, every=9), ids=str)
def test_a_form_that_came_while_the_desk_was_locked_is_shown_again(desk, case):
    """The same person gets it back as it was filled in; nothing of it is done meanwhile."""
    desk.client.cookies.set("desk-language", "en")
    page = case.action
    while (screen := desk.get(page)).status_code != 200:
        page = page.rpartition("/")[0]
    seen = Seen(screen.text)
    hidden = {
        f.name: f.held for f in seen.form(case.action, **named(desk, case.hidden))
        if f.kind == "hidden"
    }  # fmt: skip
    given, before = named(desk, case.given), desk.office.changes.sign()
    desk.now_s += 601
    to_the_door = desk.knock(case.action, hidden | given).headers["location"]
    assert desk.office.changes.sign() == before
    door = desk.get(to_the_door)
    desk.office._preparing.join()  # what it keeps of reading is a change of the store, too
    assert "Once AB has signed in" in door.text
    back = Seen(door.text).form("/door")
    (then,) = [f.held[0] for f in back if f.name == "then"]
    answer = desk.send("/door", initials="AB", code="2468", then=then)
    assert (answer.status_code, answer.url.path) == (200, page)
    seen = Seen(answer.text)
    assert [line for line in seen.alerts if "This is not saved" in line]
    assert seen.focused == [("p", "alert")]
    fields = seen.form(case.action, **named(desk, case.hidden))
    nothing_is_lost(fields, given, NEVER_KEPT.get(case.action, ()))


def test_all_that_is_wrong_with_an_enrolment_is_told_at_once(desk):
    odd = {
        "item-pain": "",
        "plan_file": "/nowhere",
        "comfort-theme": "pink",
        "slide-times": "x",
    }
    case = Case("/enrol", "", ENROLMENT | odd)
    _answer, seen, fields, _given = answered(desk, case, "en")
    assert {f.name for f in fields if "aria-invalid" in f.marks} == set(odd)
    assert [name for _tag, name in seen.focused] == ["item-pain"]


NO_FIELD = [
    (Case("/clinic/authors", "", {"initials": "AB"}), "you sit here yourself"),
    (Case("/exchange/choose", "", {"item": "ITEM", "reason": "kept"}, {"item": "ITEM"}),
     "say whether it holds"),
    (Case("/exchange/choose", "", {"item": "gone", "action": "take", "reason": "kept"}),
     "0 waiting items begin with 'gone'"),
    (Case(f"{SAY}/take-back", "", {"target": "event:gone", "reason": "kept"}),
     "nothing was taken back"),
]  # fmt: skip


@pytest.mark.parametrize(("case", "line"), NO_FIELD, ids=str)
def test_what_concerns_no_field_is_read_out_and_has_the_focus(desk, case, line):
    desk.client.cookies.set("desk-language", "en")
    seen = Seen(desk.send(case.action, named(desk, case.given)).text)
    assert [told for told in seen.alerts if line in told]
    assert seen.focused == [("p", "alert")]
    assert not [f for _, each in seen.forms for f in each if "aria-invalid" in f.marks]


def test_a_form_that_fails_as_a_whole_keeps_what_was_typed(desk, monkeypatch):
    def full(*_args, **_more):
        msg = "the store cannot be written: disk full; nothing was changed"
        raise StoreError(msg)

    monkeypatch.setattr(Care, "set_state", full)
    given = {"state": "paused", "reason": "in hospital", "day": "2026-12-01"}
    answer = desk.send(f"{SAY}/state", given)
    seen = Seen(answer.text)
    held = {f.name: f.held for f in seen.form(f"{SAY}/state")}
    assert {name: [value] for name, value in given.items()}.items() <= held.items()
    assert "disk full" in seen.alerts[0]


def test_what_was_typed_into_one_form_stands_in_no_other(desk):
    given = {"state": "paused", "reason": "in hospital", "day": "2027-01-01"}
    answer = desk.send(f"{SAY}/state", given)
    assert answer.text.count("in hospital") == 1
    assert answer.text.count('value="2027-01-01"') == 1


@pytest.mark.parametrize(
    ("given", "wrong"),
    [
        ({"initials": "4", "code": "2468", "again": "2468"}, "initials"),
        ({"initials": "CD", "code": "12", "again": "12"}, "code"),
        ({"initials": "CD", "code": "2468", "again": "2469"}, "again"),
    ],
)
def test_at_the_door_nothing_is_lost_but_the_code(tmp_path, given, wrong):
    desk = Desk(tmp_path)
    answer = desk.send("/door", given)
    seen = Seen(answer.text)
    (marked,) = [f for f in seen.form("/door") if "aria-invalid" in f.marks]
    assert (answer.status_code, marked.name) == (400, wrong)
    assert [name for _tag, name in seen.focused] == [wrong]
    assert f'value="{given["initials"]}"' in answer.text
    shown = answer.text.replace(desk.known.form, "")  # a secret drawn at random
    assert given["code"] not in shown


def test_receiving_is_marked_in_the_navigation_on_its_answer_too(desk, home, monkeypatch):
    stick = home.parent / "stick"
    monkeypatch.setattr(exchange, "drives", lambda _: [Drive(stick, 1)])
    answer = desk.send("/exchange/receive", folder=str(stick))
    assert answer.status_code == 200
    assert re.findall(r'href="([^"]+)" aria-current', answer.text) == ["/exchange"]
    # To choose a language there leads back to the screen, not to where the form went.
    assert '<input type="hidden" name="then" value="/exchange">' in answer.text


@pytest.mark.parametrize("kind", [UsageError, StoreError, HandoverError])
@pytest.mark.parametrize(("own", "held"), [("inner", "inner"), ("", "outer")])
def test_an_error_keeps_the_field_it_names_itself(kind, own, held):
    error = kind("wrong", field=own)
    with pytest.raises(kind) as told, of_field("outer"):
        raise error
    assert (told.value.field, str(told.value)) == (held, "wrong")


def test_a_home_plan_names_exercise_and_column():
    doses = [Dose("trail", "both", 1.0, 99, (1,), "near", 0)]
    entries = home_plan_entries(
        CODE, doses, from_date=NOW.date(), author="AB", at_utc="2026-03-20T12:00:00+00:00"
    )
    with pytest.raises(UsageError) as told:
        Care.check_home_plan(entries)
    assert told.value.field == "trail.times_a_day"
