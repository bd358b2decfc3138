"""A week of a clinic at the desk alone: what it takes of hands, and what is stored in the end.

Everything is done by mouse and keyboard in a real browser; not one command is given. Beside it
the same week is done by commands, and both stores say the same.
"""

import random
import re
import shutil
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select
from typer.testing import CliRunner

from battery import people
from battery.cautions import CONTRAINDICATIONS
from battery.cli import app
from battery.export import verify_export
from battery.handover.keys import clinic_keys, found_cards, make_tablet_keys
from battery.handover.person_card import person_cards, take_person_card
from battery.handover.sending import send
from battery.plan import Plan, PlannedTask
from battery.simulate import Person as Simulated
from battery.simulate import Truth
from battery.store import Store, schema
from battery.visits import begin_visit
from tests.clinic import TABLET
from tests.desk.browsing import open_browser, open_desk

pytestmark = [pytest.mark.needs("chromium"), pytest.mark.needs("pango")]

PLAN = Plan(
    name="short-week",
    rest_s=0,
    tasks=(
        PlannedTask(task="tapping", options={"duration_s": 12.0}, practice={"duration_s": 5.0}),
    ),
)
N_SHORT, N_LONG = 2, 20
MAX_CLICKS, MAX_KEYS = 150, 600  # for 20 people
WAIT_MS, JOB_MS = 60_000, 1_000_000


class Hands:
    """Two hands at a desk that count what they press."""

    def __init__(self, page):
        self.page, self.clicks, self.keys = page, 0, 0

    def click(self, what):
        self.clicks += 1
        found = self.page.locator(what)
        found.first.click()
        self.page.wait_for_load_state()

    def type(self, text):
        self.keys += len(text)
        self.page.keyboard.type(text)

    def press(self, *names):
        for name in names:
            self.keys += 1
            self.page.keyboard.press(name)

    def send(self):
        self.keys += 1
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")

    def go(self, address):
        self.follow(f"nav a[href='{address}']")

    def person(self, code):
        self.follow(f"th a[href='/person/{code}']")

    def follow(self, link):
        with self.page.expect_navigation():
            self.click(link)


def alarming(number):
    return number % 7 == 1


def swapped(number):
    return number == 0


def with_event(number):
    return number % 10 == 1


def with_goal(number):
    return number % 10 == 0


def visit_at_home(folder, stick, person, number, mark):
    """What a person's own tablet does in the week: one visit, and it is on the stick."""
    with Store.open(folder) as tablet:
        make_tablet_keys(tablet, found_cards(stick), [mark])
        cards, problems = person_cards(tablet, stick)
        assert problems == []
        take_person_card(tablet, next(card for card in cards if card.person == person))
        device = replace(TABLET, alias=f"T-{number:02d}", system="invented")
        started = datetime.now(UTC) + timedelta(seconds=number)
        run = begin_visit(
            tablet, person, PLAN, device, wall=lambda: started,
            random_source=random.Random(number), origin="simulated",
        )  # fmt: skip
        visit_id = run.header.visit_id
        level = "9" if alarming(number) else "1"
        at_utc = started.isoformat(timespec="seconds")
        tablet.visits.put_answer(visit_id, "before", "pain", level, at_utc=at_utc)
        for seed, planned in enumerate(list(run.todo)):
            run.run(planned, Simulated(Truth(), seed=100 * number + seed))
        run.end()
        send(tablet, stick, wall=lambda: started)


