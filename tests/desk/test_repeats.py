"""How well the test repeats, and errors from outside: what the desk shows and keeps."""

import re
import shutil
from dataclasses import replace

import pytest

from battery.desk.screens import repeats as screen
from battery.report.combined import measure_words
from battery.report.repeats import repeats, repeats_text
from battery.store import Store
from tests import store_kit as kit
from tests.desk.office import Desk
from tests.unit.test_cli_store import run
from tests.unit.test_report_gather import ERROR, add_visit

PLACE = "/clinic/repeats"
TIME = "trail.time_per_link_s"
ENTERED = {"measure": TIME, "size": "9,5", "people": "31", "source": "our own repeat study"}
CODES = ("K7QF", "M4WX", "X3CF", "Q9HN")


@pytest.fixture(scope="module")
def four_people(tmp_path_factory):
    """A clinic of four people, three of whom have a baseline; of one task only."""
    home = tmp_path_factory.mktemp("four people")
    with Store.open(home) as store:
        for index, code in enumerate(CODES):
            kit.enrol(store, code, n_familiarisation=1, n_baseline=2)
            for n in range(1, 4 if index < 3 else 3):
                add_visit(store, n, code, value=8 + index + 0.2 * ((n * (index + 2)) % 3))
    return home


@pytest.fixture
def filled(four_people, tmp_path):
    """The desk of it."""
    made = Desk(shutil.copytree(four_people, tmp_path / "clinic"))
    made.come_in()
    return made


def words_of(page):
    """The cells of a page's tables, as they are read."""
    rows = re.findall(r"<tr.*?</tr>", page, re.DOTALL)
    cells = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL) for row in rows]
    told = [[" ".join(re.sub("<[^>]+>", "", c).split()) for c in row] for row in cells]
    return [[cell.replace("\N{MINUS SIGN}", "-") for cell in row] for row in told]


def test_the_table_says_what_the_command_says(filled):
    with filled.office.store() as store:
        found, plan = repeats(store)
    told = repeats_text(found)
    page = filled.get(PLACE).text
    shown = words_of(page)
    assert [row[2:] for row in shown[1:]] == [row[2:] for row in told[1:]]
    assert [row[0] for row in shown[1:]] == [measure_words(row[0]) for row in told[1:]]
    assert {row[1] for row in shown[1:]} == {"more affected", "less affected"}
    assert plan[:8] in page
    assert ERROR not in page.split("<form")[0]  # internal names stand in no table
    filled.client.cookies.set("desk-language", "de")
    german = words_of(filled.get(PLACE).text)
    assert german[1][:2] == ["Ziele berühren: Abstand vom Ziel", "stärker betroffen"]
    assert " bis " in german[1][4]


def test_it_is_worked_out_once_and_again_after_a_change(filled, monkeypatch):
    n_made = []
    true = screen.repeats_by_plan
    monkeypatch.setattr(
        screen, "repeats_by_plan", lambda *told: n_made.append(1) or true(*told)
    )
    before = filled.get(PLACE).text
    assert filled.get(PLACE).text == before
    assert len(n_made) == 1
    with filled.office.store(write=True) as store:
        add_visit(store, 3, "Q9HN", value=12)
    assert words_of(filled.get(PLACE).text)[1][2] == "4"
    assert len(n_made) == 2


def test_of_several_plans_each_can_be_looked_at_and_too_few_people_are_told(filled):
    with filled.office.store(write=True) as store:
        store.setup.put_plan("0123456789abcdef", {"name": "numbers"})
        add_visit(store, 3, "Q9HN", plan_hash="0123456789abcdef")
    page = filled.get(PLACE).text
    listed = page.split('<select name="plan">')[1].split("</select>")[0]
    plans = re.findall(r'<option value="([^"]+)"( selected)?', listed)
    assert len(plans) == 2
    assert "3 people" in page
    other = next(plan for plan, chosen in plans if not chosen)
    rows = words_of(filled.get(f"{PLACE}?plan={other}").text)
    assert {row[3] for row in rows[1:]} == {
        "0 complete baselines; at least 3 people are needed"
    }


def test_an_empty_clinic_says_so_and_takes_an_error(tmp_path):
    desk = Desk(tmp_path)
    desk.come_in()
    page = desk.get(PLACE).text
    assert "Nobody has a scored visit yet" in page
    assert "None is entered" in page
    assert desk.send(f"{PLACE}/error", ENTERED).history[0].status_code == 303
    assert "9.5 %" in desk.get(PLACE).text


def entered(home):
    with Store.open(home, write=False) as store:
        return store.annotations.outside_errors()


def test_what_the_desk_keeps_is_what_the_command_keeps_and_the_page_rests_on_it(filled):
    home = filled.office.home
    run("outside-error", TIME, "--percent", "9.5", "--people", "31", "--by", "AB",
        "--source", ENTERED["source"], "--home", home)  # fmt: skip
    assert filled.send(f"{PLACE}/error", ENTERED).history[0].status_code == 303
    filled.send(f"{PLACE}/error", measure="pursuit.delay_s", size="0.02", source="study")
    run("outside-error", "pursuit.delay_s", "--sem", "0.02", "--by", "AB", "--source", "study",
        "--home", home)  # fmt: skip
    kept = [replace(row, error_id="", at_utc="") for row in entered(home)]
    # Those of the desk are of its own clock; the author is who sits there.
    assert len(kept) == 4
    assert len({(row.measure, row) for row in kept}) == 2
    filled.send(f"{PLACE}/error", ENTERED | {"measure": ERROR})
    inside = filled.get("/person/K7QF/page").text
    assert "Error band from our own repeat study, 31 people." in inside
    filled.send(f"{PLACE}/take-back", measure=ERROR)
    assert "from our own repeat study" not in filled.get("/person/K7QF/page").text


def test_who_entered_what_shows_it_with_old_and_new_and_what_was_taken_back_once(filled):
    for size in ("9,5", "12"):
        filled.send(f"{PLACE}/error", ENTERED | {"size": size})
    for _ in range(2):  # a second press is answered alike and keeps nothing more
        assert "is taken back" in filled.send(f"{PLACE}/take-back", measure=TIME).text
    removed = run("outside-error", TIME, "--remove", "--by", "CD", "--home", filled.office.home)
    assert removed.exit_code == 0
    rows = [row for row in words_of(filled.get("/log").text) if row[2] == "whole clinic"]
    assert {row[1] for row in rows} == {"AB"}
    assert [row[3] for row in rows] == [
        "error from outside taken back, Connecting: time per link (was 12 %, our own repeat "
        "study)",
        "error from outside, Connecting: time per link: 12 %, 31 people, our own repeat study "
        "(was 9.5 %, our own repeat study)",
        "error from outside, Connecting: time per link: 9.5 %, 31 people, our own repeat study",
        "AB may use this desk",
    ]
    assert filled.get("/log?author=XY").text.count("whole clinic") == 0
    filled.client.cookies.set("desk-language", "de")
    german = [row[3] for row in words_of(filled.get("/log").text) if row[2] == "ganze Praxis"]
    assert german[1] == (
        "Messfehler von außen, Verbinden: Zeit je Verbindung: 12 %, 31 Personen, our own "
        "repeat study (vorher 9.5 %, our own repeat study)"
    )
