"""Every form, found on the screens themselves: by mouse, by keys and without scripts.

What stands here is asked of the application: a screen or a form that is added later and that no
test reaches fails.
"""

import shutil

import pytest
from starlette.routing import compile_path

from battery.desk.app import SCREENS
from battery.desk.session import keep_author
from battery.handover import accept_tablet, make_clinic_keys, make_tablet_keys, send
from battery.handover.keys import found_cards
from battery.report.outside_errors import enter_outside_error
from battery.store import Store
from tests.desk.browsing import come_in, open_desk
from tests.desk.office import NOW, Desk
from tests.desk.seen_forms import Seen
from tests.handover_kit import record_visits

by_browser = pytest.mark.needs("chromium")

CODE = "K7QF"
LOOKED_AT = (
    "/", f"/person/{CODE}", "/person/X3CF", f"/person/{CODE}/visits", "/enrol", f"/card/{CODE}",
    "/start", "/exchange", "/out", "/clinic", "/clinic/repeats", "/log", "/door",
)  # fmt: skip
WAYS = ("mouse", "keys", "mouse without scripts")
FILLED = {
    "code": "2468", "initials": "CD", "phrase": "three grey herons wait",
    "again": "three grey herons wait",
    "staff_code": "", "per_week": "3", "from_visit": "", "emergency_number": "112",
    "size": "9", "people": "31",
}  # fmt: skip
# Those after which the desk, or the person, is no longer there; each has a test of its own.
ENDING = {"/door/close", "/door/lock", f"/person/{CODE}/erase", "/person/X3CF/erase"}
MAX_TABS = 250
FORMS = """
() => [...document.querySelectorAll("form[method=post]")].map(form => ({
    action: form.getAttribute("action"),
    what: form.querySelector("[name=what][type=hidden]")?.value ?? "",
}))
"""


@pytest.fixture(scope="module")
def home(clinic, tmp_path_factory):
    """The clinic, with a bundle of an unknown tablet that waits for a choice."""
    folder = tmp_path_factory.mktemp("forms")
    home, stick = shutil.copytree(clinic, folder / "clinic"), folder / "stick"
    stick.mkdir()
    with Store.open(home) as store, Store.open(folder / "tablet") as tablet:
        mark = make_clinic_keys(store, stick)
        make_tablet_keys(tablet, found_cards(stick), [mark])
        record_visits(tablet, 1)
        send(tablet, stick, wall=lambda: NOW)
        for initials in ("AB", "CD"):
            keep_author(store, initials, "2468")
        store.annotations.add_marker(CODE, "fall", at_utc="2026-03-20T12:00:00+00:00")
        said = {"author": "AB", "at_utc": "2026-03-20T12:00:00+00:00"}
        store.care.set_goal(CODE, "pour tea", **said)
        enter_outside_error(store, "pursuit.delay_s", 0.02, source="own study", **said)
        accept_tablet(store, "1a2b 3c4d 5e6f 7a8b", "its key", "T-03", **said)
    return home


@pytest.fixture(scope="module")
def address(home):
    with open_desk(home, plugged_in=home.parent / "stick") as (_process, address):
        yield address


class Pages(dict):
    """A page for each way, made and let in when it is first asked for."""

    def __init__(self, browser, address):
        super().__init__()
        self._browser, self._address = browser, address

    def __missing__(self, way):
        context = self._browser.new_context(java_script_enabled="without" not in way)
        self[way] = page = context.new_page()
        come_in(page, self._address)
        return page


@pytest.fixture(scope="module")
def pages(address, browser):
    return Pages(browser, address)


@pytest.fixture(scope="module")
def forms(pages, address):
    """Where each form was found by a browser, by its action and what it does."""
    page, found = pages["mouse"], {}
    own = address.split("/enter")[0]
    receive(page, own)
    for path in LOOKED_AT:
        page.goto(own + path)
        for form in page.evaluate(FORMS):
            found.setdefault((form["action"], form["what"]), path)
    return found


def receive(page, own):
    page.goto(f"{own}/exchange")
    page.locator("form[action='/exchange/receive'] button").click()
    page.wait_for_load_state()


def routes(method):
    return [
        route.path for screen in SCREENS for route in screen.ROUTES if method in route.methods
    ]


def answers(route, path):
    return compile_path(route)[0].fullmatch(path) is not None


def test_every_screen_is_looked_through_for_forms():
    own_tests = {"/out/{name}", "/person/{code}/page"}  # a job; the page that is printed
    left = {r for r in routes("GET") if not any(answers(r, path) for path in LOOKED_AT)}
    assert left == own_tests


def found_without_a_browser(home):
    """The same forms, read from what the application answers."""
    desk, found = Desk(home), {}
    desk.come_in()
    desk.send("/exchange/receive", folder=str(home.parent / "stick"))
    for path in LOOKED_AT:
        for marks, fields in Seen(desk.get(path).text).forms:
            if marks.get("method") == "post":
                what = [f.held[0] for f in fields if (f.name, f.kind) == ("what", "hidden")]
                found.setdefault((marks["action"], what[0] if what else ""), path)
    return found


