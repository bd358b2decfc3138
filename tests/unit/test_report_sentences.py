"""What the page of each invented person says."""

import re
from dataclasses import replace
from datetime import date, timedelta

import pytest

from battery.report import strips, trend, words
from battery.report.combined import by_measure
from battery.report.note import note_text
from battery.report.page_rows import HomeExerciseRow
from battery.report.points import rule_of
from battery.report.pooling import Pools, shares_of
from battery.report.sheet import occasion_key, sheet
from battery.report.timeline import Timeline
from battery.scoring import PRIMARY
from norms import sentences
from tests import report_cases as cases

LEARNT = f"{sentences.LEARNING} The other hand: no change shown."
SAID = {
    "improving": {
        "left": "All tasks together: 41 % below baseline (mean of the last 4 visits), better, "
        "larger than measurement error over the visits since baseline. "
        f"{LEARNT}",
        "right": "All tasks together: within measurement error: no change shown.",
    },
    "unchanged": {
        "left": "All tasks together: within measurement error: no change shown.",
        "right": "All tasks together: within measurement error: no change shown.",
    },
    "learning": {
        "left": "All tasks together: within measurement error: no change shown.",
        "right": "All tasks together: 21 % below baseline, better, possible change; repeat "
        "the visit within 4 days, both then count as one by their mean. "
        f"{LEARNT}",
    },
    "both_worse": {
        "left": "All tasks together: 61 % above baseline (mean of the last 4 visits), worse, "
        "larger than measurement error over the visits since baseline.",
        "right": "All tasks together: 68 % above baseline (mean of the last 4 visits), worse, "
        "larger than measurement error over the visits since baseline.",
    },
    "faster_less_exact": {
        "left": "All tasks together: within measurement error: no change shown.",
        "right": "All tasks together: within measurement error: no change shown.",
    },
    "device_swap": dict.fromkeys(
        ("left", "right"),
        "All tasks together: not enough comparable visits (new series, another device (T-03 to "
        "T-07): 4 of the 6 visits that make the baseline).",
    ),
    "missed_weeks": {
        "left": "All tasks together: within measurement error: no change shown.",
        "right": "All tasks together: within measurement error: no change shown.",
    },
    "wrong_hand_amended": {
        "left": "All tasks together: within measurement error: no change shown.",
        "right": "All tasks together: within measurement error: no change shown.",
    },
    "two_visits": dict.fromkeys(
        ("left", "right"),
        "All tasks together: not enough comparable visits (2 of the 6 visits that make the "
        "baseline).",
    ),
    "nobody_to_pool": {
        "left": "All tasks together: 41 % below baseline (mean of the last 4 visits), better, "
        "larger than measurement error over the visits since baseline. "
        f"{LEARNT}",
        "right": "All tasks together: within measurement error: no change shown.",
    },
    "all_flagged": dict.fromkeys(
        ("left", "right"),
        "All tasks together: not enough comparable visits (no visit that counts (the screen "
        "was never measured)).",
    ),
    "one_hand_one_task": {
        "right": "End-point error: within measurement error: no change shown.",
    },
}


def mind(name):
    return " ".join(sheet(cases.page_of(name), "A4")["mind"])


@pytest.mark.parametrize("name", SAID)
def test_each_hand_is_told_in_one_sentence(name):
    page = cases.page_of(name)
    assert {hand: words.headline(page, hand)[0] for hand in page.hands} == SAID[name]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("improving", "beyond error, better or learnt"),
        ("unchanged", "within error: no change shown"),
        ("both_worse", "beyond error, worse"),
        ("device_swap", "withheld: new series, another device (T-03 to T-07): 4 of the 6 "
         "visits that make the baseline"),
        ("two_visits", "withheld: 2 of the 6 visits that make the baseline"),
    ],
)  # fmt: skip
def test_the_table_says_the_verdict_in_the_agreed_words(name, said):
    lines = [cases.page_of(name).headline("left")]
    assert [words.cell_words(line) for line in lines] == [said]


def test_faster_but_less_exact_is_its_own_sentence():
    page = cases.page_of("faster_less_exact")
    statement, below = words.headline(page, "left")
    assert "within measurement error" in statement
    assert "Worse (beyond error): end-point error;" in below
    assert "Touching targets: faster but less exact." in below
    assert "faster" not in words.headline(page, "right")[1]