def week(hands, home, stick, n_people, folder):
    """Do the whole week; return the codes in order of enrolment."""
    page = hands.page
    hands.type("AB")
    hands.press("Tab")
    hands.type("2468")
    hands.press("Tab")
    hands.type("2468")
    hands.send()
    hands.go("/exchange")  # the clinic's card, for the tablets
    hands.click("summary")
    hands.click("form[action='/exchange/keys'] button")
    hands.go("/enrol")
    codes = [enrol(hands, number, n_people) for number in range(n_people)]
    with Store.open(home) as store:
        mark = clinic_keys(store).card.fingerprint
        enrolled = [store.people.get(code) for code in codes]
    for number, person in enumerate(enrolled):
        visit_at_home(folder / f"tablet-{number}", stick, person, number, mark)
    shutil.copytree(stick, folder / "stick-again")
    hands.go("/exchange")
    hands.click("form[action='/exchange/receive'] button")
    while page.locator("button[value=take]").count():
        hands.click("button[value=take]")
    hands.go("/")
    for number, code in enumerate(codes):
        look_at(hands, number, code)
    hands.go("/out")  # pages of everybody, for the charts
    hands.click("form[action='/out'] button")
    done(page)
    hands.go("/out")
    hands.click("input[value=tables]")
    hands.click("form[action='/out'] button")
    done(page)
    hands.go("/clinic")
    hands.click("form[action='/clinic/backup'] button")
    page.wait_for_selector("[role=status]")
    hands.click("form[action='/door/lock'] button")
    return codes


def done(page):
    """Wait until what was begun has ended, and well."""
    page.wait_for_selector("#job .said, #job .wrong", timeout=JOB_MS)
    assert page.locator("#job").inner_text().startswith("Done.")


def enrol(hands, number, n_people):
    """Ask each question, then hand and consent, by keys; the consent's field by mouse."""
    hands.page.wait_for_selector("[name^=item-]:focus")
    for place in range(len(CONTRAINDICATIONS)):
        if place:
            hands.press("Tab")
        hands.press("Space")
    hands.press("Tab", "Tab")
    hands.type("l" if number % 2 else "r")
    hands.click("[name=form_version]")
    if with_goal(number):
        hands.press("Tab")
        hands.type("D")  # the language on the tablet
        hands.press("Shift+Tab")
    hands.type("4")
    hands.send()
    code = hands.page.locator("h1").inner_text()
    hands.click("form[action^='/card/'] button")  # for the person's tablet
    hands.page.wait_for_selector("[role=status]")
    if number < n_people - 1:
        hands.send()  # to the next person
    return code


def look_at(hands, number, code):
    """Read a person's page, do what there is to do, and go on to the next."""
    hands.person(code)
    if alarming(number):
        hands.click(".alarms [name=note]")
        hands.type("called")
        hands.send()
    if with_event(number):
        hands.click("summary:has-text('event')")
        hands.press("Tab")
        hands.type("g")
        hands.click("form[action$='/say/event'] [name=note]")
        hands.type("far glasses")
        hands.send()
    if with_goal(number):
        hands.click("summary:has-text('goal in')")
        hands.press("Tab")
        hands.type("pour a cup of tea")
        hands.send()
    if swapped(number):
        hands.click(f"a[href='/person/{code}/visits']")
        hands.click("[name=reason]")
        hands.type("swapped")
        hands.send()
        hands.click(f"h1 a[href='/person/{code}']")
    hands.click("form[action$='/say/seen'] button")


def by_commands(monkeypatch, home, stick, keys, enrolled):
    """Do the same week by commands, with the codes and moments of enrolment of the other."""
    shutil.copytree(keys, home / "keys")
    n_commands = 0

    def give(*words):
        nonlocal n_commands
        n_commands += 1
        done = CliRunner().invoke(app, [*map(str, words), "--home", str(home)])
        assert done.exit_code == 0, (words, done.output)
        return done.output

    for person in enrolled:
        monkeypatch.setattr(people, "new_code", lambda p=person: p.code)
        monkeypatch.setattr(people, "utc_text", lambda *_, p=person: p.enrolled_utc)
        give("enrol", "--affected-side", person.affected_side, "--checked-by", "AB")
        give("consent", person.code, "--given", "--form-version", "4")
    for person in enrolled[::10]:
        give("comfort", person.code, "--language", "de", "--by", "AB")
    give("receive", stick)
    while found := re.search(r"^([0-9a-f]{8})  ", give("quarantine", "list"), re.MULTILINE):
        why = "compared with the tablet's key by eye"
        give("quarantine", "take", found[1], "--by", "AB", "--reason", why)
    for number, person in enumerate(enrolled):
        code = person.code
        if alarming(number):
            give("acknowledge", code, "--all", "--by", "AB", "--note", "called")
        if with_event(number):
            give("mark", code, "glasses", "--note", "far glasses")
        if with_goal(number):
            give("goal", code, "--new", "pour a cup of tea", "--by", "AB")
        if swapped(number):
            with Store.open(home, write=False) as store:
                visit = store.visits.all(code)[0].header.visit_id
                hands = [b.header.hand for b in store.records.of_visit(visit)]
            for place, hand in enumerate(hands, start=1):
                other = {"left": "right", "right": "left"}[hand]
                give(
                    "amend", code, "--visit", 1, "--block", place, "--hand", other,
                    "--by", "AB", "--reason", "swapped",
                )  # fmt: skip
    return n_commands


