"""The desk in a real browser: what a hand, a keyboard and a screen reader meet.

axe-core checks the rules of WCAG 2.2 (W3C Recommendation, 2023) that a program can check.
"""

import itertools
import shutil
from pathlib import Path

import axe_core_python
import pytest
from starlette.routing import compile_path

from battery.alarms import alarms_of
from battery.cautions import CONTRAINDICATIONS
from battery.desk import app
from battery.effective import blocks_of, visits_of
from battery.report.outside_errors import enter_outside_error
from battery.store import Store
from tests.desk.browsing import come_in, open_desk
from tests.sparing import only

pytestmark = pytest.mark.needs("chromium")

AXE = (Path(axe_core_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
SCREENS = {
    "today": "/",
    "person": "/person/X3CF",
    "visits": "/person/K7QF/visits",
    "enrol": "/enrol",
    "card": "/card/K7QF",
    "start": "/start",
    "exchange": "/exchange",
    "out": "/out",
    "clinic": "/clinic",
    "repeats": "/clinic/repeats",
    "log": "/log",
    "door": "/door",
    "trouble": "/nowhere",
}
MAX_TABS = 120
INSIDE = """Math.max(0, ...[...document.querySelectorAll('.wide')].map(
    (part) => part.scrollWidth - part.clientWidth))"""


@pytest.fixture(scope="module")
def home(clinic, tmp_path_factory):
    home = shutil.copytree(clinic, tmp_path_factory.mktemp("desk") / "clinic")
    with Store.open(home) as store:
        for measure, size in (("trail.time_per_link_s", 9), ("pursuit.delay_s", 0.02)):
            said = {"author": "AB", "at_utc": "2026-03-20T12:00:00+00:00"}
            enter_outside_error(store, measure, size, source="own repeat study, 2026", **said)
    return home


@pytest.fixture(scope="module")
def address(home):
    with open_desk(home) as (_process, address):
        yield address


@pytest.fixture(scope="module")
def looked_at(browser, address):
    """A page for looking only; axe is put into it from outside."""
    context = browser.new_context(bypass_csp=True)
    page = context.new_page()
    come_in(page, address)
    yield page
    context.close()


@pytest.fixture(
    params=[
        pytest.param(True, id="with scripts"),
        pytest.param(False, id="without scripts", marks=pytest.mark.long),
    ]
)
def page(request, browser, address):
    """A page at the desk for keys alone; what its policy refuses is an error."""
    context = browser.new_context(java_script_enabled=request.param)
    page = context.new_page()
    said = []
    page.on("console", lambda line: said.append(line.text))
    come_in(page, address)
    yield page
    context.close()
    assert [line for line in said if "Content Security Policy" in line] == []


def at(page, address, path):
    page.goto(address.split("/enter")[0] + path)


@pytest.mark.parametrize(
    ("name", "theme"),
    only(
        list(itertools.product(SCREENS, ["light", "dark"])),
        [(name, theme) for name, theme in zip(SCREENS, itertools.cycle(["light", "dark"]))],
    ),
)
def test_axe_finds_nothing_and_nothing_is_cut(looked_at, address, name, theme):
    looked_at.emulate_media(color_scheme=theme)
    looked_at.set_viewport_size({"width": 1024, "height": 768})
    at(looked_at, address, SCREENS[name])
    is_sound(looked_at, name)


def is_sound(looked_at, name):
    """Nothing that axe knows is wrong with a screen, and nothing of it is cut."""
    looked_at.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
    looked_at.evaluate(AXE)
    # The page inside a frame may run nothing, so axe cannot look into it.
    found = looked_at.evaluate("axe.run(document, {iframes: false})")
    told = [(v["id"], [n["html"][:200] for n in v["nodes"]]) for v in found["violations"]]
    assert told == []
    assert found["passes"]
    for width in (1024, 512):  # as it is, and at 200 %
        looked_at.set_viewport_size({"width": width, "height": 768})
        assert sideways(looked_at) <= 0, f"{name} is cut at {width} px"


@pytest.mark.long
def test_nothing_is_cut_in_german(browser, address):
    """Its words are longer; each screen at 200 %."""
    context = browser.new_context(locale="de-DE", viewport={"width": 512, "height": 768})
    page, cut = context.new_page(), {}
    come_in(page, address)
    for name, path in SCREENS.items():
        at(page, address, path)
        assert page.locator("html").get_attribute("lang") == "de"
        page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
        cut[name] = max(sideways(page), page.evaluate(INSIDE))
    context.close()
    assert {name: px for name, px in cut.items() if px > 0} == {}


def test_every_screen_is_looked_at():
    """A screen that is added later stands among those above, or here with its test."""
    shown = [r.path for screen in app.SCREENS for r in screen.ROUTES if "GET" in r.methods]
    left = {
        path
        for path in shown
        if not any(compile_path(path)[0].fullmatch(told) for told in SCREENS.values())
    }
    # What is printed: tests/screen/test_report_axe.py. How far something is: below.
    assert left == {"/person/{code}/page", "/out/{name}"}


def a_preview(page, address, _folder):
    at(page, address, "/person/K7QF/visits")
    page.locator("[name=reason]").first.fill("the other way round")
    page.locator("button[name=preview]").first.click()
    page.wait_for_selector("#preview")


def an_export(page, address, folder):
    at(page, address, "/out")
    page.locator("input[value=tables]").check()
    page.locator("[name=folder]").fill(str(folder / "study"))
    page.locator("form[action='/out'] button").click()
    page.wait_for_selector("#job .said")


def an_error(page, address, _folder):
    at(page, address, "/clinic")
    page.locator("[name=file]").fill("not a full path")
    page.locator("form[action='/clinic/backup'] button").click()
    page.wait_for_selector("[aria-invalid=true]")


def a_list_cut_short(page, address, _folder):
    at(page, address, "/?state=discharged")


@pytest.mark.parametrize("theme", only(["light", "dark"], ["dark"]))
@pytest.mark.parametrize("lead", [a_preview, an_export, an_error, a_list_cut_short])
def test_what_forms_lead_to_is_sound_too(looked_at, address, tmp_path, lead, theme):
    looked_at.emulate_media(color_scheme=theme)
    looked_at.set_viewport_size({"width": 1024, "height": 768})
    lead(looked_at, address, tmp_path)
    is_sound(looked_at, lead.__name__)


def sideways(page):
    return page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )


def test_the_sheet_is_not_cut_at_the_width_of_a_small_screen(looked_at, address):
    """The page is made for A4, 210 mm wide (ISO 216)."""
    at(looked_at, address, "/person/K7QF")
    a4_px = 210 / 25.4 * 96
    for width in (1024, 1280, 1600):
        looked_at.set_viewport_size({"width": width, "height": 768})
        assert looked_at.locator("iframe.sheet").bounding_box()["width"] > a4_px


def test_the_sheet_stays_in_view_beside_the_forms_and_covers_none_in_one_column(
    looked_at, address
):
    """Wide, it stays where it can be read while forms scroll; narrow, it would hide them."""
    at(looked_at, address, "/person/K7QF")
    looked_at.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
    for width in (512, 1024, 1600):
        looked_at.set_viewport_size({"width": width, "height": 768})
        one = looked_at.locator(".two details.form summary").nth(2)
        one.evaluate("form => form.scrollIntoView({block: 'start'})")
        sheet, form = looked_at.locator("iframe.sheet").bounding_box(), one.bounding_box()
        beside = sheet["x"] + sheet["width"] <= form["x"]
        assert beside == (width == 1600)
        assert beside or sheet["y"] + sheet["height"] <= form["y"]
        if beside:
            assert 0 <= sheet["y"] < 768


def tab_to(page, what):
    """Press Tab until it is on something, as somebody without a mouse does."""
    for _ in range(MAX_TABS):
        page.keyboard.press("Tab")
        if page.locator(f"{what}:focus").count():
            return
    pytest.fail(f"{what} is not reached by Tab")


def send(page):
    """Press Enter and wait for the page that answers."""
    with page.expect_navigation():
        page.keyboard.press("Enter")


def of_scripts(kept):
    """A page with scripts and one without; one of them in every run."""
    marks = {made: [] if made == kept else pytest.mark.long for made in (True, False)}
    return pytest.mark.parametrize(
        "page",
        [
            pytest.param(True, marks=marks[True], id="with scripts"),
            pytest.param(False, marks=marks[False], id="without scripts"),
        ],
        indirect=True,
    )


@of_scripts(kept=False)
def test_enrolling_by_keys(page, address, home):
    at(page, address, "/enrol")
    for name in CONTRAINDICATIONS:
        tab_to(page, f"[name=item-{name}]")
        page.keyboard.press("Space")
    tab_to(page, "[name=affected_side]")
    page.keyboard.press("b")
    tab_to(page, "[name=form_version]")
    page.keyboard.type("4")
    send(page)
    code = page.locator("h1").inner_text()
    with Store.open(home, write=False) as store:
        assert store.people.get(code).affected_side == "both"
        answers = {(c.item, c.answer) for c in store.care.contraindications(code)}
        assert answers == {(name, "no") for name in CONTRAINDICATIONS}
        assert store.people.consents(code)[0].form_version == "4"


@pytest.mark.long  # the week of a few people does it by hand
def test_an_event_by_keys(page, address, home):
    at(page, address, "/person/M4WX")
    with Store.open(home, write=False) as store:
        before = len(store.annotations.markers("M4WX"))
    tab_to(page, "summary")
    page.keyboard.press("Enter")
    tab_to(page, "[name=kind]")
    page.keyboard.press("g")
    tab_to(page, "[name=note]")
    page.keyboard.type("new glasses")
    send(page)
    assert page.get_by_role("status").inner_text() == "The event is on the time axis."
    with Store.open(home, write=False) as store:
        assert len(store.annotations.markers("M4WX")) == before + 1
        held = store.annotations.markers("M4WX")[-1]
        assert (held.kind, held.note) == ("glasses", "new glasses")


@pytest.mark.long
def test_an_alarm_is_acknowledged_by_keys(page, address, home):
    with Store.open(home) as store:
        at_utc = f"2026-03-2{len(store.annotations.markers('X3CF'))}T12:00:00+00:00"
        store.annotations.add_marker("X3CF", "fall", at_utc=at_utc, note="")
    at(page, address, "/person/X3CF")
    tab_to(page, ".alarms [name=note]")
    page.keyboard.type("called")
    send(page)
    with Store.open(home, write=False) as store:
        alarms = alarms_of(store, "X3CF")
    assert alarms
    assert not [alarm for alarm in alarms if alarm.open]
    assert page.locator(".alarms").count() == 0


@pytest.mark.long
def test_hands_are_swapped_by_keys(page, address, home):
    with Store.open(home, write=False) as store:
        visit_id = visits_of(store, "K7QF")[-1].header.visit_id
        before = [held.hand for held in blocks_of(store, visit_id)]
    at(page, address, "/person/K7QF/visits")
    tab_to(page, "[name=reason]")
    page.keyboard.type("the other way round")
    send(page)
    with Store.open(home, write=False) as store:
        after = [held.hand for held in blocks_of(store, visit_id)]
    other = {"left": "right", "right": "left"}
    assert after == [other[hand] for hand in before]


LOCK = """() => fetch('/door/lock', {method: 'POST', body: new URLSearchParams(
    {form_secret: document.querySelector('[name=form_secret]').value})})"""
LOOK_AGAIN = "() => { htmx.ajax('GET', '/start', {target: '#visit', select: '#visit'}); }"


def test_a_page_that_looks_again_leads_to_the_door_of_a_locked_desk(browser, address):
    """As the page of a visit does by itself, in front of whoever comes next."""
    page = browser.new_page()
    come_in(page, address)
    at(page, address, "/start")
    page.evaluate(LOCK)
    page.evaluate(LOOK_AGAIN)
    page.wait_for_url("**/door?then=/start")
    assert "Who are you?" in page.locator("h1").inner_text()
    come_in(page, address)  # for the other tests of this file
    page.close()


@of_scripts(kept=True)
def test_what_is_wrong_keeps_what_was_typed_and_is_read_out(page, address):
    at(page, address, "/clinic")
    tab_to(page, "[name=file]")
    page.keyboard.type("not a full path")
    send(page)
    wrong = page.locator("[name=file]:focus")  # by the page itself, with and without scripts
    assert wrong.input_value() == "not a full path"
    line = page.locator(f"#{wrong.get_attribute('aria-describedby')}")
    assert "not the full path" in line.inner_text()
    above, below = line.bounding_box(), wrong.bounding_box()
    assert 0 < below["y"] - above["y"] < 120