def test_both_hands_worse_points_at_causes_outside_the_hand():
    assert words.both_hands(cases.page_of("both_worse")) == sentences.BOTH_HANDS
    assert words.both_hands(cases.page_of("improving")) == ""


def test_a_new_device_is_a_break_with_its_reason_on_the_axis():
    page = cases.page_of("device_swap")
    (occasion,) = page.occasions
    assert page.visit(6).when < occasion.when < page.visit(7).when
    assert occasion_key(page) == ("A 2026-09-12 new series, another device (T-03 to T-07).")
    line = page.line(PRIMARY["tapping"].name, "left")
    assert [s.standing for s in line.shown] == (
        ["earlier"] * 6 + ["familiarisation"] * 2 + ["baseline"] * 2
    )


def test_a_device_used_once_breaks_off_nothing_that_goes_on_later():
    line = cases.page_of("crowded").line(PRIMARY["slide"].name, "left")
    standing = {s.reading.visit: s.standing for s in line.shown}
    assert standing[8] == "earlier"
    assert standing[7] == standing[9] == "later"
    assert standing[11] == "aside"


def test_five_missed_weeks_are_a_gap_no_line_crosses():
    page = cases.page_of("missed_weeks")
    time = Timeline.of(page)
    assert ">5 weeks</text>" in strips.header_strip(time)
    assert "weeks" not in strips.header_strip(Timeline.of(cases.page_of("unchanged")))
    group = [page.headline(hand) for hand in page.hands]
    drawn = trend.panel(group[0], group, time, 30.0)
    inside = (time.visit_at(7) + 1, time.visit_at(8) - 1)
    lines = re.findall(
        r'<polyline points="([^"]+)" fill="none" stroke="#D55E00" stroke-width="([\d.]+)"',
        drawn,
    )
    for points, width in lines:
        places = [float(p.split(",")[0]) for p in points.split()]
        if width == "0.4":
            continue  # an edge of the band, which holds for the gap too
        assert not (min(places) < inside[0] and max(places) > inside[1]), points
    assert {width for _, width in lines} == {"0.4", "1.1", "4.2"}


def test_weeks_missed_before_the_latest_visit_are_told():
    assert "5 weeks without a visit before the latest." in mind("missed_at_the_end")
    assert "weeks without" not in mind("missed_weeks")


def test_a_hand_amended_leaves_the_task_out_of_the_other_hand_and_says_so():
    page = cases.page_of("wrong_hand_amended")
    shown = {s.reading.visit: s for s in page.headline("left").shown}
    assert shown[10].standing == "later"
    assert "without touching targets: not done" in shown[10].reading.reason
    assert shown[10].reading.error > 1
    assert "hand right (was left), by therapist" in cases.html_of("wrong_hand_amended")


def test_the_page_says_what_the_error_band_stands_on():
    assert "pooled from 7 people, 84 visits" in mind("improving")
    assert "provisional and wide: this person's 4 visits alone" in mind("nobody_to_pool")
    assert "No error band yet" in mind("two_visits")


def test_people_are_counted_not_hands():
    """Where hands are not told apart both of a person are pooled; it is still one person."""
    somebody = cases.Made(affected="both")
    shares = shares_of(somebody.person(), by_measure(somebody.readings()))
    found = Pools({somebody.code: ("plan", shares)}).of(somebody.person(), "plan", shares)
    pooled = found["tapping.radial_error_mm", "left"]
    assert (len(pooled.groups), pooled.n_people) == (2, 1)
    rows = cases.rows_of("improving")
    counted = {key: replace(pool, n_people=4) for key, pool in rows.pools.items()}
    page = cases.page_data(replace(rows, pools=counted), made=cases.MADE)
    mind_ = " ".join(words.keep_in_mind(page, rule_of(page.rows.person)))
    assert "pooled from 4 people" in mind_
    assert "pooled from 4 people" in note_text(page)


def test_weight_on_and_weight_off_are_told_apart():
    told = [o.words for o in cases.page_of("weight_on_and_off").occasions]
    assert any("wrist weight on" in words for words in told)
    assert not any("another wrist weight" in words for words in told)