DRAWN = re.compile(r"(_id|_utc)$")
KEPT = ("visit_id", "block_id", "started_utc")
NOT_SAID = ("migrations", "settings", "quarantine", "folders", "revisions", "kept_readings")


def said(home):
    """Everything in a store but identifiers and moments that were drawn as it was said."""
    dump = {}
    with Store.open(home, write=False) as store, store._engine.connect() as connection:
        for table in schema.metadata.sorted_tables:
            if table.name in NOT_SAID:
                continue
            rows = connection.execute(select(table)).mappings()
            dump[table.name] = sorted(
                repr({k: v for k, v in row.items() if k in KEPT or not DRAWN.search(k)})
                for row in rows
            )
        # The tablets took the desk's card, and bring its word beside that of the command.
        dump["comforts"] = sorted(set(dump["comforts"]))
    return dump


def do(tmp_path, monkeypatch, n_people):
    home, stick, documents = (tmp_path / name for name in ("clinic", "stick", "own"))
    stick.mkdir()
    documents.mkdir()
    own = {"HOME": str(documents), "XDG_DOCUMENTS_DIR": str(documents)}
    with (
        open_desk(home, plugged_in=stick, environment=own) as (_process, address),
        open_browser() as browser,
    ):
        page = browser.new_context().new_page()
        page.set_default_timeout(WAIT_MS)
        page.goto(address)
        hands = Hands(page)
        codes = week(hands, home, stick, n_people, tmp_path)
    pages = {path.stem for path in stick.rglob("*.pdf")}
    assert pages == set(codes)
    export = next(path.parent for path in stick.rglob("datapackage.json"))
    assert not verify_export(export).findings
    assert list(stick.glob("battery-*.sqlite"))
    with Store.open(home, write=False) as store:
        found = {person.code: person for person in store.people.all()}
        assert sorted(found) == sorted(codes)
        enrolled = [found[code] for code in codes]  # two may be of one second
        assert sum(len(store.visits.all(code)) for code in codes) == n_people
    other = tmp_path / "by-commands"
    n_commands = by_commands(
        monkeypatch, other, tmp_path / "stick-again", home / "keys", enrolled
    )
    assert said(other) == said(home)
    return hands, n_commands


def test_a_week_of_a_few_people_needs_no_command(tmp_path, monkeypatch):
    hands, n_commands = do(tmp_path, monkeypatch, N_SHORT)
    assert n_commands > 5 * N_SHORT
    # What is done once a week, and what for each person, within the share of twenty.
    assert hands.clicks <= 25 + 8 * N_SHORT
    assert hands.keys <= 60 + 30 * N_SHORT


@pytest.mark.long
@pytest.mark.timeout(3600)
def test_a_week_of_twenty_people_by_hands(tmp_path, monkeypatch, capsys):
    hands, n_commands = do(tmp_path, monkeypatch, N_LONG)
    with capsys.disabled():
        told = f"{hands.clicks} clicks and {hands.keys} keys in place of {n_commands} commands"
        sys.stdout.write(f"\n{N_LONG} people: {told}\n")
    assert hands.clicks <= MAX_CLICKS
    assert hands.keys <= MAX_KEYS
