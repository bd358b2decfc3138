"""Practice by week, a new baseline, outside errors and goals, as the page shows them."""

import re
from dataclasses import replace
from datetime import date, timedelta

import pytest

from battery.effective import visit_meant, visits_of
from battery.report import gather, page_data, render
from battery.report.around import (
    diary_days,
    goal_rows,
    home_exercise_rows,
    outside_sems,
    restart_visit,
)
from battery.report.caseload import caseload
from battery.report.note import note_text
from battery.report.points import role, rule_of
from battery.report.repeats import ALIKE, repeats, repeats_text
from battery.report.words import goals as goal_words
from battery.report.words import keep_in_mind
from battery.store import Goal, GoalLevel, HomeExercise, OutsideError, Prescription, Store
from norms.band import OutsideSem
from norms.reliability import reliability
from tests import report_cases as cases
from tests import store_kit as kit
from tests.unit.test_report_gather import ERROR, add_visit

MONDAY = date(2026, 3, 2)
SAID = {"author": "therapist", "at_utc": "2026-03-01T08:00:00+00:00"}


def planned(day, per_week):
    return Prescription("p", "K7QF", day.isoformat(), per_week, "", "t", "2026-01-01")


def days(*numbers):
    return [MONDAY + timedelta(days=n) for n in numbers]


def test_a_week_runs_from_monday_to_sunday():
    rows = home_exercise_rows(
        [planned(MONDAY, 14)], days(0, 0, 6, 7), days(6), first=MONDAY, last=days(13)[0]
    )
    assert [(r.week_from, r.planned, r.told, r.seen) for r in rows] == [
        (MONDAY, 14, 3, 1),
        (MONDAY + timedelta(days=7), 14, 1, 0),
    ]


def test_the_latest_plan_of_a_week_holds_and_before_the_first_there_is_none():
    rows = home_exercise_rows(
        [planned(days(9)[0], 7), planned(days(12)[0], 21)], [], [], first=MONDAY,
        last=days(20)[0],
    )  # fmt: skip
    assert [r.planned for r in rows] == [None, 21, 21]


def test_before_the_first_word_nothing_is_known_and_after_it_silence_is_none_done():
    rows = home_exercise_rows([], days(8), [], first=MONDAY, last=days(20)[0])
    assert [r.told for r in rows] == [None, 1, 0]
    assert [r.seen for r in rows] == [None, None, None]


def test_a_rest_day_is_an_answer_but_no_practice(store):
    def entry(number, kind, exercise, day):
        return HomeExercise(
            kit.identifier(str(number)), "K7QF", kind, exercise, None, None, None,
            day.isoformat(), "2026-03-01T08:00:00+00:00",
        )  # fmt: skip

    entries = [
        entry(1, "reported", "rest_day", days(7)[0]),
        entry(2, "reported", "all", days(15)[0]),
        entry(3, "seen", "slide", days(15)[0]),
    ]
    for each in entries:
        store.care.put_home_exercise(each)
    assert store.care.home_exercises("K7QF") == entries
    told, seen, rest = diary_days(entries)
    assert (told, seen, rest) == (days(15), days(15), days(7))
    rows = home_exercise_rows([], told, seen, first=MONDAY, last=days(20)[0], rest=rest)
    assert [(r.told, r.seen) for r in rows] == [(None, None), (0, None), (1, 1)]


def test_without_a_word_there_is_no_strip():
    assert home_exercise_rows([], [], [], first=MONDAY, last=days(90)[0]) == ()


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path) as opened:
        kit.enrol(opened)
        yield opened


def test_a_new_baseline_begins_at_its_visit_until_it_is_taken_back(store):
    headers = [add_visit(store, n, value=9 + 0.1 * (n % 3))[0] for n in range(1, 12)]
    assert visit_meant(store, "K7QF", 7).header.visit_id == headers[6].visit_id
    store.annotations.restart_baseline("K7QF", headers[6].visit_id, reason="new drug", **SAID)
    rows = gather(store, "K7QF")
    assert rows.restart_visit == 7
    line = page_data(rows, made=cases.MADE).line(ERROR, "left")
    assert [r.visit for r in line.of("baseline")] == [7, 8, 9, 10]
    assert [r.visit for r in line.of("earlier")] == [1, 2, 3, 4, 5, 6]
    later = {**SAID, "at_utc": "2026-03-02T08:00:00+00:00"}
    store.annotations.restart_baseline("K7QF", None, reason="entered by mistake", **later)
    assert gather(store, "K7QF").restart_visit is None
    assert len(store.annotations.restarts("K7QF")) == 2