def test_visits_set_aside_are_counted_with_their_reasons():
    assert (
        "2 visits set aside (too few trials were kept; the block was broken off); shown, not "
        "counted." in mind("some_flagged")
    )
    assert "Stopped by the person at visit 5" in mind("crowded")


def test_few_baseline_visits_say_that_learning_is_not_excluded():
    page = cases.page_data(cases.Made(n_baseline=2).rows(), made=cases.MADE)
    said = " ".join(words.keep_in_mind(page, rule_of(page.rows.person)))
    assert "with fewer than 2 and 4 learning the test is not excluded" in said
    assert "not excluded" not in mind("improving")


def test_nothing_is_said_of_somebody_without_a_visit():
    page = cases.page_of("no_visit")
    assert page.hands == ()
    assert "Not tested yet" in cases.html_of("no_visit")


@pytest.mark.parametrize("name", cases.CASES)
def test_the_note_leaves_assessment_and_plan_to_the_therapist(name):
    note = note_text(cases.page_of(name))
    assert re.search(
        r"^S: ((Reports|Home exercise) .*)?\nO: .*\nA: \nP: \n$", note, re.DOTALL | re.M
    )
    assert ("Home exercise reported" in note) == (name in ("home exercise", "crowded"))
    assert "Not a diagnosis." in note


@pytest.mark.parametrize("name", cases.CASES)
def test_the_note_carries_all_that_the_page_tells(name):
    """Every line with a side, what decided it, every open alarm, every event."""
    page, note = cases.page_of(name), note_text(cases.page_of(name))
    for hand in page.hands:
        for task in page.tasks:
            line = page.line(PRIMARY[task].name, hand)
            if line is not None and line.told:
                (own,) = [
                    x
                    for x in note.splitlines()
                    if line.measure.title.lower() in x
                    and x.lower().lstrip(" o:").startswith(hand)
                ]
                beyond = line.verdict.word == "beyond error"
                assert ("Decided by: running mean" in own) == beyond
                assert (f"since visit {line.verdict.average.since_visit}" in own) == beyond
    for alarm in page.rows.open_alarms:
        assert alarm.words in note.split("S: ")[0]
    for occasion in page.occasions:
        assert occasion.what == "new baseline" or occasion.words in note
    if page.rows.restart:
        assert "New baseline from visit 9, by AB on 2026-11-03: relapse" in note


def test_the_note_tells_what_changed_with_baseline_and_band():
    note = note_text(cases.page_of("improving"))
    assert "Left hand (more affected), all tasks together: 41 % below baseline" in note
    assert re.search(
        r"Left, end-point error: 5\.\d+ mm \(baseline 8\.99 mm, n=4\), −\d+ %, error band of "
        r"one visit −28 to \+38 %: better or learnt, beyond error\. Decided by: running mean",
        note,
    ), note


def test_a_change_is_told_in_percent_only_where_it_is_compared_as_a_ratio():
    """Targets hit, smoothness and delay may lie near 0 or below it."""
    page = cases.page_of("improving")
    ratio = page.line("tapping.movement_time_s", "left")
    plain = page.line("tapping.hit_rate", "left")
    assert re.fullmatch(r"[+−]\d+ %|0 %", words.change_words(ratio))
    assert re.fullmatch(r"−\d+ to \+\d+ %", words.band_words(ratio))
    assert re.fullmatch(r"[+−]0\.\d+", words.change_words(plain))
    assert re.fullmatch(r"0\.\d+ to 0\.\d+", words.band_words(plain))


@pytest.mark.parametrize(("told", "words"), [(1, "1 time,"), (3, "3 times,")])
def test_the_note_counts_home_exercise_as_one_speaks(told, words):
    page = cases.page_of("unchanged")
    monday = date(2026, 1, 5)
    weeks = tuple(
        HomeExerciseRow(monday + timedelta(weeks=n), planned=None, told=told, seen=None)
        for n in range(2)
    )
    rows = replace(page.rows, home_exercise=weeks)
    assert f"Home exercise reported {words}" in note_text(replace(page, rows=rows))