@by_browser
@pytest.mark.long
def test_a_browser_finds_the_same_forms(forms, home):
    assert set(found_without_a_browser(home)) == set(forms)


def test_every_route_that_takes_a_form_has_one_on_a_screen(home):
    actions = {action for action, _ in found_without_a_browser(home)}
    left = {r for r in routes("POST") if not any(answers(r, path) for path in actions)}
    assert left == {"/out/{name}/stop"}  # while something is written
    assert not [
        action for action in actions if not any(answers(r, action) for r in routes("POST"))
    ]


def fill(page, form):
    """Fill in what must be filled in, as a person in a hurry would."""
    for field in form.locator("select[required]:visible").all():  # others have a choice
        if not field.input_value():
            field.select_option(index=1)
    for field in form.locator("input:visible").all():
        name, kind = field.get_attribute("name") or "", field.get_attribute("type") or "text"
        if kind == "checkbox":
            field.check()
        elif kind == "radio":
            group = form.locator(f"input[name='{name}']")
            if not form.locator(f"input[name='{name}']:checked").count():
                group.first.check()
        elif kind in ("text", "password", "number", "tel") and name in FILLED:
            field.fill(FILLED[name])
        elif kind == "text" and not field.input_value():
            field.fill("as agreed")


def sent_by_mouse(page, form):
    with page.expect_navigation() as answer:
        form.locator("button:not([name=preview]):visible").first.click()
    return answer.value


def sent_by_keys(page, form):
    """Tab on to the form's button, wherever the keyboard stands, and press it."""
    button = form.locator("button:not([name=preview]):visible").first
    for _ in range(MAX_TABS):
        if button.evaluate("b => b === document.activeElement"):
            break
        page.keyboard.press("Tab")
    else:
        pytest.fail("the button is not reached by Tab")
    with page.expect_navigation() as answer:
        page.keyboard.press("Enter")
    return answer.value


def send_all(pages, forms, own, ways_of):
    for place, ((action, what), path) in enumerate(forms.items()):
        if action in ENDING:
            continue
        for way in ways_of(place):
            page = pages[way]
            page.goto(own + path)
            chosen = f"form[method=post][action='{action}']"
            form = page.locator(chosen)
            if what:
                form = page.locator(f"{chosen}:has([name=what][type=hidden][value='{what}'])")
            if not form.count():
                continue  # done with by an earlier way, as an alarm that is acknowledged
            form = form.first
            opened = form.locator("xpath=ancestor::details | .//details")
            for summary in opened.locator("summary").all():
                if summary.evaluate("s => !s.parentElement.open"):
                    summary.click()
            fill(page, form)
            send = sent_by_keys if way == "keys" else sent_by_mouse
            answer = send(page, form)
            said = page.locator("main").inner_text()[:300]
            told = f"{action} {what} by {way}: {answer.status} {said}"
            assert answer.status in (200, 400), told
            assert "Traceback" not in page.content(), told
            good = page.locator("[role=status], h1").count()
            wrong = page.locator("[role=alert], [aria-invalid=true]").count()
            assert good or wrong, told
            if answer.status == 400:  # an honest error stands where it can be read out
                assert wrong, told


@by_browser
@pytest.mark.long
def test_every_form_is_sent(pages, forms, address):
    """Each form by one of the ways in turn; all ways in the long run."""
    own = address.split("/enter")[0]
    send_all(pages, forms, own, lambda place: [WAYS[place % len(WAYS)]])


@by_browser
@pytest.mark.long
def test_every_form_is_sent_by_mouse_by_keys_and_without_scripts(pages, forms, address):
    own = address.split("/enter")[0]
    send_all(pages, forms, own, lambda _place: WAYS)


@by_browser
@pytest.mark.long
def test_the_forms_that_end_something(clinic, tmp_path, browser):
    """Erasing, locking and closing, each by keys."""
    home = shutil.copytree(clinic, tmp_path / "clinic")
    with open_desk(home) as (process, address):
        own = address.split("/enter")[0]
        page = browser.new_page()
        come_in(page, address)
        page.goto(f"{own}/person/{CODE}")
        page.locator("summary:has-text('Erase')").press("Enter")
        page.locator("[name=again]").press_sequentially(CODE)
        with page.expect_navigation():
            page.keyboard.press("Enter")
        assert f"{CODE} is erased" in page.locator("h1").inner_text()
        page.goto(own)
        with page.expect_navigation():
            page.locator("form[action='/door/lock'] button").press("Enter")
        assert "Who are you?" in page.locator("h1").inner_text()
        page.locator("input[name=code]").press_sequentially("2468")
        with page.expect_navigation():
            page.keyboard.press("Enter")
        with page.expect_navigation():
            page.locator("form[action='/door/close'] button").press("Enter")
        assert "closed" in page.locator("h1").inner_text()
        assert process.wait(180) == 0
