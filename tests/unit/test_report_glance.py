"""The first sheet: few words and numbers, large letters, plain directions, cautions kept."""

import itertools
import re
from html.parser import HTMLParser

import pytest

from battery.report import glance as glance_module
from battery.report import glance_panels, shapes
from battery.report.alarming import alarm_lines
from battery.report.glance import size
from battery.report.hand_words import direction_words
from battery.report.words import new_baseline
from norms import sentences
from tests import report_cases as cases
from tests.report_people import ROSE
from tests.sparing import only

MAX_WORDS, MAX_NUMBERS = (
    250,
    60,
)  # before the details; what a therapist reads in twenty seconds
UNSEEN = {"title", "desc"}
PAPERS = ("A4", "letter")
# Each kind of verdict, of series, of state and of alarm once; whoever else is like one of them
# is met by hand.
IN_EVERY_RUN = [
    "improving", "both_worse", "faster_less_exact", "device_swap", "missed_weeks", "two_visits",
    "all_flagged", "one_hand_one_task", "crowded", "sign_before_any_block", "many_alarms",
    "alarm_acknowledged", "new_baseline", "paused", "doubtful_worse", "good_news_withdrawn",
    "long_alarm", "went_away", "no_visit",
]  # fmt: skip
SHEETS = only(  # the words are those of the other paper
    list(itertools.product(cases.CASES, PAPERS)),
    [(name, "A4") for name in IN_EVERY_RUN[::2]] + [("crowded", paper) for paper in PAPERS],
)


class Seen(HTMLParser):
    """What can be seen of a page: no titles of drawings, nothing for readers alone."""

    def __init__(self, html):
        super().__init__()
        self.words, self.open = [], []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.words.append("" if tag in ("span", "b", "small") else " ")
        if tag not in ("br", "meta", "col", "img"):
            self.open.append((tag, "aside" in (dict(attrs).get("class") or "").split()))

    def handle_endtag(self, tag):
        while self.open and self.open.pop()[0] != tag:
            pass

    def handle_data(self, data):
        if not any(hidden or tag in UNSEEN for tag, hidden in self.open):
            self.words.append(data)


def first_sheet(name, paper="A4"):
    html = cases.html_of(name, paper)
    body = html[html.index("<section") : html.index("</section>")]
    return body, "".join(Seen(body).words)


@pytest.mark.parametrize(("name", "paper"), SHEETS)
def test_few_words_and_numbers_and_the_cautions_among_them(name, paper):
    _, seen = first_sheet(name, paper)
    n_words, n_numbers = size(seen)
    assert n_words <= MAX_WORDS
    assert n_numbers <= MAX_NUMBERS
    for words in ("Not a diagnosis", "no advice on treatment or dose", sentences.LIMITS):
        assert words in seen
    assert "when to call for help: overleaf" in seen


@pytest.mark.parametrize("name", only(list(cases.CASES), IN_EVERY_RUN[::2]))
def test_no_letter_of_a_drawing_is_small(name):
    body, _ = first_sheet(name)
    sizes = [float(x) for x in re.findall(r'font-size="([0-9.]+)"', body)]
    assert all(x >= 10.5 for x in sizes)


def test_counting_can_fail():
    """Two sheets together are too many words and numbers; a date is one number."""
    html = cases.html_of("crowded")
    both = html[html.index("<section") : html.index('<h2 id="note"')]
    n_words, n_numbers = size("".join(Seen(both).words))
    assert n_words > MAX_WORDS
    assert n_numbers > MAX_NUMBERS
    assert size("visit 13, 2026-10-26: ended unwell") == (3, 2)


