"""A caution may take away good news, never bad news: from stored answers to page and note."""

from datetime import datetime, timedelta

import pytest

from battery.report import gather, page_data, render
from battery.report.caseload import caseload
from battery.report.glance import glance
from battery.report.note import note_text
from battery.store import Store
from tests import store_kit as kit
from tests.unit.test_report_gather import day, put

FIRST = datetime.fromisoformat(day(1))
WAVE = (0.98, 1.02, 1.0, 1.03, 0.97)
N_VISITS = 14
ROSE = "a symptom rose by 3 or more in the visit"


def page_of(store, n_visits=N_VISITS):
    return page_data(gather(store, "K7QF"), made=FIRST + timedelta(weeks=n_visits))


def told(store, level, doubtful=(), *, question="dizziness"):
    """A person whose error is `level(visit)` times the usual; the page's line of one hand."""
    for n in range(1, N_VISITS + 1):
        when = (FIRST + timedelta(weeks=n - 1)).isoformat(timespec="seconds")
        header = kit.visit("K7QF", n, started_utc=when)
        store.visits.begin(header)
        block = kit.block_header(header, task="tapping", settings={"target_r_mm": 10.0})
        kit.record(store, block)
        put(store, block, 9 * WAVE[n % len(WAVE)] * level(n))
        store.visits.end(header.visit_id, "finished")
        if n in doubtful:
            for moment, value in (("before", "0"), ("after", "4")):
                store.visits.put_answer(header.visit_id, moment, question, value, at_utc=when)
    return page_of(store).headline("right")


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path) as opened:
        kit.enrol(opened)
        yield opened


def worse_late(visit):
    return 1.6 if visit >= 8 else 1.0


def test_a_worsening_seen_in_doubtful_visits_alone_stays_on_the_page(store):
    """Symptoms rose at every visit at which the hand was worse; all is told, with the doubt."""
    line = told(store, worse_late, doubtful=range(8, 15))
    assert (line.verdict.word, line.verdict.better) == ("beyond error", False)
    doubt = f"Counted though doubtful: visits 8 to 14 ({ROSE})."
    page = page_of(store)
    first, note = glance(page, "A4"), note_text(page)
    hand = next(h for h in first["hands"] if h["hand"] == "right")
    assert "worse" in hand["big"]
    assert doubt in hand["small"]
    assert {c["since"] for r in first["rows"] for c in r["cells"]} == {
        f"since visit {line.verdict.average.since_visit}, doubtful"
    }
    assert doubt in note
    assert "Decided by: running mean" in note
    assert render(page).count(doubt) >= 3, "first sheet, numbers, note"
    (row,) = caseload(store, now=FIRST + timedelta(weeks=N_VISITS))
    assert "beyond" in row.states
    assert "right: worse, beyond error" in row.hands


def test_without_the_doubtful_visits_nothing_would_be_told(store):
    """So what the test above sees comes from them."""
    line = told(store, lambda n: 1.0, doubtful=range(8, 15))
    assert (line.verdict.word, line.verdict.doubt) == ("within error", "")


def test_doubtful_visits_make_no_good_news(store):
    line = told(store, lambda n: 0.6 if n >= 11 else 1.0, doubtful=range(8, 15))
    assert (line.verdict.word, line.verdict.doubt) == ("within error", "")
    assert "better" not in glance(page_of(store), "A4")["hands"][0]["big"]
    assert [s.standing for s in line.shown][-7:] == ["aside"] * 7


def test_doubtful_visits_may_take_good_news_away_and_are_named(store):
    """Better up to visit 11; then, in doubtful visits, worse than ever."""
    line = told(
        store, lambda n: 0.6 if 6 < n < 12 else 1.8 if n >= 12 else 1.0, doubtful=(12, 13, 14)
    )
    assert line.verdict.better is not True
    assert "visits 12 to 14" in line.verdict.doubt
    assert "Counted though doubtful: visits 12 to 14" in note_text(page_of(store))


def test_good_news_that_doubtful_visits_confirm_needs_none_of_them(store):
    line = told(store, lambda n: 0.6 if n > 6 else 1.0, doubtful=(12, 13, 14))
    assert (line.verdict.word, line.verdict.better) == ("beyond error", True)
    assert line.verdict.doubt == ""
    assert line.latest.visit == 11


def test_tiredness_after_finished_blocks_hides_no_hand_that_is_worse(store):
    """Thirty per cent worse since the baseline and tired by 4 at every visit since."""
    line = told(
        store, lambda n: 1.3 if n > 6 else 1.0, doubtful=range(7, 15), question="fatigue"
    )
    assert (line.verdict.word, line.verdict.better) == ("beyond error", False)
    assert line.latest.visit == N_VISITS


def test_a_doubtful_baseline_visit_is_left_out_of_the_baseline(store):
    line = told(store, lambda n: 1.0, doubtful=(4,))
    assert [r.visit for r in line.of("baseline")] == [3, 5, 6, 7]