def test_what_was_taken_back_leaves_page_list_and_note_and_stays_stored(store):
    """An event, a goal and a rating, each gone with its own taking back and no other."""
    add_visit(store, 1)
    fall = store.annotations.add_marker(
        "K7QF", "fall", at_utc=SAID["at_utc"], note="another's fall"
    )
    new_dose = store.annotations.add_marker(
        "K7QF", "medication", at_utc=SAID["at_utc"], note="new dose"
    )
    cup, letter = (
        store.care.set_goal("K7QF", goal, weight=1.0, **SAID)
        for goal in ("carry a cup", "write a letter")
    )
    first, slip = (
        store.care.rate_goal(
            cup.goal_id, level, author="AB", at_utc=f"2026-03-0{day}T08:00:00+00:00"
        )
        for day, level in ((1, -1), (2, 2))
    )

    def told():
        page = page_data(gather(store, "K7QF"), made=cases.MADE)
        (row,) = caseload(store, now=cases.MADE)
        html = re.sub("<[^>]+>", "", render(page))
        return html, note_text(page), " ".join(row.alarms)

    html, note, listed = told()
    assert "another&#39;s fall" in html
    assert "fall: another's fall" in note
    assert "fall" in listed
    assert "carry a cup: +2 on 2026-03-02" in html
    for kind, target in (("event", fall.marker_id), ("rating", slip.level_id)):
        store.annotations.take_back("K7QF", kind, target, reason="a slip", **SAID)
    html, note, listed = told()
    assert "another&#39;s fall" not in html
    assert "another's fall" not in note
    assert listed == ""
    assert "new dose" in html
    assert "carry a cup: −1 on 2026-03-01" in html
    store.annotations.take_back("K7QF", "goal", letter.goal_id, reason="a slip", **SAID)
    html, _, _ = told()
    assert "write a letter" not in html
    assert "carry a cup" in html
    assert {m.marker_id for m in store.annotations.markers("K7QF")} == {
        fall.marker_id, new_dose.marker_id,
    }  # fmt: skip
    assert first.level_id != slip.level_id
    assert [row.author for row in store.annotations.taken_back("K7QF")] == ["therapist"] * 3


def test_a_clock_set_back_changes_no_number(store):
    headers = [add_visit(store, n, started_utc=when)[0] for n, when in (
        (1, "2026-01-05T09:30:00+00:00"), (2, "2026-01-26T09:30:00+00:00"),
        (3, "2026-01-19T09:30:00+00:00"),
    )]  # fmt: skip
    wanted = [h.visit_id for h in headers]
    assert [v.header.visit_id for v in visits_of(store, "K7QF")] == wanted
    rows = gather(store, "K7QF")
    assert [v.when.day for v in rows.visits] == [5, 26, 19]
    blocks = {
        store.records.of_visit(visit)[0].header.block_id: n for n, visit in enumerate(wanted, 1)
    }
    told = {r.block_id: r.visit for r in rows.readings if r.block_id in blocks}
    assert told == blocks


def test_a_visit_that_joins_goes_by_its_time_everywhere(store):
    store.people.add(kit.person("M4WX"))
    first, last = (add_visit(store, n, started_utc=f"2026-01-{d:02d}T09:30:00+00:00")[0]
                   for n, d in ((1, 5), (2, 19)))  # fmt: skip
    other, _ = add_visit(store, 1, "M4WX", started_utc="2026-01-12T09:30:00+00:00")
    store.annotations.amend(
        "visit", other.visit_id, "person", "K7QF", reason="wrong picture", **SAID
    )
    wanted = [first.visit_id, other.visit_id, last.visit_id]
    assert [v.header.visit_id for v in visits_of(store, "K7QF")] == wanted
    assert [v.when.day for v in gather(store, "K7QF").visits] == [5, 12, 19]


def test_a_visit_that_became_another_persons_begins_nothing(store):
    store.people.add(kit.person("M4WX"))
    headers = [add_visit(store, n)[0] for n in (1, 2)]
    store.annotations.restart_baseline("K7QF", headers[1].visit_id, reason="r", **SAID)
    store.annotations.amend("visit", headers[1].visit_id, "person", "M4WX", reason="r", **SAID)
    assert restart_visit(store.annotations.restarts("K7QF"), {headers[0].visit_id: 1}) is None


def test_the_latest_outside_error_holds_and_the_page_names_its_source(store):
    for n in range(1, 9):
        add_visit(store, n, value=9 + 0.1 * (n % 3))
    store.annotations.enter_outside_error(ERROR, 0.25, source="our repeat study", **SAID)
    line = page_data(gather(store, "K7QF"), made=cases.MADE).line(ERROR, "left")
    assert line.verdict.band.source == "our repeat study"
    later = {**SAID, "at_utc": "2026-03-02T08:00:00+00:00"}
    store.annotations.enter_outside_error(ERROR, None, source="taken back", **later)
    assert gather(store, "K7QF").outside == {}