# What each made-up person's first sheet must say.
SAID = {
    "improving": ["better", "40 % faster, better", "since visit", "No change shown"],
    "unchanged": ["No change shown"],
    "learning": ["No change shown"],
    "both_worse": ["slower, worse", "less exact, worse", "Both hands moved to the worse side"],
    "faster_less_exact": ["No change shown together; touching targets worse", "less exact"],
    "device_swap": ["new series, another device", "No verdict yet"],
    "missed_weeks": ["No change shown"],
    "missed_at_the_end": ["5 weeks without a visit before the latest"],
    "two_visits": ["No verdict yet"],
    "one_visit": ["1 visit, ", "No verdict yet"],
    "all_flagged": ["No verdict yet", "set aside"],
    "some_flagged": ["No change shown", "set aside"],
    "wrong_hand_amended": ["No change shown"],
    "one_hand_one_task": ["Right hand", "millimetres from the middle of the target"],
    "both_affected": ["better", "No change shown"],
    "year": ["52 visits", "faster, better"],
    "home exercise": ["better"],
    "crowded": ["slower, worse", "Both hands moved to the worse side", "More overleaf"],
    "sign_before_any_block": [f"visit 1, 2026-08-03: {cases.SIGN}", "Not tested yet"],
    "sign_at_the_latest_visit": [f"visit 14, 2026-11-02: {cases.SIGN}"],
    "many_alarms": ["ended unwell", "dizziness rose by 4; pain 8 of 10", "3 more overleaf"],
    "alarm_acknowledged": ["worse"],
    "new_baseline": ["New baseline from visit 9, by AB on 2026-11-03: relapse"],
    "paused": ["paused from 2026-10-05"],
    "discharged": ["discharged from 2026-11-03", "better"],
    "doubtful_worse": [
        "worse",
        "since visit 12, doubtful",
        f"Counted though doubtful: visits 9 to 14 ({ROSE})",
        "visit 14, 2026-11-02: tiredness rose by 3",
    ],
    "good_news_withdrawn": [f"Counted though doubtful: visits 12 to 14 ({ROSE})"],
    "long_alarm": [
        "visit 14, 2026-11-02: dizziness 7 of 10; double or blurred vision 7 of 10; pain 7 of "
        "10; tiredness 8 of 10; trouble with arm or hand 9 of 10; feeling sick or faint 7 of "
        "10; effort 10 of 10",
        "fall: on the stairs, taken to hospital, back after a night",
    ],
    "weight_on_and_off": ["No change shown", "wrist weight on"],
    "golden": ["All tasks together"],
    "went_away": [
        "11 % worse",
        "since visit 9, latest within error",
        "reported earlier and still stands",
    ],
    "nobody_to_pool": ["provisional and wide: this person's 4 visits alone"],
    "no_visit": ["No visit yet", "Not tested yet"],
}


@pytest.mark.parametrize("name", only(list(cases.CASES), IN_EVERY_RUN))
def test_each_person_gets_the_sentences_wanted(name):
    _, seen = first_sheet(name)
    squeezed = re.sub(r"\s+", " ", seen)
    for words in SAID[name]:
        assert words in squeezed, squeezed


def test_nothing_is_drawn_across_missed_weeks():
    """No point, mean or limit of the first sheet is drawn over five weeks without a visit."""
    page = cases.page_of("missed_weeks")
    time = glance_module._timeline(page)
    body, _ = first_sheet("missed_weeks")
    left, right = time.visit_at(7) + 2, time.visit_at(8) - 2
    crossed = [
        line
        for line in re.findall(
            r'<polyline points="([^"]+)"[^>]*stroke="#(?:0072B2|D55E00)"', body
        )
        if float(line.split()[0].split(",")[0]) < left
        and float(line.split()[-1].split(",")[0]) > right
    ]
    assert crossed == []
    assert glance_panels._apart(7, 8, time)


@pytest.mark.parametrize("name", [n for n in cases.CASES if cases.CASES[n].alarms])
@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_an_alarm_is_whole_on_the_first_sheet_or_counted(name, paper):
    """None is cut; what has no room is counted, and stands overleaf and in the note."""
    _, seen = first_sheet(name, paper)
    squeezed = re.sub(r"\s+", " ", seen)
    lines = alarm_lines(cases.page_of(name).rows.open_alarms)
    told = [line for line in lines if line in squeezed]
    assert told == list(lines[: len(told)]), "the first ones"
    assert (f"{len(lines) - len(told)} more overleaf" in squeezed) == (len(told) < len(lines))
    assert told or not lines


def test_points_look_apart_by_what_they_count_for():
    """Getting used to it, an earlier series, baseline, since: one look each, all told."""
    looks = {
        standing: shapes.marker((0, 0), "left", style=style)
        for standing, style in shapes.STYLES.items()
    }
    assert len(set(looks.values())) == len(looks) == 4
    for words in ("Pale: getting used to it.", "Small: an earlier series."):
        assert words in glance_module.LEGEND
    radii = {
        name: set(re.findall(r'<circle [^>]*r="([\d.]+)"', first_sheet(name)[0]))
        for name in ("device_swap", "unchanged")
    }
    assert {name: len(found) for name, found in radii.items()} == {
        "device_swap": 2,
        "unchanged": 1,
    }


def test_an_alarm_that_was_seen_stands_overleaf_with_the_name():
    _, seen = first_sheet("alarm_acknowledged")
    assert "not acknowledged" not in seen
    assert "acknowledged by AB on 2026-11-03" in cases.html_of("alarm_acknowledged")


@pytest.mark.parametrize("name", only(list(cases.CASES), IN_EVERY_RUN[::2]))
def test_a_direction_is_said_as_the_verdict_has_it(name):
    """The size stands only where its side is the verdict's; within error no size is told."""
    for line in cases.page_of(name).lines.values():
        said, verdict = direction_words(line), line.verdict
        if verdict.word == "within error":
            assert said == "no change shown"
        if verdict.better is not None and line.told:
            assert said.endswith("better" if verdict.better else "worse")
        assert ("possibly" in said) == (verdict.word == "possible, repeat")


def test_without_a_new_baseline_nothing_is_said_of_one():
    assert new_baseline(cases.page_of("unchanged")) == ""