def test_page_and_note_name_the_study_behind_the_band_of_a_single_measure():
    """The headline is another line, of all tasks together: it stays on everybody's scatter."""
    study = OutsideSem(0.09, "our repeat study", 31)
    rows = replace(cases.rows_of("unchanged"), outside={"trail.time_per_link_s": study})
    page = page_data(rows, made=cases.MADE)
    said = "Error band of time per link (connecting) from our repeat study, 31 people."
    for told in (keep_in_mind(page, rule_of(rows.person)), [note_text(page)]):
        assert sum(line.count(said) for line in told) == 1
        assert sum(line.count("Error band pooled from 7 people") for line in told) == 1


def test_outside_errors_are_one_a_measure():
    def row(name, sem):
        return OutsideError("e", name, sem, 12, "study", "t", "2026-01-01")

    held = outside_sems([row("a", 0.1), row("b", 0.2), row("a", 0.3), row("b", None)])
    assert {name: o.sem for name, o in held.items()} == {"a": 0.3}


def test_goals_carry_their_own_ratings_and_a_sum_when_all_are_rated():
    goals = [Goal(i, "K7QF", f"goal {i}", 1.0, "t", "2026-01-01") for i in ("x", "y")]
    levels = [
        GoalLevel("1", "x", -1, "t", "2026-02-01"),
        GoalLevel("2", "x", 1, "t", "2026-03-01"),
    ]
    rows = goal_rows(goals, levels)
    assert rows[0].levels == (("2026-02-01", -1), ("2026-03-01", 1))
    made = cases.page_of("two_visits")
    said = goal_words(replace(made, rows=replace(made.rows, goals=rows)))
    assert "goal x: +1 on 2026-03-01; goal y: not rated yet." in said
    assert "Together" not in said
    both = goal_rows(goals, [*levels, GoalLevel("3", "y", 0, "t", "2026-03-01")])
    said = goal_words(replace(made, rows=replace(made.rows, goals=both)))
    assert "Together T 56." in said


def test_reliability_takes_complete_baselines_of_one_plan_and_role(store):
    for code in ("M4WX", "X3CF", "Q9HN"):
        store.people.add(kit.person(code))
    table = {}
    for index, code in enumerate(("K7QF", "M4WX", "X3CF", "Q9HN")):
        for n in range(1, 7 if code != "Q9HN" else 4):
            add_visit(store, n, code, value=8 + index + 0.2 * ((n * (index + 2)) % 3))
        table[code] = [8 + index + 0.2 * ((n * (index + 2)) % 3) for n in range(3, 7)]
    found, plan = repeats(store)
    row = next(r for r in found if r.measure.name == ERROR and r.n_people == 3)
    assert plan
    values = [[v + (0.1 if row.role == _left_role() else 0.0) for v in table[code]]
              for code in ("K7QF", "M4WX", "X3CF")]  # fmt: skip
    assert row.found == reliability(values, log_scale=True)
    assert repeats_text(found)[1][2:4] == ["3", "4"]


def _left_role():
    return role("left", kit.PERSON)


def test_reliability_says_why_there_is_none(store):
    for n in range(1, 7):
        add_visit(store, n)
    found, _ = repeats(store)
    assert {r.reason for r in found} == {"1 complete baseline; at least 3 people are needed"}
    assert all(r.found is None for r in found)


def test_two_hands_of_one_person_are_not_two_people(store):
    for code, side in (("M4WX", "both"), ("X3CF", "both"), ("Q9HN", "unknown")):
        store.people.add(replace(kit.person(code), affected_side=side))
        for n in range(1, 7):
            add_visit(store, n, code, value=9 + 0.1 * ((n * len(side)) % 3))
    found, _ = repeats(store)
    told = {(r.role, r.n_people, r.n_hands, r.reason) for r in found if r.measure.name == ERROR}
    assert told == {
        ("both", 2, 4, "2 complete baselines; at least 3 people are needed"),
        ("unknown", 1, 2, "1 complete baseline; at least 3 people are needed"),
    }


def test_where_nobody_scatters_nothing_is_said(store):
    """All below what is compared: no variance to divide by."""
    for index, code in enumerate(("K7QF", "M4WX", "X3CF")):
        if index:
            store.people.add(kit.person(code))
        for n in range(1, 7):
            add_visit(store, n, code, value=0.2)
    found, _ = repeats(store)
    assert {r.reason for r in found if r.measure.name == ERROR} == {ALIKE}
    assert ALIKE in repeats_text(found)[1]
